"""A board's segments put together: every readable row once, in order, and whose engine decided on it."""

from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chargecore import frames
from chargecore.engine import Engine
from chargecore.thresholds import Thresholds
from underdash.archive.lockstep import Decoded, decode
from underdash.archive.scan import scan
from underdash.problems import DataError, readable

Ints = NDArray[np.int64]

UNKNOWN_BOARD = "unknown"


@dataclass
class Run:
    """Successive rows, from `begin` on, decided by one engine under one key.

    judge: that engine, before the first of them if those of all runs before were stepped; None where it
    cannot be known. key: 1 on, 0 off, ABSENT if not known. segment: the file they stood in, counted from 0. boot:
    the board's start they belong to, and `vouched` whether a header of that file says so.
    """

    begin: int
    count: int
    judge: Engine | None
    key: int
    segment: int
    boot: int | None  # None only while it is being found out
    vouched: bool  # for its boot, by a header of its segment

    @property
    def rows(self) -> slice:
        """Where they stand among all rows."""
        return slice(self.begin, self.begin + self.count)


@dataclass
class Journal:
    """What could be read. Rows as in lockstep.Decoded, by column, and their numbers; `runs` cover them all.

    lost_rows: missing from the numbering. damaged_bytes: no whole frames. refused_frames: whole, but
    not of this format. thresholds: those in force at the end. clocked: whether any header tells the time.
    """

    columns: dict[str, NDArray[Any]] = field(default_factory=dict)
    numbers: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    runs: list[Run] = field(default_factory=list)
    board: str | None = None
    lost_rows: int = 0
    damaged_bytes: int = 0
    refused_frames: int = 0
    thresholds: Thresholds = field(default_factory=Thresholds)
    clocked: bool = False


@dataclass
class _Part:
    """Rows frames from `begin` on with nothing unreadable between them.

    header: what stands before them, unless they begin their segment or follow something unreadable.
    """

    begin: int
    segment: int
    header: frames.Header | None = None


_COLUMNS = ("t_ms", "low_mv", "bus_mv", "high_mv", "clamp_ma", "state", "warnings")


def read(paths: list[Path]) -> Journal:
    """Read a board's segments, oldest first.

    What is damaged or refused costs the rows in it, and is counted. Of two rows of one number the first
    is kept. The rows of a segment without a readable header are kept too, as the boot before them, or as
    a start of their own where their clock does not go on from there.

    DataError if nothing can be read in any of the files, or if they are of two boards. Where no header can be read,
    the board is UNKNOWN_BOARD and its thresholds are taken for the defaults.
    """
    journal = Journal()
    payloads, parts = _frames(paths, journal)
    decoded = decode(payloads)
    skipped = _number(journal, parts, decoded, 0 if len(paths) > 1 else None)
    journal.columns = {name: getattr(decoded, name) for name in _COLUMNS}
    journal.numbers = decoded.number
    if skipped.any():
        start = np.cumsum(decoded.count) - decoded.count
        kept = np.arange(len(decoded.t_ms)) >= np.repeat(start + skipped, decoded.count)
        journal.columns = {name: column[kept] for name, column in journal.columns.items()}
        journal.numbers = journal.numbers[kept]
    _find_boots(journal.runs, journal.columns["t_ms"])
    return journal


def _frames(paths: list[Path], journal: Journal) -> tuple[list[bytes], list[_Part]]:
    """The payloads of all rows frames, and how they hang together."""
    payloads: list[bytes] = []
    parts: list[_Part] = []
    refusal = ""
    for segment, path in enumerate(paths):
        with readable(path):
            data = path.read_bytes()
        parts.append(_Part(len(payloads), segment))
        for kind, payload, _ in scan(data):
            if isinstance(payload, int):
                journal.damaged_bytes += payload
                parts.append(_Part(len(payloads), segment))
            elif kind == frames.ROWS:
                payloads.append(payload)
            elif kind == frames.HEADER:
                try:
                    header = frames.decode_header(payload)
                except ValueError as problem:
                    refusal = f"{path}: {problem}; a newer Underdash may read it"
                    journal.refused_frames += 1
                    parts.append(_Part(len(payloads), segment))
                    continue
                board = header.board_id.hex()
                if journal.board not in (None, board):
                    raise DataError(f"{path}: is of board {board}, the files before it of {journal.board}")
                journal.board = board
                journal.thresholds = header.thresholds
                journal.clocked |= bool(header.unix_s)
                parts.append(_Part(len(payloads), segment, header))
    if journal.board is None:
        if refusal or not payloads:
            name = paths[0] if len(paths) == 1 else paths[0].parent
            raise DataError(refusal or f"{name}: not an Underdash journal, or damaged beyond reading; pull it again")
        journal.board = UNKNOWN_BOARD
    return payloads, parts


def _number(journal: Journal, parts: list[_Part], decoded: Decoded, expected: int | None) -> Ints:
    """Follow the numbers of rows through all frames, and note the runs. expected: the first number that none
    can be missing before. Returns how many rows of each frame have been there already."""
    skipped = np.zeros(len(decoded.count), np.int64)
    spans = list(zip(*(one.tolist() for one in (decoded.first, decoded.count, decoded.key)), strict=True))
    refused = set(np.flatnonzero(decoded.refused).tolist())
    journal.refused_frames += len(refused)
    boot: int | None = None
    headed = -1  # the latest segment with a header
    rows = 0
    for part, following in pairwise([*parts, _Part(len(spans), len(parts))]):
        judge = None
        if part.header:
            headed = part.segment
            boot, first_row = part.header.boot, part.header.first_row
            judge = Engine(part.header.thresholds)
            judge.restore(part.header.snapshot)
            if expected is not None:
                journal.lost_rows += max(0, first_row - expected)
            expected = max(expected or 0, first_row)
        run = None
        for frame in range(part.begin, following.begin):
            if frame in refused:
                judge = None
                continue
            number, count, key = spans[frame]
            seen = 0
            if expected is None:
                expected = number
            elif number > expected:
                journal.lost_rows += number - expected
                judge = None
            elif number < expected:
                seen = skipped[frame] = min(expected - number, count)
            expected = max(expected, number + count)
            if seen < count:
                if run is None or run.key != key or run.judge is not judge:
                    vouched = part.segment == headed
                    run = Run(rows, 0, judge, key, part.segment, boot if vouched else None, vouched)
                    journal.runs.append(run)
                run.count += count - seen
                rows += count - seen
    return skipped


def _find_boots(runs: list[Run], t_ms: Ints) -> None:
    """Fill in the boots of the runs that no header vouches for.

    A segment is of one start of the board. Within a start the clock only grows: rows go with those before
    them unless it stepped back there; then they are of the next. Those before the first header likewise
    with the rows behind them.
    """
    for before, run in pairwise(runs):
        if run.boot is None and before.boot is not None:
            stepped_back = run.segment != before.segment and t_ms[run.begin] <= t_ms[before.rows.stop - 1]
            run.boot = before.boot + bool(stepped_back)
    for run, after in reversed(list(pairwise(runs))):
        if run.boot is None and after.boot is not None:
            stepped_back = run.segment != after.segment and t_ms[run.rows.stop - 1] >= t_ms[after.begin]
            run.boot = max(after.boot - bool(stepped_back), 0)
    for run in runs:
        run.boot = run.boot or 0  # where no header has rows behind it
