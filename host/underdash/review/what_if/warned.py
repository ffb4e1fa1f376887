"""Verdicts made into what the owner sees: each time a warning is shown, from when to when, and how far it went."""

from bisect import bisect_right
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chargecore.engine import CRANK, WARNING_NAMES
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT
from underdash.review.stretches import runs
from underdash.review.what_if.judged import Rows, Verdicts

KINDS = WARNING_NAMES
_OF_A_STATE = ("discharging", "overcharge", "marginal")


@dataclass(frozen=True)
class Warned:
    """One time that a warning of `kind` was shown.

    part: its stretch of rows between two new beginnings of the engine; times are comparable in it. boot: the board's
    start. drive: its number, None with the car parked. start_ms: when the condition began; of a weak crank, the crank;
    of sensor and low at rest, when it was shown. shown_ms: the row that brought it. end_ms: when the condition was
    over; of a warning that is no state, the row that took it away. worst_mv: lowest volts, of overcharge the highest,
    of a weak crank what the battery held; None where nothing was measured, and for the sensor. depth_mv: how far that
    is beyond the threshold.
    """

    kind: str
    part: int
    boot: int
    drive: int | None
    start_ms: int
    shown_ms: int
    end_ms: int
    first_row: int
    last_row: int
    worst_mv: int | None
    depth_mv: int | None

    @property
    def length_ms(self) -> int:
        return self.end_ms - self.start_ms


def warned(rows: Rows, verdicts: Verdicts, thresholds: Thresholds) -> list[Warned]:
    """Every warning that these verdicts show, by kind, then in order of the rows."""
    begins, drives = rows.begins, rows.drives
    starts = [start for start, _ in drives]
    cranks = _held(verdicts.state == CRANK)
    found = []
    for bit, kind in enumerate(KINDS):
        for first, stop in _held((verdicts.warnings >> bit) & 1 == 1):
            part = bisect_right(begins, first) - 1
            drive = bisect_right(starts, first)
            until = begins[part + 1] if part + 1 < len(begins) else len(rows)
            start_ms, end_ms = _span(kind, rows, verdicts, first, stop, until)
            if kind == "weak crank":
                worst_mv, depth_mv = _weak(rows, thresholds, cranks, first)
            else:
                span = slice(first, stop)
                if kind in _OF_A_STATE:  # its condition began before it was shown, and ended before it went
                    within = np.searchsorted(rows.t_ms[begins[part] : until], (start_ms, end_ms), side="right")
                    span = slice(*(begins[part] + within).tolist())
                worst_mv, depth_mv = _worst(kind, rows, thresholds, span)
            found.append(
                Warned(
                    kind, part, int(rows.boot[first]), drive if drive and first < drives[drive - 1][1] else None,
                    start_ms, int(rows.t_ms[first]), end_ms, first, stop - 1, worst_mv, depth_mv,
                )
            )  # fmt: skip
    return found


def _held(holds: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """(first, one past the last) of each stretch in which it holds."""
    return [(first, stop) for first, stop in runs(holds) if holds[first]]


def _span(kind: str, rows: Rows, verdicts: Verdicts, first: int, stop: int, until: int) -> tuple[int, int]:
    """From when to when [ms]. A hole in the rows is no part of it."""
    goes_on = stop < until and not verdicts.anew[stop]
    if kind in _OF_A_STATE:
        start_ms = int(verdicts.since_ms[first])
        end_ms = int(verdicts.since_ms[stop]) if goes_on else int(rows.t_ms[stop - 1])
    else:
        start_ms = int(verdicts.since_ms[first]) if verdicts.state[first] == CRANK else int(rows.t_ms[first])
        end_ms = int(rows.t_ms[stop]) if goes_on else int(rows.t_ms[stop - 1])
    return start_ms, max(start_ms, end_ms)


def _worst(kind: str, rows: Rows, thresholds: Thresholds, span: slice) -> tuple[int | None, int | None]:
    """(how far it went [mV], how far beyond its threshold [mV]) in these rows."""
    limits = vars(thresholds)
    if kind == "overcharge":
        highest = _least(rows.high_mv[span], sign=-1)
        return highest, None if highest is None else highest - limits["overcharge_mv"]
    if kind == "sensor":
        return None, None
    lowest = _least((rows.bus_mv if kind == "low at rest" else rows.low_mv)[span])
    name = "low_rest_mv" if kind == "low at rest" else f"{kind}_mv"
    return lowest, None if lowest is None else limits[name] - lowest


def _weak(rows: Rows, thresholds: Thresholds, cranks: list[tuple[int, int]], row: int) -> tuple[int | None, int | None]:
    """The same of the crank around `row`: the lowest level that the battery held for three rows in succession, as the
    engine reckons it (Engine._follow_held)."""
    start, stop = cranks[bisect_right(cranks, row, key=lambda crank: crank[0]) - 1]
    low = rows.low_mv[start:stop]
    low = low[low < thresholds.crank_mv + thresholds.hysteresis_mv]
    if len(low) < 3:
        return None, None
    held_mv = int(np.max([low[:-2], low[1:-1], low[2:]], axis=0).min())
    return held_mv, thresholds.weak_crank_mv - held_mv


def _least(values: NDArray[Any], sign: int = 1) -> int | None:
    """The least of what was measured, times `sign`."""
    known = values[values != ABSENT]
    return sign * int((sign * known).min()) if len(known) else None
