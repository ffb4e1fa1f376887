"""The plan of a car held against what its drives show."""

from typing import Any

from underdash.carfile import CarFile
from underdash.plan.budget import budget
from underdash.plan.results import Shortfall

_ALIKE = 0.2  # share by which found amps may be beyond the plan's range and still be what it foresees
_ALIKE_V = 0.25  # the same for volts, where no clamp measured amps [V]


def against_plan(report: dict[str, Any], car: CarFile) -> dict[str, Any]:
    """What the plan foresees beside each discharging episode of the report, as docs/report.md describes it.

    An episode does not tell its situation: it is held against the shortfall that comes nearest to it, by the mean
    current of the battery where a clamp measured it, else by the mean volts.
    """
    planned = budget(car)
    episodes = [
        _beside(number, episode, planned.shortfalls)
        for number, drive in enumerate(report["drives"], 1)
        for episode in drive["episodes"]
        if episode["kind"] == "discharging"
    ]
    return {
        "car": car.name,
        "shortfalls": [_shortfall(one) for one in planned.shortfalls],
        "episodes": episodes,
        "remedies": [
            {"kind": remedy.kind, "now": remedy.now, "needed": remedy.needed, "unit": remedy.unit}
            for remedy in planned.remedies
        ],
    }


def _shortfall(one: Shortfall) -> dict[str, Any]:
    return {
        "speed": one.balance.speed,
        "situation": one.balance.situation,
        "battery_a": round(one.battery_a, 2),
        "least_a": round(one.least_a, 2),
        "most_a": round(one.most_a, 2),
        "bus_volts": round(one.bus_v, 3),
    }


def _beside(number: int, episode: dict[str, Any], shortfalls: tuple[Shortfall, ...]) -> dict[str, Any]:
    found_a = None if episode["mean_amps"] is None else -episode["mean_amps"]
    found = {
        "drive": number,
        "start_s": episode["start_s"],
        "length_s": episode["length_s"],
        "found_a": found_a,
        "found_volts": episode["mean_volts"],
    }

    def apart(one: Shortfall) -> float:
        by_volts: float = abs(one.bus_v - episode["mean_volts"])
        return by_volts if found_a is None else float(abs(one.battery_a - found_a))

    nearest = min(shortfalls, key=apart, default=None)
    if nearest is None:
        return {**found, "nearest": None, "foreseen": False}
    if found_a is None:
        foreseen = abs(nearest.bus_v - episode["mean_volts"]) <= _ALIKE_V
    else:
        foreseen = nearest.least_a * (1.0 - _ALIKE) <= found_a <= nearest.most_a * (1.0 + _ALIKE)
    return {**found, "nearest": _shortfall(nearest), "foreseen": foreseen}
