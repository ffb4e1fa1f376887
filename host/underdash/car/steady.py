"""Where the car settles: alternator, loads and battery in balance, the surface charge gone."""

from math import asinh
from typing import NamedTuple

import numpy as np

from underdash.car import circuit
from underdash.car.battery import BatteryState
from underdash.car.from_file import Car
from underdash.carfile.model import BATTERY

_ROUNDS = 60
_NEAR_V = 1e-7


class Point(NamedTuple):
    """A balance. At it alternator_a = load_a + battery_a."""

    bus_v: float
    battery_a: float
    """Positive when it charges [A]."""
    alternator_a: float
    load_a: float


def settle(
    car: Car,
    *,
    engine_rpm: float,
    siemens: float,
    watts: float,
    charge: float = 0.95,
    hot: bool = True,
    ambient_c: float = 20.0,
) -> Point:
    """The balance at an engine speed [rev/min] with loads of `siemens` [S] and `watts` [W] on.

    `charge` is the battery's state of charge [0..1]. The battery's polarisation is what its reaction needs at the
    current that flows, v = V0 asinh(i / I0), found by halving. Raises circuit.BusCollapseError.
    """
    battery, alternator = car.battery, car.alternator
    limit_a = float(alternator.available(np.array([engine_rpm]), hot=hot)[0])
    target_v = alternator.target_volts(ambient_c + (alternator.rise_k if hot else 0.0))
    source_ohm = car.wiring.charge_cable_ohm + alternator.droop_ohm

    def balance(surface_v: float) -> Point:
        emf_v = battery.emf(BatteryState(charge, surface_v))
        net = circuit.network(car.wiring, emf_v, battery.internal_ohm, 0.0, siemens, watts)
        if alternator.senses == BATTERY:
            amps = circuit.battery_regulated_amps(net, target_v, battery.internal_ohm, limit_a)
        else:
            amps = circuit.regulated_amps(net, target_v, source_ohm, limit_a)
        bus_v = circuit.bus_volts(net, amps)
        return Point(bus_v, circuit.battery_amps(net, bus_v), amps, circuit.load_amps(net, bus_v))

    low_v, high_v = -1.0, 4.0
    for _ in range(_ROUNDS):
        middle_v = (low_v + high_v) / 2.0
        # More surface charge: the battery takes less, and needs more. The two cross once.
        if _needed(car, charge, balance(middle_v).battery_a) > middle_v:
            low_v = middle_v
        else:
            high_v = middle_v
        if high_v - low_v < _NEAR_V:
            break
    return balance((low_v + high_v) / 2.0)


def _needed(car: Car, charge: float, amps: float) -> float:
    """Surface volts [V] at which the battery's reaction takes `amps` [A]: the inverse of `Battery.reaction`."""
    battery = car.battery
    if amps >= 0.0:
        exchange = battery.charge_exchange_a * (1.0 + battery.acceptance_gain * (1.0 - charge))
        return battery.charge_slope_v * asinh(amps / exchange)
    return battery.discharge_slope_v * asinh(amps / battery.discharge_exchange_a)
