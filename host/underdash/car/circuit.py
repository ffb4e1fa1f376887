"""The 12 V bus: one node fed by the alternator and the battery, drained by the loads.

    alternator --[charge cable]--+-- BUS --+--[feed]--+--[battery cable, ground]--[battery]
                                 |         |          |
                               loads   monitor     starter

Sign: battery current is positive when it charges.
"""

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
    """Alternator's output post to the bus."""
    feed_ohm: float = 0.0028
    """Bus to the starter's post, where an older car takes its supply."""
    battery_cable_ohm: float = 0.0045
    """Starter's post to the battery, clamps and ground strap included."""


class Network(NamedTuple):
    """Everything but the alternator, as the bus sees it at one instant."""

    emf_v: float
    """Battery's volts with no current in the feed, so with the starter's sag in it [V]."""
    path_ohm: float
    """Bus to the battery's emf [ohm]."""
    starter_a: float
    """Starter current [A]."""
    load_s: float
    """Resistive loads [S]."""
    load_w: float
    """Constant-power loads [W]."""


def network(
    wiring: Wiring, emf_v: float, internal_ohm: float, starter_a: float, load_s: float, load_w: float
) -> Network:
    """Fold the battery [V, ohm] and the starter [A] into one source behind one resistance."""
    shared_ohm = internal_ohm + wiring.battery_cable_ohm
    return Network(emf_v - shared_ohm * starter_a, shared_ohm + wiring.feed_ohm, starter_a, load_s, load_w)


def _upper_root(a: float, b: float, c: float) -> float:
    """Larger root of a v^2 - b v + c = 0: the working point of a constant-power load."""
    square = b * b - 4.0 * a * c
    if square < 0.0:
        raise BusCollapseError(f"no bus voltage feeds {c:.0f} W")
    return (b + sqrt(square)) / (2.0 * a)


def bus_volts(net: Network, alternator_a: float) -> float:
    """Bus volts [V] with the alternator giving `alternator_a` [A].

    Kirchhoff at the bus, times v: (G + 1/R) v^2 - (I + E/R) v + P = 0.

    Raises BusCollapseError if the loads cannot be fed at any voltage.
    """
    path_s = 1.0 / net.path_ohm
    return _upper_root(net.load_s + path_s, alternator_a + net.emf_v * path_s, net.load_w)


def regulated_amps(net: Network, target_v: float, source_ohm: float, limit_a: float) -> float:
    """What the alternator settles at [A]: enough for its set point, from zero up to its limit.

    `target_v` is the set point at the alternator's own terminals [V], `source_ohm` the charge
    cable plus the regulator's droop [ohm], `limit_a` the greatest output at this speed [A].
    The same node equation with the alternator as a source of `target_v` behind `source_ohm`.
    """
    source_s, path_s = 1.0 / source_ohm, 1.0 / net.path_ohm
    v = _upper_root(net.load_s + path_s + source_s, target_v * source_s + net.emf_v * path_s, net.load_w)
    return min(max((target_v - v) * source_s, 0.0), limit_a)


def battery_amps(net: Network, bus_v: float) -> float:
    """Current into the battery [A, positive charging], the starter's share taken off."""
    return (bus_v - net.emf_v) / net.path_ohm - net.starter_a


def load_amps(net: Network, bus_v: float) -> float:
    """Current into the loads on the bus [A], starter excluded."""
    return net.load_s * bus_v + net.load_w / bus_v
