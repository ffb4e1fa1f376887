"""What the nights say: rested volts, and a drift that suggests something draws while the car is parked."""

from typing import Any

import numpy as np

from chargecore import engine
from underdash.review.rows import Floats, Rows
from underdash.review.sensors import gone
from underdash.review.stretches import LONGEST_REST_ROW_S
from underdash.review.theil_sen import theil_sen

LEAST_S = 3600.0  # a shorter rest says nothing about a battery
SETTLED_S = 6 * 3600.0  # surface charge takes so long or longer to go (a battery primer; sources differ)
RESTED_S = 8 * 3600.0  # the least rest before a reading counts as rested (the same; a day is better)
_SLOPE_S = 4 * 3600.0  # least length of settled rest for a drift
_MOST_POINTS = 60
# The largest published temperature coefficient of rested volts, 4.3 mV/K, over a night's 10 K:
# volts that fall no further than this may just have grown cold (published values disagree: 0 to 4.3).
COLD_NIGHT_VOLTS = 0.043
# Rested volts from full to empty, flooded: 12.65 to 11.89 V (BCI table).
_FULL_TO_EMPTY_VOLTS = 0.76


def rests(rows: Rows) -> list[dict[str, Any]]:
    """Each rest of an hour or more: boot, start_s, length_s [s], volts (median of the last half hour)
    [V], rested (8 h or more), drift_mv_per_h with its 95 % interval drift_low, drift_high, fall_volts
    over the settled part [V], drains (whether that fall is more than cold explains); with a clamp charge_ah and
    mean_amps; first_row, its place among the rows.

    Volts that were gone are none of a battery's and do not count; a rest without others in its last half hour is left
    out. The drift is Theil and Sen's slope of the rest after its first 6 h; null
    where less than 4 h of that remain. No current is claimed: it takes the battery's capacity.
    """
    found = []
    resting = np.concatenate([[False], rows.state == engine.REST, [False]])
    same = np.concatenate([[False], np.diff(rows.boot) == 0, [False]]) if len(rows) else np.array([False, False])
    starts = np.flatnonzero(resting[1:-1] & ~(resting[:-2] & same[: len(rows)]))
    ends = np.flatnonzero(resting[1:-1] & ~(resting[2:] & same[1:])) + 1
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        begin_s, end_s = float(rows.since_s[start]), float(rows.t_s[end - 1])
        if end_s - begin_s < LEAST_S:
            continue
        t_s, volts = rows.t_s[start:end], rows.volts[start:end]
        known = np.isfinite(volts) & ~gone(volts)
        t_s, volts = t_s[known], volts[known]
        late = t_s > end_s - 1800.0
        if not late.any():
            continue
        found.append({
            "boot": int(rows.boot[start]),
            "first_row": start,
            "start_s": round(begin_s, 1),
            "length_s": round(end_s - begin_s, 1),
            "volts": round(float(np.median(volts[late])), 3),
            "rested": end_s - begin_s >= RESTED_S,
            **_drift(t_s, volts, begin_s + SETTLED_S),
            **_charge(rows.t_s[start:end], rows.amps[start:end], begin_s),
        })  # fmt: skip
    return found


def _drift(t_s: Any, volts: Any, from_s: float) -> dict[str, Any]:
    settled = t_s >= from_s
    t_s, volts = t_s[settled], volts[settled]
    names = ("drift_mv_per_h", "drift_low", "drift_high", "fall_volts")
    if len(t_s) < 10 or t_s[-1] - t_s[0] < _SLOPE_S:
        return {**dict.fromkeys(names), "drains": False}
    hours, millivolts = _means(t_s) / 3600, _means(volts) * 1000
    slope, low, high = theil_sen(millivolts, hours)
    fall = -slope * float(t_s[-1] - t_s[0]) / 3600 / 1000
    values = (round(slope, 3), round(low, 3), round(high, 3), round(fall, 4))
    return {**dict(zip(names, values, strict=True)), "drains": bool(high < 0 and fall > COLD_NIGHT_VOLTS)}


def _charge(t_s: Floats, amps: Floats, begin_s: float) -> dict[str, float | None]:
    """By the clamp, where there is one: charge_ah [Ah] and mean_amps [A], each row weighed by its time."""
    known = np.isfinite(amps)
    if not known.any():
        return {"charge_ah": None, "mean_amps": None}
    if not known.all():
        t_s, amps = t_s[known], amps[known]
    spans = np.diff(t_s, prepend=begin_s)
    spans = np.where((spans > 0.0) & (spans <= LONGEST_REST_ROW_S), spans, 0.0)
    charge_as, time_s = float(amps @ spans), float(spans.sum())
    mean = round(charge_as / time_s, 3) if time_s else None
    return {"charge_ah": round(charge_as / 3600, 3), "mean_amps": mean}


def _means(values: Any) -> Any:
    """Means of at most _MOST_POINTS blocks of equally many rows: the slope's work grows with the square of them."""
    bounds = np.linspace(0, len(values), min(len(values), _MOST_POINTS) + 1).astype(int)
    return np.add.reduceat(values, bounds[:-1]) / np.diff(bounds)


USUAL_AH = 50.0  # what a drain is reckoned from where no car file tells the capacity, and said


def drain_amps(drift_mv_per_h: float, capacity_ah: float) -> float:
    """Mean drain [A] that lowers a battery of this capacity [Ah] at this rate [mV/h]: the BCI table's
    span from full to empty, 0.76 V, taken as a straight line."""
    return -drift_mv_per_h / 1000 / _FULL_TO_EMPTY_VOLTS * capacity_ah
