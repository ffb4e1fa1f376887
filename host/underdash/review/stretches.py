"""Rows cut into stretches, and the time that each row stands for. Whole arrays at once, no row by itself."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from chargecore import engine
from underdash.review.rows import GAP_MS, REST_GAP_MS, Floats, Rows

LONGEST_ROW_S = 5.0  # a longer step between rows is a hole, and no charge is counted across it
LONGEST_REST_ROW_S = REST_GAP_MS / 1000  # but at rest, where a row is a minute: what a row's period can hold
LONGEST_JUDGED_S = GAP_MS / 1000  # the engine forgets what it knew after a longer one
_LONGEST_DWELL_ROWS = 600  # no dwell is longer than a minute, no row shorter than a tenth of a second
_ANOTHER_DRIVE_S = 600.0  # who drives on after a longer hole may have parked meanwhile (chosen here)
_PICKED = 1000  # of so many steps at most a median is taken
_PERIODS = 3.0  # rows of a slow log may be missing two in a row before that is a hole (chosen here)


@dataclass(frozen=True)
class Times:
    """Of some rows: the time that each stands for [s] (`steps_s`), and whether a hole lies before it (`holes`)."""

    steps_s: Floats
    holes: Any

    def within(self, t_s: Floats, start_s: float, first: int, last: int) -> Floats:
        """The times of rows first..last, the first of them no longer than since `start_s` [s]."""
        steps = self.steps_s[first:last].copy()
        if len(steps):
            steps[0] = min(steps[0], max(float(t_s[first]) - start_s, 0.0))
        return steps


def runs(values: Any) -> Iterator[tuple[int, int]]:
    """(start, end) of each stretch of equal values."""
    yield from cut(values, np.zeros(len(values), dtype=bool))


def period_s(rows: Rows, first: int = 0, stop: int | None = None) -> float:
    """The usual distance of rows first..stop [s]: the median step within a start of the board, of some thousands evenly
    picked, and of those not at rest if there are such, for a board's rows of rest are a minute; 0 where none has one
    before it."""
    stop = len(rows) if stop is None else stop
    if stop - first < 2:
        return 0.0
    its = slice(first + 1, stop, (stop - first - 2) // _PICKED + 1)
    before = slice(first, stop - 1, its.step)
    steps = rows.t_s[its] - rows.t_s[before]
    same = rows.boot[its] == rows.boot[before]
    awake = same & (rows.state[its] != engine.REST)
    steps = steps[awake if awake.any() else same]
    return float(np.median(steps)) if len(steps) else 0.0


def apart_s(rows: Rows) -> Floats:
    """How long after the row before it in the same start of the board each row ended [s]; 0 for the first of each."""
    steps = np.empty(len(rows))
    steps[:1] = 0.0
    np.subtract(rows.t_s[1:], rows.t_s[:-1], out=steps[1:])
    steps[1:][rows.boot[1:] != rows.boot[:-1]] = 0.0
    return steps


def steps_s(rows: Rows, apart: Floats) -> Floats:
    """The time that each row stands for [s]: 0 for a board's first row, and for one that follows a hole.

    apart: of `apart_s`.
    """
    lost = _lost(rows, apart, LONGEST_ROW_S)
    steps = apart.copy()
    steps[lost] = 0.0
    return steps


def cut(values: Any, holes: Any) -> Iterator[tuple[int, int]]:
    """(start, end) of each stretch of equal values that no hole cuts. holes: whether one lies before each."""
    edges = np.flatnonzero((values[1:] != values[:-1]) | holes[1:]) + 1
    bounds = [0, *edges.tolist(), len(values)]
    yield from ((start, end) for start, end in pairwise(bounds) if end > start)


def holes(rows: Rows, apart: Floats) -> Any:
    """Whether a hole lies before each row, in which nobody knows what went on. apart: of `apart_s`."""
    found = np.zeros(len(rows), dtype=bool)
    found[_lost(rows, apart, LONGEST_JUDGED_S, before=1)] = True
    return found


def _lost(rows: Rows, apart: Floats, longest_s: float, before: int = 0) -> Any:
    """The rows before which the clock went back, or that are further from the row before than `longest_s` [s] and three
    of the usual steps of their start of the board; at rest, as the row `before` has it, than a minute's row."""
    odd = np.flatnonzero((apart > longest_s) | (apart < 0.0))
    asleep = (rows.state[odd - before] == engine.REST) & (apart[odd] > 0.0) & (apart[odd] <= LONGEST_REST_ROW_S)
    odd = odd[~asleep]
    if not len(odd):
        return odd
    begins = [0, *(np.flatnonzero(rows.boot[1:] != rows.boot[:-1]) + 1).tolist(), len(rows)]
    its, of = np.unique(np.searchsorted(begins, odd, side="right") - 1, return_inverse=True)
    usual_s = np.array([period_s(rows, begins[one], begins[one + 1]) for one in its.tolist()])
    return odd[(apart[odd] > _PERIODS * usual_s[of]) | (apart[odd] < 0.0)]


