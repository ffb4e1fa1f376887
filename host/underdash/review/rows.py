"""Rows to review, from a board's segments: decoded, put in order, and judged again at the desk."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from chargecore.engine import REST, STATE_NAMES, Engine
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK
from underdash.review import journal
from underdash.review.dated import origins
from underdash.review.stride import stride

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Codes = NDArray[np.integer[Any]]
Judging = Callable[[Engine, Ints, Ints, Ints, Ints, Ints], tuple[Ints, Ints, Ints]]

_EXAMPLES = 3
# What stands in the columns that not every source has.
_LEFT_OUT = {"temperature": np.nan, "rpm": np.nan, "number": -1, "key": -1, "checked": False, "segment": -1}
# What the engine takes for a hole, running and at rest (chargecore.engine, docs/journal-format.md).
GAP_MS, REST_GAP_MS = 10_000, 65_535


@dataclass(frozen=True)
class Rows:
    """Equally long arrays, a row each, in the order in which they were written.

    boot: the board's start they belong to. t_s: end of the row since that start [s].
    low, volts, high: bus [V], nan if unmeasured. amps: battery current [A], positive when
    charging, nan without a clamp. state, warnings: the verdict, as numbered in chargecore.engine.
    since_s: when the condition behind the verdict began [s]. Only a foreign log may carry temperature
    (of the air at the regulator, or the nearest to it that was measured) [C] and rpm, the engine's speed at the row's
    end [rev/min]; nan where it does not. key: 1 on, 0 off, -1 not known; of a log with the engine's speed, whether it
    turned. Only a journal has the rest, of a log they are -1, and nothing is checked: number, over the life of the
    board; checked: whether the desk's engine stepped over the row; segment: its file's place among those read, from 0.
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
    number: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    key: NDArray[np.int8] = field(default_factory=lambda: np.empty(0, np.int8))
    checked: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, np.bool_))
    segment: NDArray[np.int32] = field(default_factory=lambda: np.empty(0, np.int32))

    def __post_init__(self) -> None:
        for name, absent in _LEFT_OUT.items():
            column = getattr(self, name)
            if len(column) != len(self.t_s):  # the same throughout, which takes no memory
                object.__setattr__(self, name, np.broadcast_to(np.array(absent, column.dtype), len(self.t_s)))

    def __len__(self) -> int:
        return len(self.t_s)

    def part(self, chosen: slice | NDArray[np.bool_]) -> "Rows":
        """The rows of a slice, or those that are chosen."""
        return Rows(**{name: column[chosen] for name, column in vars(self).items()})


@dataclass(frozen=True)
class Lines:
    """A log's own lines, where volts and engine speed stand in the same: equally long arrays of boot, t_s [s], volts
    [V], rpm [rev/min], nan in one without. Rows are made of them, but a median is best taken of what was measured."""

    boot: Ints
    t_s: Floats
    volts: Floats
    rpm: Floats

    def within(self, boot: int, start_s: float, end_s: float) -> "Lines":
        """Those of a start of the recorder from `start_s` to `end_s` [s], both included."""
        mine = (self.boot == boot) & (self.t_s >= start_s) & (self.t_s <= end_s)
        return Lines(self.boot[mine], self.t_s[mine], self.volts[mine], self.rpm[mine])


class Origin(Protocol):
    """When t_s = 0 of one start of a board, or of a recorder, was. archive.dates.BootDate is one."""

    def iso(self, t_s: float) -> str | None:
        """Local time at `t_s` [s], ISO 8601 to the second; None where undated."""

    def between(self, t_s: float) -> list[str | None] | None:
        """The earliest and the latest that `t_s` [s] can have been, either may be None, where an undated one is
        bounded; else None."""


@dataclass
class Account:
    """How far the rows can be trusted.

    lost_rows: missing from the numbering. damaged_bytes: no whole frames. refused_frames: whole, but
    not of this format. unchecked_rows: followed a hole, or a header that could not be read, so that
    the desk could not know the board's engine. mismatches: rows whose verdict the desk does not share.
    origins: of the boots that a clock tells of. step_mv: the least by which the volts of a log without the
    engine's speed move, of several that of the coarsest [mV]. logs: by boot, the file that it stands in, of logs.
    lines: of a log.
    """

    board: str | None = None
    lost_rows: int = 0
    damaged_bytes: int = 0
    refused_frames: int = 0
    unchecked_rows: int = 0
    mismatches: int = 0
    mismatch_examples: list[str] = field(default_factory=list)
    thresholds: Thresholds = field(default_factory=Thresholds)
    origins: Mapping[int, Origin] = field(default_factory=dict)
    step_mv: int | None = None
    logs: dict[int, str] = field(default_factory=dict)
    lines: Lines | None = None

    def dated(self, boot: int, t_s: float) -> str | None:
        """Local time at `t_s` [s] of a boot, ISO 8601 to the second; None where no clock tells."""
        origin = self.origins.get(boot)
        return origin.iso(t_s) if origin else None

    def dated_between(self, boot: int, t_s: float) -> list[str | None] | None:
        """What is known of it where it is undated: as Origin.between."""
        origin = self.origins.get(boot)
        return origin.between(t_s) if origin else None


