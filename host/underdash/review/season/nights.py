"""What a night says that is too short for a settled drift: how the volts fell while surface charge still went."""

from typing import Any

import numpy as np

from underdash.review.rows import Rows
from underdash.review.theil_sen import theil_sen

_FROM_S, _TO_S = 3 * 3600.0, 7.5 * 3600.0  # most of it has gone by then; the same hours of every night compare
_LEAST_ROWS = 20
_MOST_ROWS = int(_TO_S) + 60  # no row of rest is shorter than a second
_BLOCKS = 48


def early_drifts(rows: Rows, rests: list[dict[str, Any]]) -> list[float | None]:
    """For each rest, Theil and Sen's slope from 3 to 7.5 h after it began [mV/h]; None if it is shorter. It says
    something beside those of other nights alone: surface charge is in it."""
    found: list[float | None] = []
    for rest in rests:
        if rest["length_s"] < _TO_S:
            found.append(None)
            continue
        first = rest["first_row"]
        after = int(np.searchsorted(rows.boot[first : first + _MOST_ROWS] != rest["boot"], True)) + first
        begin, end = (
            np.searchsorted(rows.t_s[first:after], (rest["start_s"] + _FROM_S, rest["start_s"] + _TO_S)) + first
        )
        known = np.isfinite(rows.volts[begin:end])
        t_s, volts = rows.t_s[begin:end][known], rows.volts[begin:end][known]
        if len(t_s) < _LEAST_ROWS:
            found.append(None)
            continue
        bounds = np.linspace(0, len(t_s), min(len(t_s), _BLOCKS) + 1).astype(int)
        hours, millivolts = (
            np.add.reduceat(values, bounds[:-1]) / np.diff(bounds) for values in (t_s / 3600.0, volts * 1000.0)
        )
        found.append(theil_sen(millivolts, hours).slope if np.ptp(hours) else None)
    return found
