"""The 12 V bus: fed by the alternator and the battery through a star of resistances, drained by the loads.

    alternator --[charge cable]--+--[feed]--+--[battery cable, ground]--[battery]
                                 |          |
                           [bus branch]  starter
                                 |
                               BUS: loads, monitor

Sign: battery current is positive when it charges.
"""

from contextlib import suppress
from dataclasses import dataclass
from math import sqrt
from typing import NamedTuple


class BusCollapseError(ArithmeticError):
    """The constant-power loads ask for more than the battery and the alternator can give."""


@dataclass(frozen=True)
class Wiring:
    """Resistances of the wiring [ohm].

    Chosen for the demo from copper lengths: 1.5 m of 4 AWG is 1.2 mohm (0.8152 ohm/km at 20 C by
    the ASTM B258 diameter and IACS copper), the rest clamps, lugs and the ground strap. The
    charge side stays well below the 0.2 V allowed by the Hyundai 2007 Azera manual.
    """

    charge_cable_ohm: float = 0.0022
    """Alternator's output post to the star's middle."""
    feed_ohm: float = 0.0028
    """The middle to the starter's post, where an older car takes its supply."""
    battery_cable_ohm: float = 0.0045
    """Starter's post to the battery, clamps and ground strap included."""
    bus_ohm: float = 0.0
    """The middle to the bus."""


class Network(NamedTuple):
    """Everything but the alternator, as the star's middle sees it at one instant."""

    emf_v: float
    """Battery's volts with no current in the feed, so with the starter's sag in it [V]."""
    path_ohm: float
    """The middle to the battery's emf [ohm]."""
    starter_a: float
    """Starter current [A]."""
    load_s: float
    """Resistive loads [S]."""
    load_w: float
    """Constant-power loads [W]."""
    bus_ohm: float = 0.0
    """The middle to the bus [ohm]."""


def network(
    wiring: Wiring, emf_v: float, internal_ohm: float, starter_a: float, load_s: float, load_w: float
) -> Network:
    """Fold the battery [V, ohm] and the starter [A] into one source behind one resistance."""
    shared_ohm = internal_ohm + wiring.battery_cable_ohm
    return Network(
        emf_v - shared_ohm * starter_a, shared_ohm + wiring.feed_ohm, starter_a, load_s, load_w, wiring.bus_ohm
    )


def bus_volts(net: Network, alternator_a: float) -> float:
    """Bus volts [V] with the alternator giving `alternator_a` [A].

    What feeds the bus is E + I R behind the battery's path R and the bus branch.

    Raises BusCollapseError if the loads cannot be fed at any voltage.
    """
    return _fed_from(net, net.emf_v + alternator_a * net.path_ohm, net.path_ohm)


def _fed_from(net: Network, source_v: float, source_ohm: float) -> float:
    """Bus volts v [V] with the star's middle being a source E [V] behind a resistance [ohm]; R is that and the branch.

    Kirchhoff at the bus, times R v: (1 + R G) v^2 - E v + R P = 0. Its larger root is the working point.
    """
    ohm = source_ohm + net.bus_ohm
    a, c = 1.0 + ohm * net.load_s, ohm * net.load_w
    square = source_v * source_v - 4.0 * a * c
    if square < 0.0:
        raise BusCollapseError(f"no bus voltage feeds {net.load_w:.0f} W")
    return (source_v + sqrt(square)) / (2.0 * a)


def regulated_amps(net: Network, target_v: float, source_ohm: float, limit_a: float) -> float:
    """What the alternator settles at [A]: enough for its set point, from zero up to its limit.

    `target_v` is the set point at the alternator's own terminals [V], `source_ohm` the charge
    cable plus the regulator's droop [ohm], `limit_a` the greatest output at this speed [A].
    The alternator, a source of `target_v` behind `source_ohm`, and the battery together are one source at the middle.
    """
    source_s, path_s = 1.0 / source_ohm, 1.0 / net.path_ohm
    both_ohm = 1.0 / (source_s + path_s)
    both_v = (target_v * source_s + net.emf_v * path_s) * both_ohm
    bus_v = _fed_from(net, both_v, both_ohm)
    middle_v = both_v - both_ohm * load_amps(net, bus_v)
    return min(max((target_v - middle_v) * source_s, 0.0), limit_a)


def battery_regulated_amps(net: Network, target_v: float, internal_ohm: float, limit_a: float) -> float:
    """The same where the regulator senses between the battery's posts, so holds `target_v` [V] there.

    `internal_ohm` is the battery's own resistance [ohm]: (target - E) / r is its current, and the rest follows.
    """
    with suppress(BusCollapseError):  # a battery that cannot feed the loads alone needs help
        if net.emf_v + internal_ohm * battery_amps(net, bus_volts(net, 0.0)) >= target_v:
            return 0.0
    charge_a = (target_v - net.emf_v) / internal_ohm - net.starter_a
    middle_v = net.emf_v + net.path_ohm * (charge_a + net.starter_a)
    load_a = load_amps(net, _fed_from(net, middle_v, 0.0))
    return min(charge_a + net.starter_a + load_a, limit_a)


def battery_amps(net: Network, bus_v: float) -> float:
    """Current into the battery [A, positive charging], the starter's share taken off."""
    middle_v = bus_v + net.bus_ohm * load_amps(net, bus_v)
    return (middle_v - net.emf_v) / net.path_ohm - net.starter_a


def load_amps(net: Network, bus_v: float) -> float:
    """Current into the loads on the bus [A], starter excluded."""
    return net.load_s * bus_v + net.load_w / bus_v
