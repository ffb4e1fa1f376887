"""The quantities that are followed over a season: a value a drive or night, and what they show."""

from bisect import bisect_left, insort
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from math import isfinite, pi, sin
from typing import Any

import numpy as np

from underdash.review.rest import SETTLED_S
from underdash.review.season.evidence import (
    LEAST_POINTS,
    Change,
    Floats,
    Trend,
    change,
    deeper,
    steps_better,
    trend,
    upper,
)
from underdash.review.season.load_steps import Steps

CONFIDENCE = 0.95  # that nothing is called by chance, of all quantities together (chosen here)
MONTH_DAYS = 30.44
UNDATED_DAYS = 2.0  # days from drive to drive where no date is known (chosen here, on the careful side)
# Monthly means of the air from winter to summer, for what a season alone may do. A temperate climate's (chosen here).
YEAR_SWING_K = 24.0
SPELL_K = 4.0  # and what a warm or cold spell adds to that (chosen here)
_LEAST_CHARGING_S = 300.0  # the regulator warms up over minutes: a short hop has another set point (chosen here)
_CLOCK_DAYS = 1.0  # a date may be so far out, as one that was reckoned from another boot's (chosen here)
_NEAR = 8  # values on each side of a change that must already differ


@dataclass(frozen=True)
class Kind:
    """What one quantity is called, and when a change of it matters."""

    name: str
    unit: str
    material: float
    """A smaller change is of no consequence [unit]."""
    share: float = 0.0
    """Or this share of its level, if that is more."""
    per_k: float = 0.0
    """What a kelvin of the air may do [unit/K], and as a share of the level:"""
    share_per_k: float = 0.0
    decimals: int = 3


