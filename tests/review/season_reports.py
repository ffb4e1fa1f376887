"""Reports of the shape that docs/report.md describes, small enough to write down: a night before each drive."""

from collections.abc import Mapping, Sequence
from typing import Any

from chargecore.thresholds import Thresholds


def report(values: Mapping[str, Sequence[float | None]], dates: Sequence[str | None] | None = None) -> dict[str, Any]:
    """A report of as many drives as values. Names: rested, held, set_point, spread, drift, ohm, discharging."""
    count = len(next(iter(values.values())))

    def value(name: str, index: int, usual: float | None) -> float | None:
        return values[name][index] if name in values else usual

    drives, rests = [], []
    for index in range(count):
        point, rested = value("set_point", index, 14.2), value("rested", index, 12.6)
        held = value("held", index, 10.8)
        drives.append({
            "number": index + 1,
            "boot": index + 1,
            "dated": dates[index] if dates else None,
            "started": True,
            "start_s": 40000.0,
            "length_s": 1800.0,
            "first_row": 0,
            "last_row": 0,
            "rested_volts": rested,
            "set_point_volts": point,
            "set_point_low_volts": None if point is None else point - (value("spread", index, 0.2) or 0.0),
            "set_point_high_volts": point,
            "states": {"charging": 1800.0, "discharging": value("discharging", index, 0.0)},
            "idle": None,
            "episodes": [],
            "cranks": [{
                "start_s": 40000.0, "length_s": 0.9, "first_row": 0, "lowest_volts": held, "held_volts": held,
                "before_volts": 12.3, "dip_volts": None if held is None else 12.3 - held,
                "resistance_ohm": value("ohm", index, None),
            }],
        })  # fmt: skip
        rests.append({
            "boot": index + 1, "dated": None, "first_row": 0, "start_s": 0.0, "length_s": 39990.0, "volts": rested,
            "rested": True,
            "drift_mv_per_h": value("drift", index, 0.5), "drift_low": None, "drift_high": None, "drains": False,
        })  # fmt: skip
    return {
        "drives": drives,
        "rests": rests,
        "parked_episodes": [],
        "thresholds": {name: int(limit) for name, limit in vars(Thresholds()).items()},
        "clamp": "ohm" in values,
    }
