"""Rows to review, from a board's segments: decoded, put in order, and judged again at the desk."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chargecore.engine import STATE_NAMES, Engine
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK
from underdash.review import journal
from underdash.review.stride import stride

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Codes = NDArray[np.integer[Any]]
Judging = Callable[[Engine, Ints, Ints, Ints, Ints, Ints], tuple[Ints, Ints, Ints]]

_EXAMPLES = 3


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
    state: Codes
    warnings: Codes
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

    lost_rows: missing from the numbering. damaged_bytes: no whole frames. refused_frames: whole, but
    not of this format. unchecked_rows: followed a hole, or a header that could not be read, so that
    the desk could not know the board's engine. mismatches: rows whose verdict the desk does not share.
    """

    board: str | None = None
    lost_rows: int = 0
    damaged_bytes: int = 0
    refused_frames: int = 0
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
        return _in_si(np.array(self.boot, dtype=np.int64), table.T, np.array(self.since_ms, dtype=np.int64))


def _in_si(boot: Ints, columns: Iterable[Codes], since_ms: Ints) -> Rows:
    """columns: t_ms, low_mv, bus_mv, high_mv, clamp_ma, state, warnings."""
    t_ms, *measured, state, warnings = columns
    low, volts, high, amps = (_real(column) for column in measured)
    return Rows(boot, t_ms / 1000.0, low, volts, high, amps, state, warnings, since_ms / 1000.0)


def _real(column: Codes) -> Floats:
    """Thousandths as units, nan where absent."""
    real: Floats = column / 1000.0
    real[column == ABSENT] = np.nan
    return real


def from_segments(paths: list[Path], judging: Judging = stride) -> tuple[Rows, Account]:
    """Read a board's segments, oldest first, and hold the desk's engine against their rows.

    judging: gives the verdicts on successive rows, as stride.stride and stepped.stepped do. What is
    damaged costs the rows in it and is accounted for; DataError as journal.read.
    """
    found = journal.read(paths)
    account = Account(
        found.board, found.lost_rows, found.damaged_bytes, found.refused_frames, thresholds=found.thresholds
    )
    t_ms, *measured, state, warnings = found.columns.values()
    boot = np.repeat(np.array([run.boot for run in found.runs], np.int64), [run.count for run in found.runs])
    since_ms = np.empty(len(t_ms), np.int64)
    for run in found.runs:
        rows = run.rows
        if run.judge is None:
            account.unchecked_rows += run.count
            _since_unchecked(run, boot, t_ms, state, since_ms)
            continue
        run.judge.key = run.key
        told = judging(run.judge, t_ms[rows] & TICKS_MASK, *(column[rows].astype(np.int64) for column in measured))
        since_ms[rows] = t_ms[rows] - ((t_ms[rows] - told[2]) & TICKS_MASK)
        _compare(account, t_ms[rows], (state[rows], warnings[rows]), told)
    return _in_si(boot, found.columns.values(), since_ms), account


def _since_unchecked(run: journal.Run, boot: Ints, t_ms: Ints, state: Codes, since_ms: Ints) -> None:
    """Fill in when each verdict of a run began, so far as the rows tell: with its first row, or where the run
    only goes on with the verdict before it, when that one began."""
    rows, at = run.rows, run.begin
    begins = np.flatnonzero(np.diff(state[rows], prepend=-1))
    since = t_ms[rows][begins]
    if at and boot[at - 1] == boot[at] and state[at - 1] == state[at]:
        since[0] = since_ms[at - 1]
    since_ms[rows] = np.repeat(since, np.diff(begins, append=run.count))


def _compare(account: Account, t_ms: Ints, board: tuple[Codes, Codes], desk: tuple[Codes, ...]) -> None:
    """Count the rows on which board and desk do not agree in state and warnings."""
    differ = np.flatnonzero((board[0] != desk[0]) | (board[1] != desk[1]))
    account.mismatches += len(differ)
    for row in differ[: _EXAMPLES - len(account.mismatch_examples)].tolist():
        account.mismatch_examples.append(
            f"{t_ms[row] / 1000:.1f} s: board {_name(board[0][row])}, desk {_name(desk[0][row])}"
        )


def _name(state: int) -> str:
    return STATE_NAMES[state] if state < len(STATE_NAMES) else f"state {state}"