@dataclass
class Quantity:
    """One quantity over the season. Values in the order of time; `days` [d] since the first."""

    kind: Kind
    drives: list[int]
    dates: list[str | None]
    values: Floats
    days: Floats
    dated: bool
    trend: Trend | None = None
    change: Change | None = None
    tests: int = 1
    celsius: Floats | None = None
    bounds: bool = False
    """Each value may stop short of the truth: only the highest tell."""

    @property
    def per(self) -> str:
        """What the slope counts by: `month`, or `drive` where not every point is dated."""
        return "month" if self.dated else "drive"

    @property
    def x(self) -> Floats:
        """Months since the first point, or the drives' numbers."""
        return self.days / MONTH_DAYS if self.dated else np.array(self.drives, dtype=np.float64)

    @property
    def level(self) -> float:
        """Median of the first third: what it was (of bounds, their upper quartile)."""
        first = self.values[: max(len(self.values) // 3, 3)]
        return upper(first) if self.bounds else float(np.median(first))

    @property
    def now(self) -> float:
        """Median of the latest three (of bounds, the upper quartile of the latest eight)."""
        return upper(self.values[-_NEAR:]) if self.bounds else float(np.median(self.values[-3:]))

    def matters(self, days: float) -> float:
        """The least change within so many days that is neither small nor the year's [unit]."""
        kind, level = self.kind, abs(self.level)
        kelvin = SPELL_K + YEAR_SWING_K * sin(pi * min(abs(days), 182.6) / 365.25)
        if self.celsius is not None:
            kelvin = 0.0  # taken off already
        return max(kind.material, kind.share * level) + kelvin * max(kind.per_k, kind.share_per_k * level)

    @property
    def confidence(self) -> float:
        """Of the change, after Bonferroni over all quantities [0..1]."""
        return 0.0 if self.change is None else max(0.0, 1.0 - self.change.p * self.tests)

    @property
    def drift(self) -> float:
        """Change along the trend over the whole season [unit]; 0 if it may be chance, weather or nothing to mind."""
        if self.bounds:
            return 0.0  # their middle follows which of them were caught
        if self.trend is None or len(self.values) < LEAST_POINTS or self.trend.p * self.tests > 1.0 - CONFIDENCE:
            return 0.0
        total = self.trend.slope * float(np.ptp(self.x))
        return total if abs(total) >= self.matters(float(np.ptp(self.days))) else 0.0

    @property
    def moved(self) -> float:
        """The change that is called, or else the drift [unit]; 0 for neither."""
        return self.change.after - self.change.before if self.change is not None else self.drift

    def plain(self) -> dict[str, Any]:
        """As docs/report.md describes it."""
        digits = self.kind.decimals
        line = self.trend.line if self.trend and not self.bounds else None  # no trend is told of mere bounds
        slope, low, high = (round(one, digits + 2) for one in line) if line else (None, None, None)
        return {
            "name": self.kind.name,
            "unit": self.kind.unit,
            "points": [
                {"drive": drive, "date": date, "value": round(float(value), digits)}
                for drive, date, value in zip(self.drives, self.dates, self.values, strict=True)
            ],
            "slope": slope,
            "slope_low": low,
            "slope_high": high,
            "per": self.per,
            "change": None
            if self.change is None
            else {
                "drive": self.drives[self.change.at],
                "date": self.dates[self.change.at],
                "before": round(self.change.before, digits),
                "after": round(self.change.after, digits),
                "confidence": round(min(self.confidence, 0.9999), 4),
            },
        }


RESTED = Kind("rested volts", "V", 0.10, per_k=0.0043)  # half of a quarter charge; largest published coefficient
DIP = Kind("crank dip", "V", 0.2, share=0.2, share_per_k=0.01)  # half-CCA limits give 0.8 %/K; stiff oil beside
RESISTANCE = Kind("internal resistance at the crank", "ohm", 0.001, share=0.2, share_per_k=0.01, decimals=5)
SET_POINT = Kind("set point", "V", 0.15, per_k=0.010)  # -10 mV/K: a marine engine maker's manual
RUNNING = Kind("running volts", "V", 0.15, per_k=0.010)
SPREAD = Kind("spread of the set point", "V", 0.2)
DEFICITS = Kind("deficits at idle", "s/h", 60.0, decimals=1)
DEFICITS_DRIVING = Kind("deficits while driving", "s/h", 60.0, decimals=1)
NIGHT = Kind("overnight drift", "mV/h", 2.0)
KEY_SAG = Kind("sag with the key on", "V", 0.3)
KEY_VOLTS = Kind("volts with the key on", "V", 0.3, per_k=0.0043)  # where no rest before it is known
LOAD_STEP = Kind("steps with the loads", "V", 0.1)  # half of what a shop allows one side
LOAD_SAG = Kind("sag after the loads", "V", 0.1)
KEY_OHM = Kind("resistance seen by the key's loads", "ohm", 0.015, decimals=5)


def quantities(report: dict[str, Any], steps: list[Steps] | None) -> dict[str, Quantity]:
    """{name: Quantity} of everything that the drives and nights of the report hold."""
    drives = report["drives"]
    rests = _rest_before(drives, report["rests"])
    slow = [rest is not None and rest["length_s"] >= SETTLED_S for rest in rests]
    found: dict[str, Quantity] = {}

    def follow(
        kind: Kind,
        value: Callable[[int], float | None],
        celsius: list[float | None] | None = None,
        bounds: bool = False,
    ) -> None:
        values = [value(index) for index in range(len(drives))]
        known = [index for index, one in enumerate(values) if one is not None and isfinite(one)]
        if len(known) >= 3:
            dates = [drives[index].get("dated") for index in known]
            at = [None if celsius is None else celsius[index] for index in known]
            chosen = [float(values[index]) for index in known]  # type: ignore[arg-type]
            found[kind.name] = _quantity(kind, [index + 1 for index in known], dates, chosen, at, bounds)

    # After a short stop the surface charge stands on top: rested volts are those after six hours, where such are known.
    rested = [drive["rested_volts"] if slow[i] or not any(slow) else None for i, drive in enumerate(drives)]
    key = [one["key_volts"] for one in steps] if steps else [_crank(drive, "before_volts") for drive in drives]
    follow(RESTED, lambda i: rested[i])
    # A slow log catches a row or two of a crank: then all dips are to the lowest, for the two do not compare.
    held = [_crank(drive, "held_volts") for drive in drives if drive["cranks"]]
    slow_log = sum(one is not None for one in held) < 0.9 * len(held)
    low = "lowest_volts" if slow_log else "held_volts"
    follow(DIP, lambda i: _dip(drives[i], key[i], low), bounds=slow_log)
    follow(RESISTANCE, lambda i: _resistance(drives[i], key[i]))
    celsius = [one["temperature"] for one in steps] if steps else None
    long = _long([drive["states"].get("charging", 0.0) for drive in drives])
    follow(SET_POINT, lambda i: drives[i]["set_point_volts"] if long[i] else None, celsius)
    follow(SPREAD, lambda i: _spread(drives[i]) if long[i] else None)
    if any(drive.get("idle") for drive in drives):
        follow(DEFICITS, lambda i: _idle_deficit(drives[i]))
    else:
        follow(DEFICITS_DRIVING, lambda i: _deficit(drives[i]))
    follow(NIGHT, lambda i: rests[i]["drift_mv_per_h"] if rests[i] is not None else None)  # type: ignore[index]
    follow(KEY_SAG, lambda i: _apart(rested[i], key[i]))
    if KEY_SAG.name not in found:
        follow(KEY_VOLTS, lambda i: key[i])
    if steps is not None:
        ran = _long([one["running_s"] or 0.0 for one in steps])
        follow(RUNNING, lambda i: steps[i]["running_volts"] if ran[i] else None, celsius)
        follow(LOAD_STEP, lambda i: steps[i]["load_step_volts"])
        follow(LOAD_SAG, lambda i: steps[i]["load_sag_volts"])
        follow(KEY_OHM, lambda i: steps[i]["key_ohm"])
    for one in found.values():
        one.tests = len(found)
        _look(one)
    return found


def _quantity(
    kind: Kind,
    numbers: list[int],
    dates: list[str | None],
    values: list[float],
    at: list[float | None],
    bounds: bool,
) -> Quantity:
    when = [datetime.fromisoformat(date).replace(tzinfo=None) for date in dates if date is not None]
    days = np.array([(one - when[0]).total_seconds() / 86400.0 for one in when])
    # A clock that stands still or runs back, or two that disagree, measures no time: then the drives are counted.
    dated = len(when) == len(dates) and days[-1] > 0.0 and bool((np.diff(days) > -_CLOCK_DAYS).all())
    counted = (np.array(numbers, dtype=np.float64) - numbers[0]) * UNDATED_DAYS
    days = np.maximum.accumulate(days) if dated else counted
    celsius = np.array(at, dtype=np.float64) if all(one is not None and isfinite(one) for one in at) else None
    return Quantity(kind, numbers, dates, np.array(values), days, dated, celsius=celsius, bounds=bounds)


def _look(one: Quantity) -> None:
    """Trend and change; a change is kept only where it is sure, sudden, and more than small or the season's."""
    values = one.values if one.celsius is None else _at_one_temperature(one.values, one.celsius)
    one.trend = trend(one.x, values)
    if one.bounds:
        _look_at_bounds(one)
        return
    found = change(values)
    if (
        one.trend is None
        or found is None
        or found.p * one.tests > 1.0 - CONFIDENCE
        or not steps_better(one.x, values, found.at, one.trend.slope)
    ):
        return
    near = slice(max(found.at - _NEAR, 0), found.at), slice(found.at, found.at + _NEAR)
    before, after = (float(np.median(values[part])) for part in near)
    days = float(np.median(one.days[near[1]]) - np.median(one.days[near[0]]))
    if abs(after - before) >= one.matters(days) and (after - before) * (found.after - found.before) > 0.0:
        one.change = found


def _look_at_bounds(one: Quantity) -> None:
    """The same of values that may stop short of the truth: it may have come bit by bit, and only upwards."""
    found = deeper(one.values)
    if found is None or found.p * one.tests > 1.0 - CONFIDENCE:
        return
    days = float(np.median(one.days[found.at :]) - np.median(one.days[: found.at]))
    if found.after - found.before >= one.matters(days):
        one.change = found


def _at_one_temperature(values: Floats, celsius: Floats) -> Floats:
    """The values as they would be at the season's median temperature: less the slope that neighbours in time show,
    held to what is published of regulators, 0 to -13 mV/K."""
    apart, volts = np.diff(celsius), np.diff(values)
    warm = np.abs(apart) >= 2.0
    slope = float(_middle_half(volts[warm] / apart[warm]).mean()) if int(warm.sum()) >= 5 else 0.0
    return np.asarray(values - min(max(slope, -0.013), 0.0) * (celsius - np.median(celsius)))


def _middle_half(values: Floats) -> Floats:
    cut = len(values) // 4
    return np.sort(values)[cut : len(values) - cut]


def _rest_before(drives: list[dict[str, Any]], rests: list[dict[str, Any]]) -> list[dict[str, Any] | None]:
    """The rest of an hour or more that ended with each drive, None where there was none."""
    starts: dict[int, list[tuple[float, int]]] = {}
    for index, drive in enumerate(drives):
        insort(starts.setdefault(drive["boot"], []), (drive["start_s"], index))
    ended = {}
    for rest in rests:
        of_boot = starts.get(rest["boot"], [])
        at = bisect_left(of_boot, (rest["start_s"] + rest["length_s"] - 120.0, -1))
        if at < len(of_boot):
            ended[of_boot[at][1]] = rest
    return [ended.get(index) for index in range(len(drives))]


def _crank(drive: dict[str, Any], name: str) -> float | None:
    """Of the drive's first crank: the cold one."""
    return drive["cranks"][0][name] if drive["cranks"] else None


def _spread(drive: dict[str, Any]) -> float | None:
    low, high = drive["set_point_low_volts"], drive["set_point_high_volts"]
    return None if low is None or high is None else high - low


def _idle_deficit(drive: dict[str, Any]) -> float | None:
    idle = drive.get("idle")
    return 3600.0 * idle["idle_short_s"] / idle["idle_s"] if idle and idle["idle_s"] >= 60.0 else None


def _deficit(drive: dict[str, Any]) -> float | None:
    return 3600.0 * drive["states"].get("discharging", 0.0) / drive["length_s"] if drive["length_s"] >= 60.0 else None


def _dip(drive: dict[str, Any], key_volts: float | None, low: str = "held_volts") -> float | None:
    """From the volts just before the starter turned, where the rows tell these better than the crank's own."""
    return _apart(key_volts if key_volts is not None else _crank(drive, "before_volts"), _crank(drive, low))


def _resistance(drive: dict[str, Any], key_volts: float | None) -> float | None:
    """The crank's own, but by the dip from the volts just before the starter turned."""
    ohm, dip, from_key = _crank(drive, "resistance_ohm"), _crank(drive, "dip_volts"), _dip(drive, key_volts)
    return ohm * from_key / dip if ohm is not None and dip and from_key is not None else ohm


def _apart(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one - other


def _long(seconds: list[float]) -> list[bool]:
    """Which drives are long enough for a warm regulator; all, where few are."""
    long = [one >= _LEAST_CHARGING_S for one in seconds]
    return long if sum(long) >= LEAST_POINTS else [True] * len(seconds)
