"""Rests that may be none: an engine that ran on while the volts stood so still that the verdict was rest.

A running car's volts move all the time, by which a board that has volts alone tells it from a parked one. A recorder
that holds its values, or one of coarse steps, may show them still with the alternator dead. Where neither a key, an
engine speed nor a clamp tells, what the volts do is weighed here; no verdict is changed.
"""

from itertools import zip_longest
from typing import Any

import numpy as np

from chargecore import engine
from underdash.review.charge_bounds import FULL_V, HALF_V
from underdash.review.rows import Rows
from underdash.review.sensors import gone
from underdash.review.stretches import LONGEST_REST_ROW_S, least, mean

_LEAST_S = 10.0  # a shorter one may be the engine running down (chosen here, as what follows)
_MOST_S = 3 * 3600.0  # no engine runs on for longer without its alternator
_SETTLED_S = 60.0  # by then what the loads did to the volts is over
_BELOW_V = 0.10  # surface charge holds a battery just charged above what it rested at before; so much below is a load
_RISING_V = 0.005  # a battery without loads recovers; one that feeds them falls
_BACK_V = 0.05  # and once they go it rises at once by more
_DWELL_ROWS = 6000  # rest is told within ten minutes, and no row is shorter than a tenth of a second


def doubtful_rests(rows: Rows, drives: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Of each drive that ended in a rest which may be none: drive (its number), boot, start_s, length_s [s], first_row,
    last_row, lowest_volts, mean_volts [V], by: `no crank` (charging came back without one) or `volts`."""
    found = []
    for drive, after in zip_longest(drives, drives[1:]):
        first = drive["last_row"] + 1
        end = _end(rows, drive, first, after["first_row"] if after else len(rows))
        if end == first:
            continue
        by, end = _by_volts(rows, first, end, drive, after)
        if by is not None:
            steps_s = np.diff(rows.t_s[first - 1 : end]).clip(0.0, LONGEST_REST_ROW_S)
            volts = mean(rows.volts[first:end], steps_s)
            found.append({
                "drive": drive["number"],
                "boot": drive["boot"],
                "start_s": drive["end_s"],
                "length_s": round(float(rows.t_s[end - 1]) - drive["end_s"], 3),
                "first_row": first,
                "last_row": end - 1,
                "lowest_volts": least(rows.low[first:end]),
                "mean_volts": None if volts is None else round(volts, 3),
                "by": by,
            })  # fmt: skip
    return found


def _end(rows: Rows, drive: dict[str, Any], first: int, stop: int) -> int:
    """One past the last row of the rest that a drive ended in, of the rows from `first` on and before `stop`; `first`
    where it ended otherwise."""
    resting = rows.state[first : min(first + _DWELL_ROWS, stop)] == engine.REST
    told = first + int(np.argmax(resting)) if resting.any() else stop
    if told == stop or rows.boot[told] != drive["boot"] or abs(float(rows.since_s[told]) - drive["end_s"]) > 0.001:
        return first
    other = (rows.state[told:stop] != engine.REST) | (rows.boot[told:stop] != drive["boot"])
    return told + int(np.argmax(other)) if other.any() else stop


def _by_volts(
    rows: Rows, first: int, end: int, drive: dict[str, Any], after: dict[str, Any] | None
) -> tuple[str | None, int]:
    """(`no crank` or `volts`, one past the last row) where the volts stay below what the battery rested at before the
    drive, and do not rise, until they recover: then the loads went, if not before. (None, end) for a rest like that of
    a parked car, or where the key or a clamp told."""
    t_s, volts = rows.t_s[first:end] - drive["end_s"], rows.volts[first:end]
    if np.isfinite(rows.amps[first:end]).any() or (rows.key[first:end] >= 0).any():
        return None, end
    late = np.flatnonzero((t_s >= min(_SETTLED_S, t_s[-1] / 2)) & np.isfinite(volts))
    settled = volts[late]
    back = settled > np.minimum.accumulate(settled) + _BACK_V if len(settled) else settled
    recovers = bool(back.any())
    if recovers:
        late, settled = late[: int(np.argmax(back))], settled[: int(np.argmax(back))]
    if len(settled) < 3 or gone(settled).any() or not _LEAST_S <= t_s[late[-1]] <= _MOST_S:
        return None, end
    limit = HALF_V if drive["rested_volts"] is None else min(drive["rested_volts"], FULL_V) - _BELOW_V
    third = len(settled) // 3
    if np.median(settled) > limit or np.median(settled[-third:]) > np.median(settled[:third]) + _RISING_V:
        return None, end
    last = first + int(late[-1]) + 1
    joined = after is not None and after["boot"] == drive["boot"] and after["first_row"] == end and not recovers
    return "no crank" if joined and after is not None and after["started_by"] != "crank" else "volts", last