def gaps(rows: Rows, apart: Floats) -> list[dict[str, Any]]:
    """Holes in the rows: boot, row (the first behind it), start_s, length_s [s] and why, in words. Between two starts
    of the board the length is not known, and none is claimed: `boots` tells of those. apart: of `apart_s`."""
    return [
        {
            "boot": int(rows.boot[at]),
            "row": at,
            "start_s": round(float(rows.t_s[at - 1]), 3),
            "length_s": round(float(apart[at]), 3),
            "why": _why(rows, apart, at),
        }
        for at in np.flatnonzero(holes(rows, apart)).tolist()
    ]


def _why(rows: Rows, apart: Floats, at: int) -> str:
    """What the numbering says of the hole before a row; a log's rows have no numbers, and tell no more."""
    if apart[at] < 0.0:
        return "the clock went back"
    missing = int(rows.number[at]) - int(rows.number[at - 1]) - 1 if rows.number[at - 1] >= 0 else 0
    return f"rows are lost, {missing} of them" if missing > 0 else "no rows were written"


def awake(rows: Rows, apart: Floats) -> Iterator[tuple[int, int]]:
    """(start, end) of each stretch of `not_rest`; its first rows, where they are, were rest until its first verdict
    told that something had begun in them. apart: of `apart_s`."""
    for start, _, after in not_rest(rows.boot, parked(rows.state, rows.key), apart):
        yield _onset(rows, start), after


def parked(state: Any, key: Any) -> Any:
    """Whether the car is parked, row by row: at rest, or with its key off and no verdict, for volts in steps coarser
    than the engine's stillness never come to rest."""
    return (state == engine.REST) | ((key == 0) & (state == engine.UNKNOWN))


def not_rest(boot: Any, parked: Any, apart: Floats) -> Iterator[tuple[int, int, int]]:
    """(start, end, after) of each stretch within one start of the board in which the car is not `parked`, and that has
    no long hole in it.

    `after` is one more than its end where a row of rest follows, which tells when the condition before it ended. apart:
    of `apart_s`. Rows that are always so far apart have no verdicts, and are no drive in any case.
    """
    away = (apart > _ANOTHER_DRIVE_S) | (apart < 0.0)
    for start, end in cut(boot * 2 + parked, away):
        if not parked[start]:
            goes_on = end < len(parked) and boot[end] == boot[start] and not away[end]
            yield start, end, end + 1 if goes_on else end


def _onset(rows: Rows, start: int) -> int:
    """The first row in which the condition behind the verdict of row `start` held."""
    first, boot, since_s = start, rows.boot[start], rows.since_s[start]
    while (
        start - first < _LONGEST_DWELL_ROWS and first and rows.boot[first - 1] == boot
        and rows.state[first - 1] == engine.REST and since_s < rows.t_s[first - 1]
    ):  # fmt: skip
        first -= 1
    return first


def boots(rows: Rows) -> list[dict[str, Any]]:
    """Each start of the board, its rows and their usual distance [s], in the order of their numbers."""
    found: dict[int, dict[str, Any]] = {}
    for start, end in runs(rows.boot):
        boot = int(rows.boot[start])
        one = found.setdefault(boot, {"boot": boot, "rows": 0, "period_s": round(period_s(rows, start, end), 3)})
        one["rows"] += end - start
    return [found[boot] for boot in sorted(found)]


def spans_s(rows: Rows, runs: Sequence[tuple[int, int]], holes: Any) -> list[tuple[float, float]]:
    """(start, end) of each of the runs that follow one another to the last row [s]: what it was, with hindsight.

    From a verdict's onset to the next one's, but to its own last row where a hole follows. Where a later verdict began
    before an earlier one, the later is right: so no two overlap. holes: as of `cut`.
    """
    found: list[tuple[float, float]] = []
    for start, end in reversed(runs):
        until = float(rows.t_s[end - 1]) if end == len(rows) or holes[end] else found[-1][0]
        found.append((min(float(rows.since_s[start]), until), until))
    return found[::-1]


def rows_within(t_s: Floats, start_s: float, end_s: float) -> tuple[int, int]:
    """(first, one past the last) of the rows that end after `start_s` and by `end_s` [s]."""
    first, last = np.searchsorted(t_s, (start_s, end_s), side="right")
    return int(first), int(last)


def in_order(t_s: Floats) -> Floats:
    """Times to search in, whatever the clock did: where it went back, those that it had reached before."""
    return t_s if (t_s[1:] >= t_s[:-1]).all() else np.maximum.accumulate(t_s)


def least(values: Any, sign: int = 1) -> float | None:
    """Least of what was measured, times `sign`; None if nothing was (NaN is no JSON)."""
    value = float(np.fmin.reduce(values, initial=np.nan))
    return None if np.isnan(value) else round(sign * value, 3)


def mean(values: Floats, steps_s: Floats) -> float | None:
    """Mean of what was measured, each value by its time [s], or plain if no time is known; None if nothing was."""
    known = np.isfinite(values)
    if not known.all():
        values, steps_s = values[known], steps_s[known]
    if not len(values):
        return None
    return float(np.average(values, weights=steps_s) if steps_s.any() else values.mean())
