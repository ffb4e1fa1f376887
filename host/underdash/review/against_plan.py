"""The plan of a car held against what its drives show."""

from typing import Any

from underdash.carfile import CarFile
from underdash.plan.budget import budget
from underdash.plan.charge_path import charge_path
from underdash.plan.results import Drop, Shortfall
from underdash.wire.network import Unconnected

_ALIKE = 0.2  # share by which found amps may be beyond the plan's range and still be what it foresees
_ALIKE_V = 0.25  # the same for volts, where no clamp measured amps [V]


def against_plan(report: dict[str, Any], car: CarFile) -> dict[str, Any]:
    """What the plan foresees beside each discharging episode of the report, as docs/report.md describes it.

    An episode does not tell its situation: it is held against the shortfall that comes nearest to it, by the mean
    current of the battery where a clamp measured it, else by the mean volts. Each discharging episode of the report
    is told what closes it: the plan's remedies where the plan foresees it, or a graver one, else the drops to measure.
    """
    planned = budget(car)
    cures = [remedy.text for remedy in planned.remedies if remedy.needed is not None]
    checks = _checks(car)
    episodes = []
    for drive in report["drives"]:
        for episode in drive["episodes"]:
            if episode["kind"] != "discharging" or not drive["started"]:
                continue
            beside = _beside(drive["number"], episode, planned.shortfalls)
            as_planned = beside["foreseen"] or beside["milder"]
            episode["closes"] = list(cures) if as_planned else [check["text"] for check in checks]
            episodes.append(beside)
    return {
        "car": car.name,
        "shortfalls": [_shortfall(one) for one in planned.shortfalls],
        "episodes": episodes,
        "remedies": [
            {"kind": remedy.kind, "now": remedy.now, "needed": remedy.needed, "unit": remedy.unit}
            for remedy in planned.remedies
        ],
        "checks": checks,
    }


def _checks(car: CarFile) -> list[dict[str, Any]]:
    """What to measure where the car is not as its file says: the drops of the charge path at full hot output."""
    try:
        drops = charge_path(car).drops
    except Unconnected:  # a file without these cables has nothing to check
        return []
    return [_check(drop) for drop in drops if drop.amps > 0.0]


def _check(drop: Drop) -> dict[str, Any]:
    return {
        "name": drop.name,
        "amps": round(drop.amps, 1),
        "volts": round(drop.volts, 3),
        "limit_volts": drop.limit_v,
        "text": f"Measure from {drop.start} to {drop.end} with the alternator loaded: by the file "
        f"{drop.ohm * 1000:.1f} mV for each ampere, {drop.volts:.2f} V at {drop.amps:.0f} A. "
        "More is a cable, a joint or a fuse.",
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
        "first_row": episode["first_row"],
        "found_a": found_a,
        "found_volts": episode["mean_volts"],
    }

    unknown = {**found, "nearest": None, "foreseen": False, "milder": False}
    if found_a is None and episode["mean_volts"] is None:
        return unknown

    def apart(one: Shortfall) -> float:
        by_volts: float = abs(one.bus_v - (episode["mean_volts"] or 0.0))
        return by_volts if found_a is None else float(abs(one.battery_a - found_a))

    nearest = min(shortfalls, key=apart, default=None)
    if nearest is None:
        return unknown
    if found_a is None:
        milder = episode["mean_volts"] > nearest.bus_v + _ALIKE_V
        worse = episode["mean_volts"] < nearest.bus_v - _ALIKE_V
    else:
        milder = found_a < nearest.least_a * (1.0 - _ALIKE)
        worse = found_a > nearest.most_a * (1.0 + _ALIKE)
    return {**found, "nearest": _shortfall(nearest), "foreseen": not (milder or worse), "milder": milder}
