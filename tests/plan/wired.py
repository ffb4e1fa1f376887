"""A car file of cables, built by hand, and what the tests of cables ask of the result."""

from pathlib import Path
from typing import Any

from underdash.carfile.model import ALWAYS, SUPPLY_SIDE, Alternator, Battery, Cable, CarFile, Engine, Load
from underdash.plan.cables import size
from underdash.plan.results import CableResult, Criterion
from underdash.wire import gauge

BUS = "bus"
FEET = 0.3048


def wire(text: str, amps: float | None = None, **more: Any) -> Cable:
    """A cable on the supply side: 1 m of this gauge, 105 C, alone in 30 C air, if nothing else is said."""
    plain: dict[str, Any] = {
        "name": "wire",
        "start": BUS,
        "end": "lamp",
        "side": SUPPLY_SIDE,
        "length_m": 1.0,
        "gauge": gauge.parse(text),
        "insulation_c": 105.0,
        "stated_a": amps,
    }
    return Cable(**{**plain, **more})


def load(name: str, amps: float, *when: str, **more: Any) -> Load:
    return Load(name, amps, frozenset(when or (ALWAYS,)), **more)


def car(*cables: Cable, loads: tuple[Load, ...] = (), output_a: float = 85.0, **more: Any) -> CarFile:
    """A car with these cables, an alternator of `output_a` at most (cold) and a 136 A starter."""
    plain: dict[str, Any] = {
        "name": "test car",
        "path": Path("car.toml"),
        "engine": Engine(hot_idle_rpm=800.0, fast_idle_rpm=1200.0, cruise_rpm=2300.0),
        "alternator": Alternator(
            rated_a=0.9 * output_a,
            pulley_ratio=2.4,
            curve_rpm=(1000.0, 5000.0),
            hot_a=(0.0, 0.9 * output_a),
            cold_a=(0.0, output_a),
            set_point_v=14.4,
            slope_v_per_k=-0.01,
        ),
        "battery": Battery("flooded", capacity_ah=60.0, internal_ohm=0.0065),
        "bus": BUS,
        "starter_a": 136.0,
        "loads": loads,
        "cables": cables,
    }
    return CarFile(**{**plain, **more})


def sized(cable: Cable, **more: Any) -> CableResult:
    """The result of a car's only cable."""
    return size(car(cable, **more)).results[0]


def test_of(result: CableResult, name: str) -> Criterion:
    return next(criterion for criterion in result.criteria if criterion.name == name)


test_of.__test__ = False
