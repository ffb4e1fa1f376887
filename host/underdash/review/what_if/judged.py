"""The rows of a source as the engine takes them, and the verdicts of any set of thresholds on them."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from chargecore.engine import UNKNOWN, Engine
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK
from underdash import archive
from underdash.review import dated, foreign, journal
from underdash.review.drives import begins
from underdash.review.foreign import several
from underdash.review.rows import REST_GAP_MS
from underdash.review.stretches import not_rest, parked, runs
from underdash.review.stride import stride

if TYPE_CHECKING:
    from collections.abc import Mapping

    from underdash.review.rows import Origin

Ints = NDArray[np.integer[Any]]
Show = Callable[[int, int], None]

_CHUNK = 200_000  # rows judged between two tellings of the progress


@dataclass(frozen=True)
class Rows:
    """Rows in the order in which they were written, an element each: boot, t_ms (end of the row since that start of
    the board), low_mv, bus_mv, high_mv, clamp_ma (ABSENT where not measured), and what was said at the time: state,
    warnings.

    keys: (first row, key) of each stretch of one key; of a log with the engine's speed, whether it turned.
    thresholds: those in force at the end. board: its id, None for a log. lost_rows: missing from the numbering.
    origins: of the boots that a clock tells of.
    """

    boot: Ints
    t_ms: Ints
    low_mv: Ints
    bus_mv: Ints
    high_mv: Ints
    clamp_ma: Ints
    state: Ints
    warnings: Ints
    keys: tuple[tuple[int, int], ...]
    thresholds: Thresholds
    board: str | None
    lost_rows: int
    origins: "Mapping[int, Origin]" = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.t_ms)

    def moment(self, boot: int, t_ms: int) -> "Mapping[str, Any]":
        """What review.clock tells a moment near `t_ms` of a boot by: `dated`, None where no clock tells; `start_s`."""
        origin = self.origins.get(boot)
        return {"dated": origin.iso(t_ms / 1000) if origin else None, "start_s": t_ms / 1000}

    @property
    def _key(self) -> Ints:
        """The key of each row."""
        first, key = np.array(self.keys or [(0, ABSENT)], np.int64).T
        return np.repeat(key, np.diff(first, append=len(self)))

    @property
    def key_known(self) -> bool:
        """Whether anything told of the key."""
        return any(key in (0, 1) for _, key in self.keys)

    @cached_property
    def begins(self) -> list[int]:
        """The rows before which every engine begins anew: a start of the board, a clock that goes back, a hole that no
        engine bridges. (One of more than 10 s the engine itself makes a new beginning of, unless at rest.)"""
        if not len(self):
            return []
        steps = np.diff(self.t_ms)
        anew = (np.diff(self.boot) != 0) | (steps < 0) | (steps > REST_GAP_MS)
        return [0, *(np.flatnonzero(anew) + 1).tolist()]

    @cached_property
    def drives(self) -> list[tuple[int, int]]:
        """(first row, one past the last) of each drive, as the review counts them: of each stretch of rows that were
        not said to be rest, what follows from the first in which an engine ran."""
        found = []
        apart_s = np.diff(self.t_ms, prepend=self.t_ms[:1]) / 1000.0
        apart_s[np.diff(self.boot, prepend=self.boot[:1]) != 0] = 0.0
        for start, end, after in not_rest(self.boot, parked(self.state, self._key), apart_s):
            part = slice(start, after)
            first = begins(self.state[part], np.where(self.bus_mv[part] == ABSENT, np.nan, self.bus_mv[part] / 1000))
            if first is not None:
                found.append((start + first, end))
        return found


@dataclass(frozen=True)
class Verdicts:
    """What the engine says after each row. since_ms: when the condition behind it began, on the rows' clock.
    anew: the engine has just forgotten everything, and this says nothing of the time before."""

    state: Ints
    warnings: Ints
    since_ms: Ints
    anew: NDArray[np.bool_]


def read(source: Path, options: foreign.Options, thresholds: "Mapping[str, int] | None" = None) -> Rows:
    """The rows of a board's folder, an archive, a segment or a log, as `review` reads them.

    options: how a log is to be read; thresholds: of a log, those that are not the defaults. UnderdashError tells what
    is wrong with the source.
    """
    if logs := several.logs([source]):
        return _from_logs(logs, options, thresholds)
    several.no_options(source, options)
    return _from_segments(archive.segments(source))


def _from_segments(paths: list[Path]) -> Rows:
    found = journal.read(paths)
    boot = np.repeat([run.boot or 0 for run in found.runs], [run.count for run in found.runs]).astype(np.int64)
    keys = tuple((run.begin, run.key) for run in found.runs)
    return Rows(boot, **found.columns, keys=keys, thresholds=found.thresholds, board=found.board,
                lost_rows=found.lost_rows, origins=dated.origins(paths, found))  # fmt: skip


def _from_logs(logs: list[Path], options: foreign.Options, thresholds: "Mapping[str, int] | None") -> Rows:
    table, account = several.from_logs(logs, None, thresholds, options)
    columns = (table.t_s, table.low, table.volts, table.high, table.amps)
    t_ms, low_mv, bus_mv, high_mv, clamp_ma = (_thousandths(column) for column in columns)
    keys = tuple((start, int(table.key[start])) for start, _ in runs(table.key))
    return Rows(table.boot, t_ms, low_mv, bus_mv, high_mv, clamp_ma, table.state, table.warnings,
                tuple((row, ABSENT if key < 0 else key) for row, key in keys),
                thresholds=account.thresholds, board=None, lost_rows=0, origins=account.origins)  # fmt: skip


def _thousandths(column: NDArray[np.float64]) -> Ints:
    return np.where(np.isfinite(column), np.rint(np.nan_to_num(column) * 1000), ABSENT).astype(np.int64)


def judge(rows: Rows, thresholds: Thresholds, show: Show) -> Verdicts:
    """The verdicts of an engine with these thresholds, which begins anew at each of `rows.begins`.

    show: told (rows judged, rows there are) now and then.
    """
    state, warnings = np.empty(len(rows), np.uint8), np.empty(len(rows), np.uint8)
    since_ms = np.empty(len(rows), np.int64)
    begins, keys = set(rows.begins), dict(rows.keys)
    edges = sorted({*begins, *keys, *range(0, len(rows), _CHUNK), len(rows)})
    engine = Engine(thresholds)
    for first, stop in pairwise(edges):
        if first in begins:
            engine.reset()
        engine.key = keys.get(first, engine.key)
        part = slice(first, stop)
        columns = (rows.low_mv, rows.bus_mv, rows.high_mv, rows.clamp_ma)
        wrapped = rows.t_ms[part] & TICKS_MASK
        told = stride(engine, wrapped, *(column[part].astype(np.int64) for column in columns))
        state[part], warnings[part], since_ms[part] = told
        show(stop, len(rows))
    anew = (state == UNKNOWN) & (since_ms == 0)
    np.subtract(rows.t_ms, (rows.t_ms - since_ms) & TICKS_MASK, out=since_ms)
    since_ms[anew] = rows.t_ms[anew]
    return Verdicts(state, warnings, since_ms, anew)
