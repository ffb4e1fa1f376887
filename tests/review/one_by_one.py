"""Segments read the slow way, a frame and a row at a time: what the arrays must agree with.

Written for the tests, with chargecore's own scan, decode_rows and engine, from docs/journal-format.md.
"""

from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from chargecore import engine, frames, thresholds
from chargecore.units import ABSENT, TICKS_MASK, elapsed_ms

# boot, t_ms, low_mv, bus_mv, high_mv, clamp_ma, state, warnings, since_ms
Row = list[int | None]


@dataclass
class Reading:
    """What a reader should have at the end; as review.rows.Account counts it."""

    rows: list[Row] = field(default_factory=list)
    lost_rows: int = 0
    damaged_bytes: int = 0
    refused_frames: int = 0
    refused_headers: int = 0
    unchecked_rows: int = 0
    mismatches: int = 0
    # Of each row: its number, the key (-1 where not known), whether an engine stepped over it, its segment.
    beside: list[tuple[int, int, bool, int]] = field(default_factory=list)
    boards: set[bytes] = field(default_factory=set)
    # Of the last row before each that no engine stepped over: the engine's numbers after it.
    snapshots: dict[int, bytes] = field(default_factory=dict)
    limits: thresholds.Thresholds = field(default_factory=thresholds.Thresholds)


def read(paths: list[Path]) -> Reading:
    """Every row of the segments, judged."""
    found = Reading()
    judge: engine.Engine | None = None
    stepped: engine.Engine | None = None
    expected = 0 if len(paths) > 1 else None
    segment_of: list[int] = []
    boot = 0
    for segment, path in enumerate(paths):
        judge, headed = None, False
        for kind, payload, _ in frames.scan(path.read_bytes()):
            if kind == 0:
                found.damaged_bytes += payload
                judge = None
            elif kind == frames.HEADER:
                try:
                    header = frames.decode_header(payload)
                except ValueError:
                    found.refused_frames += 1
                    found.refused_headers += 1
                    judge = None
                    continue
                found.boards.add(header.board_id)
                found.limits = header.thresholds
                judge = engine.Engine(header.thresholds)
                judge.restore(header.snapshot)
                boot, headed = header.boot, True
                found.lost_rows += max(0, header.first_row - expected) if expected is not None else 0
                expected = max(expected or 0, header.first_row)
            elif kind == frames.ROWS:
                try:
                    number, rows = frames.decode_rows(payload)
                except ValueError:
                    found.refused_frames += 1
                    judge = None
                    continue
                if expected is not None and number > expected:
                    found.lost_rows += number - expected
                    judge = None
                for index, row in enumerate(rows):
                    if expected is not None and number + index < expected:
                        continue
                    segment_of.append(segment)
                    found.rows.append([boot if headed else None, *row, None])
                    key = max(frames.rows_key(payload), -1)
                    found.beside.append((number + index, key, judge is not None, segment))
                    if judge:
                        judge.key = frames.rows_key(payload)
                        wrapped = row[0] & TICKS_MASK
                        judge.step(wrapped, *row[1:5])
                        found.rows[-1][-1] = row[0] - elapsed_ms(wrapped, judge.since_ms)
                        found.mismatches += (judge.state, judge.warnings) != row[5:]
                        stepped = judge
                    else:
                        found.unchecked_rows += 1
                        if len(found.beside) > 1 and found.beside[-2][2] and stepped:
                            found.snapshots[len(found.rows) - 2] = stepped.snapshot()
                expected = max(expected or 0, number + len(rows))
    _name_boots(found.rows, segment_of)
    _date_unchecked(found)
    _forget_at_holes(found.rows)
    return found


def _name_boots(rows: list[Row], segment_of: list[int]) -> None:
    """Whom no header vouches for belongs to the row before, or, at the head of a segment, to a start after that
    if the clock went back; at the beginning to the row behind, or to a start before that."""
    for at in range(1, len(rows)):
        row, before = rows[at], rows[at - 1]
        if row[0] is None and before[0] is not None:
            row[0] = before[0] + (segment_of[at] != segment_of[at - 1] and row[1] <= before[1])
    for at in range(len(rows) - 2, -1, -1):
        row, after = rows[at], rows[at + 1]
        if row[0] is None and after[0] is not None:
            row[0] = max(after[0] - (segment_of[at] != segment_of[at + 1] and row[1] >= after[1]), 0)
    for row in rows:
        row[0] = row[0] or 0


def _date_unchecked(found: Reading) -> None:
    """Where the board's engine is not known, one that goes on from the row before, or begins anew, tells since when, if
    it comes to the verdict at the same row; else the first row in succession with the same verdict does."""
    before: Row | None = None
    follows = engine.Engine(found.limits)
    for at, row in enumerate(found.rows):
        if before is None or before[0] != row[0]:
            follows = engine.Engine(found.limits)
        if (snapshot := found.snapshots.get(at)) is not None:
            follows = engine.Engine(follows.thresholds)
            follows.restore(snapshot)
        elif not found.beside[at][2]:
            stood, key = follows.state, found.beside[at][1]
            follows.key = key if key >= 0 else ABSENT
            follows.step(row[1] & TICKS_MASK, *row[2:6])
            if before is not None and (before[0], before[6]) == (row[0], row[6]):
                row[-1] = before[-1]
            elif stood != follows.state == row[6]:
                row[-1] = row[1] - elapsed_ms(row[1] & TICKS_MASK, follows.since_ms)
            else:
                row[-1] = row[1]
        before = row


def _forget_at_holes(rows: list[Row]) -> None:
    """The engine forgets across a hole: what holds behind it began behind it."""
    begun_ms: int | None = None
    for before, row in pairwise(rows):
        if row[0] != before[0]:
            begun_ms = None
        elif row[1] - before[1] > (65535 if before[6] == engine.REST else 10000):
            begun_ms = row[1]
        if begun_ms is not None:
            row[-1] = max(row[-1], begun_ms)
