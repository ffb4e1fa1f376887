"""Rows to review, from a board's segments: decoded, put in order, and judged again at the desk."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chargecore import engine, frames
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK, elapsed_ms
from underdash.problems import DataError, readable

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Rows:
    """Equally long arrays, a row each, in the order in which they were written.

    boot: the board's start they belong to. t_s: end of the row since that start [s].
    low, volts, high: bus [V], nan if unmeasured. amps: battery current [A], positive when
    charging, nan without a clamp. state, warnings: the verdict, as numbered in chargecore.engine.
    since_s: when the condition behind the verdict began [s]. Only a foreign log may carry temperature
    (of the air at the regulator, or the nearest to it that was measured) [C] and rpm, the engine's speed at the row's
    end [rev/min]; nan where it does not.
    """

    boot: Ints
    t_s: Floats
    low: Floats
    volts: Floats
    high: Floats
    amps: Floats
    state: Ints
    warnings: Ints
    since_s: Floats
    temperature: Floats = field(default_factory=lambda: np.empty(0))
    rpm: Floats = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        for name in ("temperature", "rpm"):
            if len(getattr(self, name)) != len(self.t_s):  # left out: nan throughout, which takes no memory
                object.__setattr__(self, name, np.broadcast_to(np.nan, len(self.t_s)))

    def __len__(self) -> int:
        return len(self.t_s)

    def part(self, chosen: slice | NDArray[np.bool_]) -> "Rows":
        """The rows of a slice, or those that are chosen."""
        return Rows(**{name: column[chosen] for name, column in vars(self).items()})


@dataclass
class Account:
    """How far the rows can be trusted.

    lost_rows: missing from the numbering. unchecked_rows: followed a hole, so that the desk could
    not know the board's engine. mismatches: rows whose verdict the desk does not share.
    """

    board: str | None = None
    lost_rows: int = 0
    damaged_bytes: int = 0
    unchecked_rows: int = 0
    mismatches: int = 0
    mismatch_examples: list[str] = field(default_factory=list)
    thresholds: Thresholds = field(default_factory=Thresholds)


@dataclass
class RowLists:
    """Rows while they are being gathered."""

    boot: list[int] = field(default_factory=list)
    values: list[tuple[int, int, int, int, int, int, int]] = field(default_factory=list)
    since_ms: list[int] = field(default_factory=list)

    def add(self, boot: int, row: tuple[int, int, int, int, int, int, int], since_ms: int) -> None:
        self.boot.append(boot)
        self.values.append(row)
        self.since_ms.append(since_ms)

    def rows(self) -> Rows:
        table = np.array(self.values, dtype=np.int64).reshape(-1, 7)
        real = np.where(table[:, :5] == ABSENT, np.nan, table[:, :5] / 1000.0)
        return Rows(
            np.array(self.boot, dtype=np.int64), real[:, 0], real[:, 1], real[:, 2], real[:, 3], real[:, 4],
            table[:, 5], table[:, 6], np.array(self.since_ms, dtype=np.float64) / 1000.0)  # fmt: skip


def from_segments(paths: list[Path]) -> tuple[Rows, Account]:
    """Read a board's segments, oldest first, and step the desk's engine over their rows.

    A damaged stretch costs the rows in it and is accounted for. DataError if there is no
    readable segment among the files.
    """
    account = Account()
    gathered = RowLists()
    judge = engine.Engine(account.thresholds)
    expected: int | None = 0 if len(paths) > 1 else None
    boot = 0
    headed = checked = False
    for path in paths:
        with readable(path):
            data = path.read_bytes()
        headed_here = False
        for kind, payload, _ in frames.scan(data):
            if kind == 0:
                account.damaged_bytes += payload
                checked = False
            elif kind == frames.HEADER:
                try:
                    header = frames.decode_header(payload)
                except ValueError as problem:
                    raise DataError(f"{path}: {problem}; a newer Underdash may read it") from None
                board = header.board_id.hex()
                if account.board not in (None, board):
                    raise DataError(f"{path}: is of board {board}, the files before it of {account.board}")
                account.board = board
                account.thresholds = header.thresholds
                boot = header.boot
                judge = engine.Engine(header.thresholds)
                judge.restore(header.snapshot)
                if expected is not None:
                    account.lost_rows += max(0, header.first_row - expected)
                expected = max(expected or 0, header.first_row)
                headed = headed_here = checked = True
            elif kind == frames.ROWS and headed_here:
                try:
                    number, rows = frames.decode_rows(payload)
                except ValueError as problem:
                    raise DataError(f"{path}: a frame with a good checksum cannot be read: {problem}") from None
                if expected is not None and number > expected:
                    account.lost_rows += number - expected
                    checked = False
                judge.key = frames.rows_key(payload)
                for index, row in enumerate(rows):
                    if expected is None or number + index >= expected:
                        _judge(gathered, account, judge if checked else None, boot, row)
                expected = max(expected or 0, number + len(rows))
        if not headed_here:
            account.damaged_bytes += len(data) if not headed else 0
    if not headed:
        name = paths[0] if len(paths) == 1 else paths[0].parent
        raise DataError(f"{name}: not an Underdash journal, or damaged beyond its header; pull it again")
    return gathered.rows(), account


def _judge(
    gathered: RowLists,
    account: Account,
    judge: engine.Engine | None,
    boot: int,
    row: tuple[int, int, int, int, int, int, int],
) -> None:
    """Hold the desk's verdict on one row against the board's."""
    t_ms, low_mv, bus_mv, high_mv, clamp_ma, state, warnings = row
    if judge is None:
        account.unchecked_rows += 1
        same = bool(gathered.values) and gathered.values[-1][5] == state
        gathered.add(boot, row, gathered.since_ms[-1] if same else t_ms)
        return
    wrapped = t_ms & TICKS_MASK
    judge.step(wrapped, low_mv, bus_mv, high_mv, clamp_ma)
    if (judge.state, judge.warnings) != (state, warnings):
        account.mismatches += 1
        if len(account.mismatch_examples) < 3:
            names = engine.STATE_NAMES
            account.mismatch_examples.append(f"{t_ms / 1000:.1f} s: board {names[state]}, desk {names[judge.state]}")
    gathered.add(boot, row, t_ms - elapsed_ms(wrapped, judge.since_ms))