def in_si(boot: Ints, columns: dict[str, Codes], since_ms: Ints) -> Rows:
    """Rows of a board's units. columns: t_ms, low_mv, bus_mv, high_mv, clamp_ma, state, warnings; each is taken out
    once it is used, for a season of them is large."""
    t_s = columns.pop("t_ms") / 1000.0
    low, volts, high, amps = (_real(columns.pop(name)) for name in ("low_mv", "bus_mv", "high_mv", "clamp_ma"))
    return Rows(boot, t_s, low, volts, high, amps, columns.pop("state"), columns.pop("warnings"), since_ms / 1000.0)


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
    account.origins = origins(paths, found)
    t_ms, *measured, state, warnings = found.columns.values()
    counts = [run.count for run in found.runs]
    boot = np.repeat(np.array([run.boot for run in found.runs], np.int64), counts)
    since_ms = np.empty(len(t_ms), np.int64)
    judge, judged_boot = None, None
    for run in found.runs:
        rows = run.rows
        # Whose engine is not known is followed by the one before, or by one that begins anew; it vouches for nothing.
        judge = run.judge or (judge if run.boot == judged_boot else None) or Engine(found.thresholds)
        judge.key, judged_boot, stood = run.key, run.boot, judge.state
        told = judging(judge, t_ms[rows] & TICKS_MASK, *(column[rows].astype(np.int64) for column in measured))
        desk_ms = t_ms[rows] - ((t_ms[rows] - told[2]) & TICKS_MASK)
        if run.judge is None:
            account.unchecked_rows += run.count
            _since_unchecked(run, boot, t_ms, state, since_ms, np.append(stood, told[0]), desk_ms)
            continue
        since_ms[rows] = desk_ms
        _compare(account, t_ms[rows], (state[rows], warnings[rows]), told)
    _not_before_a_hole(boot, t_ms, state, since_ms)
    del t_ms, measured, state, warnings  # so that they can go one by one
    key = [-1 if run.key == ABSENT else run.key for run in found.runs]
    return replace(
        in_si(boot, found.columns, since_ms),
        number=found.numbers,
        key=np.repeat(np.array(key, np.int8), counts),
        checked=np.repeat(np.array([run.judge is not None for run in found.runs], np.bool_), counts),
        segment=np.repeat(np.array([run.segment for run in found.runs], np.int32), counts),
    ), account


def _not_before_a_hole(boot: Ints, t_ms: Ints, state: Codes, since_ms: Ints) -> None:
    """Across a hole the engine forgets, and counts anew from 0: no verdict began before the row behind it."""
    holes = np.flatnonzero(np.diff(t_ms) > GAP_MS) + 1
    at_rest = (state[holes - 1] == REST) & (t_ms[holes] - t_ms[holes - 1] <= REST_GAP_MS)
    holes = holes[~at_rest & (boot[holes] == boot[holes - 1])]
    ends = np.append(holes, len(t_ms))[1:]
    for hole, end in zip(holes.tolist(), ends.tolist(), strict=True):
        same = hole + int(np.searchsorted(boot[hole:end] != boot[hole], True))
        since_ms[hole:same] = np.maximum(since_ms[hole:same], t_ms[hole])


def _since_unchecked(
    run: journal.Run, boot: Ints, t_ms: Ints, state: Codes, since_ms: Ints, followed: Ints, desk_ms: Ints
) -> None:
    """Fill in when each verdict of a run began, so far as it can be known: where the run only goes on with the verdict
    before it, when that one began; where the engine that follows came to it at the same row as the board, as that says;
    else with its first row.

    followed: that engine's state before the run and after each of its rows; desk_ms: since when [ms].
    """
    rows, at = run.rows, run.begin
    begins = np.flatnonzero(np.diff(state[rows], prepend=-1))
    told = followed[begins + 1]
    alike = (told == state[rows][begins]) & (told != followed[begins])
    since = np.where(alike, desk_ms[begins], t_ms[rows][begins])
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
    return STATE_NAMES[state] if 0 <= state < len(STATE_NAMES) else f"state {state}"
