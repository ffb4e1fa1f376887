"""What a log has beside volts and amps, put to its rows: temperature and engine speed."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from chargecore.units import ABSENT
from underdash.review.foreign.reading import Beside, Samples
from underdash.review.rows import GAP_MS, Floats, Ints, Lines, Rows


def beside(rows: Rows, found: Mapping[str, Beside], hold_s: float) -> Rows:
    """The rows with their temperature, the mean of what was measured within each, and rpm, the last value within it.

    A row reaches back to the one before, but never across a gap. Where nothing was measured in a row the last value
    counts that stands still, at most `hold_s` [s]; else it stays nan.
    """
    if known := found.get("temperature_c"):
        rows = replace(rows, temperature=_put(rows, known, hold_s, mean=True))
    if known := found.get("rpm"):
        rows = replace(rows, rpm=_put(rows, known, hold_s, mean=False))
    return rows


def lines(found: Samples) -> Lines:
    """The log's lines with the engine's speed in each, nan where it has none."""
    volts, rpm = np.where(found.bus_mv == ABSENT, np.nan, found.bus_mv / 1000), np.full(len(found), np.nan)
    if speed := found.beside.get("rpm"):  # its lines are in the order of the others
        rpm[np.isin(found.line, speed.line)] = speed.values[np.isin(speed.line, found.line)]
    return Lines(found.boot, found.t_s, volts, rpm)


def _put(rows: Rows, known: Beside, hold_s: float, *, mean: bool) -> Floats:
    """The known values as a column of the rows."""
    column = np.full(len(rows), np.nan)
    if not len(known.values):
        return column
    begin_ms, end_ms, known_ms = _in_one_line(rows, known)
    first, last = np.searchsorted(known_ms, begin_ms, side="right"), np.searchsorted(known_ms, end_ms, side="right")
    inside = last > first
    if mean:
        sums = np.concatenate([[0.0], np.cumsum(known.values)])
        column[inside] = (sums[last] - sums[first])[inside] / (last - first)[inside]
    else:
        column[inside] = known.values[last[inside] - 1]
    standing = ~inside & (last > 0)
    standing[standing] = end_ms[standing] - known_ms[last[standing] - 1] <= hold_s * 1000
    column[standing] = known.values[last[standing] - 1]
    return column


def _in_one_line(rows: Rows, known: Beside) -> tuple[Ints, Ints, Ints]:
    """(begin and end of each row, time of each value) [ms], each boot so far after the one before that nothing of the
    one is near the other."""
    end_ms, known_ms = (np.rint(t_s * 1000).astype(np.int64) for t_s in (rows.t_s, known.t_s))
    least, most = (int(limit) for limit in (min(end_ms.min(), known_ms.min()), max(end_ms.max(), known_ms.max())))
    apart = most - least + 100_000_000  # more than any hold
    end_ms += rows.boot * apart
    known_ms += known.boot * apart
    begin_ms = np.maximum(np.concatenate([[least], end_ms[:-1]]), end_ms - GAP_MS)
    return np.minimum(begin_ms, end_ms - 1), end_ms, known_ms  # two rows of one millisecond share its values
