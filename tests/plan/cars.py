"""A car file as the plan's tests begin with it, built by hand: no reader, no file."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from underdash.carfile.model import (
    ALL_LOADS,
    ALTERNATOR,
    ALWAYS,
    BATTERY,
    BODY,
    BRIEF,
    CHARGE,
    CRANK,
    ENGINE,
    GROUND,
    GROUND_SIDE,
    HOT_IDLE,
    LOOP,
    NIGHT,
    PARKED,
    RAIN,
    STARTER,
    SUPPLY_SIDE,
    Alternator,
    Ammeter,
    Battery,
    Cable,
    CarFile,
    Engine,
    Load,
)
from underdash.wire.gauge import Gauge

BUS = "bus"
DASH_IN, DASH_OUT = "dash in", "dash out"

# Westerbeke 33A workshop manual p. 83, alternator rpm, 13.5 V; 1,000 rpm from memory, 53 A cold assumed.
CLASS_RPM = (1000.0, 1300.0, 2500.0, 5000.0)
CLASS_HOT_A = (0.0, 16.0, 41.0, 48.0)
CLASS_COLD_A = (0.0, 24.0, 50.0, 53.0)
CLASS_RATED_A = 48.0


def load(name: str, amps: float, *when: str, **more: Any) -> Load:
    """A load that is on under these conditions."""
    return Load(name, amps, frozenset(when), **more)


# Amps: see host/underdash/car/loads.py, which names a source for each.
LOADS = (
    load("standby", 0.03, PARKED),
    load("ignition", 3.0, ALWAYS, constant_power=True),
    load("injection", 4.0, ALWAYS, constant_power=True),
    load("pump", 8.0, ALWAYS, inrush=2.0, inrush_s=0.08),
    load("gauges", 2.0, ALWAYS),
    load("radio", 2.0, ALWAYS, constant_power=True),
    load("brake lamps", 3.75, HOT_IDLE, inrush=5.0, inrush_s=0.04),
    load("fan", 16.0, HOT_IDLE, duty=0.4, inrush=2.6, inrush_s=0.3, coolant_switch=True),
    load("headlamps", 8.5, NIGHT, inrush=5.0, inrush_s=0.05),
    load("tail lamps", 1.8, NIGHT, inrush=5.0, inrush_s=0.04),
    load("blower", 8.0, RAIN, inrush=2.0, inrush_s=0.3),
    load("rear heater", 23.0, RAIN),
    load("wipers", 4.0, RAIN, inrush=2.0),
    load("windows", 18.0, BRIEF, duty=0.01, inrush=1.8, inrush_s=0.15),
)


def alternator(rated_a: float = 75.0, pulley_ratio: float = 2.4, **changes: Any) -> Alternator:
    """A machine of the published class curve, scaled to `rated_a` [A]."""
    scale = rated_a / CLASS_RATED_A
    machine = Alternator(
        rated_a=rated_a,
        pulley_ratio=pulley_ratio,
        curve_rpm=CLASS_RPM,
        hot_a=tuple(scale * amps for amps in CLASS_HOT_A),
        cold_a=tuple(scale * amps for amps in CLASS_COLD_A),
        set_point_v=14.4,
        slope_v_per_k=-0.010,
        curve_source="class curve",
    )
    return replace(machine, **changes)


def cable(name: str, start: str, end: str, awg: str, length_m: float, carries: tuple[str, ...], **more: Any) -> Cable:
    """A 105 C cable by its AWG number, 1 mohm of lugs included, on the supply side if nothing else is said."""
    more = {"side": SUPPLY_SIDE, "insulation_c": 105.0, "ambient_c": 50.0, "joints_ohm": 0.001, **more}
    return Cable(name, start, end, carries=carries, length_m=length_m, gauge=Gauge("AWG", awg), **more)


CABLES = (
    cable("charge cable", ALTERNATOR, BUS, "4", 1.5, (CHARGE,), added=True),
    cable("feed", BUS, STARTER, "4", 1.0, (CHARGE, ALL_LOADS)),
    cable("starter cable", STARTER, BATTERY, "2", 1.2, (CRANK,)),
    cable("old loop out", ALTERNATOR, DASH_IN, "10", 2.2, (LOOP,), insulation_c=60.0),
    cable("old loop back", DASH_OUT, STARTER, "10", 2.0, (LOOP,), insulation_c=60.0),
    cable("ground cable", GROUND, ENGINE, "2", 0.8, (CRANK,), side=GROUND_SIDE),
    cable("engine strap", ENGINE, BODY, "6", 0.4, (ALL_LOADS,), side=GROUND_SIDE),
)


def car(**changes: Any) -> CarFile:
    """An older car with a 75 A machine; `changes` replace whole parts of the file."""
    file = CarFile(
        name="test car",
        path=Path("car.toml"),
        engine=Engine(hot_idle_rpm=800.0, fast_idle_rpm=1200.0, cruise_rpm=2300.0),
        alternator=alternator(),
        battery=Battery("flooded", capacity_ah=60.0, internal_ohm=0.0065),
        bus=BUS,
        starter_a=136.0,
        loads=LOADS,
        cables=CABLES,
        ammeter=Ammeter(DASH_IN, DASH_OUT, resistance_ohm=0.002, full_scale_a=40.0, smallest_a=2.0),
    )
    return replace(file, **changes)
