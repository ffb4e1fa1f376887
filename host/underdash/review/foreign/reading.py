"""The samples of a foreign log: every row read, in [s], [mV] and [mA], and what stands beside them, put in order."""

import math
from array import array
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chargecore.units import ABSENT
from underdash.problems import DataError
from underdash.review.foreign.layout import Layout, rows
from underdash.review.foreign.numbers import NOTHING
from underdash.review.foreign.times import SINCE_1970_S, Clock

LARGEST = {"t_s": 4.2e9, "volts": 100.0, "amps": 2000.0, "temperature_c": 200.0, "rpm": 20000.0}
BESIDE = ("temperature_c", "rpm")  # that a log need not have; the speed tells the engine of its key
_SIGNS = {"volts": "V", "amps": "A", "temperature_c": "°C", "rpm": "rpm"}
_OTHER_UNITS = {"volts": "mV", "amps": "mA", "temperature_c": "F"}  # than that which a number beyond was read in
_KEPT_PROBLEMS = 5
_LEAST_VOLTS = 1.0  # a whole log below this is in another unit: a battery so flat is no battery


@dataclass(frozen=True)
class Beside:
    """The values of a column beside volts and amps, where it has any: boot, t_s [s], line as in Samples; values in the
    unit of the column's name."""

    boot: NDArray[np.int64]
    t_s: NDArray[np.float64]
    values: NDArray[np.float64]
    line: NDArray[np.int64]


@dataclass
class Samples:
    """Equally long arrays in the order of time. boot: 1, and one more after each restart of the recorder. t_s: since
    `origin_s` [s]. bus_mv, clamp_ma: ABSENT where the cell is empty. line: in the file.
    beside: of those in BESIDE that the file has, the values, also from rows that hold no others.

    origin_s: seconds since 1970 of t_s = 0, None if the log is not dated; by UTC if `zoned`, and utc_offset_s is what
    the zone of its first row is ahead of that [s]. elsewhere: rows that hold only other columns' values. heads: times
    the names stand again among the rows. cut_line: of a last row that ends too early, which is left out. backs: places
    where the time goes back. twice: rows of a stretch that stands there twice, taken once. repeated: rows that are the
    same as the one before, in every column.
    refused: rows that cannot be read, and `problems`, the first of them.
    """

    boot: NDArray[np.int64]
    t_s: NDArray[np.float64]
    bus_mv: NDArray[np.int64]
    clamp_ma: NDArray[np.int64]
    line: NDArray[np.int64]
    beside: dict[str, Beside] = field(default_factory=dict)
    origin_s: float | None = None
    zoned: bool = False
    utc_offset_s: int = 0
    elsewhere: int = 0
    heads: int = 0
    cut_line: int = 0
    backs: int = 0
    twice: int = 0
    repeated: int = 0
    refused: int = 0
    problems: list[DataError] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.t_s)


@dataclass(frozen=True)
class Reading:
    """How cells become numbers. number: with the file's decimal sign. factors: of each column but the time, to the
    unit of options.UNITS, the sign of amps in it. zeros: the number that stands for 0 in that unit, if not 0."""

    clock: Clock
    number: Callable[[str], float]
    factors: Mapping[str, float]
    zeros: Mapping[str, float]
    decimal: str


def read(path: Path, layout: Layout, reading: Reading, time_back: str | None, every_problem: bool = False) -> Samples:
    """Read all rows. DataError, with the line, for the first that cannot be read; where every_problem is set they are
    counted, the first few kept in `problems`, and left out instead."""
    t_s, bus_mv, clamp_ma, lines = array("d"), array("q"), array("q"), array("q")
    beside = {ours: array("q") for ours in BESIDE if ours in layout.places}
    none = np.empty(0, np.int64)
    found = Samples(none, np.empty(0), none, none, none)

    def refuse(problem: DataError) -> None:
        if not every_problem:
            raise problem
        found.refused += 1
        if len(found.problems) < _KEPT_PROBLEMS:
            found.problems.append(problem)

    sample_of = _RowOfCells(layout, reading)
    width = len(layout.head)
    short: DataError | None = None
    before: list[str] = []
    for line, cells in rows(path, layout):
        if short:
            refuse(short)
            short = None
        while len(cells) > width and not cells[-1].strip():
            cells.pop()
        if len(cells) < width:  # the last row of a recorder that lost its supply: known once no row follows
            short = DataError(
                f"{path}, line {line}: only {len(cells)} of {width} values; complete the row, or take it out"
            )
            continue
        try:
            sample = sample_of(cells)
        except ValueError as problem:
            if [cell.strip() for cell in cells] == layout.head:
                found.heads += 1
            else:
                refuse(DataError(f"{path}, line {line}: {problem}"))
            continue
        seconds, volts, amps, *others = sample
        if volts == amps == ABSENT and all(one == ABSENT for one in others) and sample_of.holds_others(cells):
            found.elsewhere += 1
            continue
        found.repeated += cells == before
        before = cells
        t_s.append(seconds)
        bus_mv.append(volts)
        clamp_ma.append(amps)
        lines.append(line)
        for column, value in zip(beside.values(), others, strict=True):
            column.append(value)
    found.cut_line = line if short else 0
    found.t_s = np.array(t_s, dtype=np.float64)
    found.bus_mv = np.array(bus_mv, dtype=np.int64)
    found.clamp_ma = np.array(clamp_ma, dtype=np.int64)
    found.line = np.array(lines, dtype=np.int64)
    if len(found):
        _check_volts(path, found, refuse)
        columns = {ours: np.array(column, np.int64) for ours, column in beside.items()}
        order = _put_in_order(path, found, [*columns.values()], time_back, refuse)
        _date(found, reading.clock)
        _set_aside(found, {ours: column[order] for ours, column in columns.items()})
    return found


class _RowOfCells:
    """Turns a row's cells into (time [s], bus_mv, clamp_ma, thousandths of each column in BESIDE that there is);
    ValueError says which of them is wrong, and how."""

    def __init__(self, layout: Layout, reading: Reading) -> None:
        self.width = len(layout.head)
        self.clock = reading.clock
        self.time_at, self.volts_at = layout.places["t_s"], layout.places["volts"][0]
        self.amps_at = layout.places["amps"][0] if "amps" in layout.places else -1
        self.volts, self.amps = _Cell("volts", reading), _Cell("amps", reading)
        self.beside = [(layout.places[ours][0], _Cell(ours, reading)) for ours in BESIDE if ours in layout.places]
        mine = {place for at in layout.places.values() for place in at}
        self.others = [place for place in range(self.width) if place not in mine]

    def __call__(self, cells: list[str]) -> tuple[float, int, int, *tuple[int, ...]]:
        if len(cells) > self.width:
            raise ValueError(
                f"{len(cells)} values under {self.width} names; a decimal comma between commas must become a point, or "
                "stand in quotes"
            )
        first = cells[self.time_at[0]]
        written = first if len(self.time_at) == 1 else f"{first.strip()} {cells[self.time_at[1]].strip()}".strip()
        try:
            seconds = self.clock.seconds(written)
        except ValueError as problem:
            wrong = "not a number" if self.clock.kind == "number" else problem
            raise ValueError(f"t_s is '{_short(written)}', {wrong}") from None
        if math.isnan(seconds):
            raise ValueError("t_s is empty; every row needs its time")
        if not -LARGEST["t_s"] <= seconds <= LARGEST["t_s"]:
            raise ValueError(
                f"t_s is {_short(written)}, beyond ±{LARGEST['t_s']:g} s; check the units (--unit t_s=ms?)"
            )
        return (
            seconds,
            self.volts(cells[self.volts_at]),
            self.amps(cells[self.amps_at]) if self.amps_at >= 0 else ABSENT,
            *[cell(cells[place]) for place, cell in self.beside],
        )

    def holds_others(self, cells: list[str]) -> bool:
        """Whether there are values of columns that are not asked for."""
        return any(cells[place].strip() for place in self.others)


class _Cell:
    """Turns a cell into whole thousandths of its quantity; ValueError says what is wrong with it."""

    def __init__(self, name: str, reading: Reading) -> None:
        self.name, self.number, self.decimal = name, reading.number, reading.decimal
        self.factor, self.zero = reading.factors.get(name, 1.0), reading.zeros.get(name, 0.0)

    def __call__(self, cell: str) -> int:
        if not cell:
            return int(ABSENT)
        try:
            value = (self.number(cell) - self.zero) * self.factor
        except ValueError:
            other = {"point": ",", "comma": "."}[self.decimal]
            hint = f" with a decimal {self.decimal}; --decimal says which it is" if other in cell else ""
            raise ValueError(f"{self.name} is '{_short(cell)}', not a number{hint}") from None
        if -LARGEST[self.name] <= value <= LARGEST[self.name]:
            return round(value * 1000)
        if cell.strip().lower() in NOTHING:
            return int(ABSENT)
        limit = f"beyond ±{LARGEST[self.name]:g} {_SIGNS[self.name]}"
        another = _OTHER_UNITS.get(self.name)
        advice = f"check the units (--unit {self.name}={another}?)" if another else "check the column"
        raise ValueError(f"{self.name} is {_short(cell)}, {limit}; {advice}")


def _short(text: str) -> str:
    return " ".join(text.split())[:40]


def _check_volts(path: Path, samples: Samples, refuse: Callable[[DataError], None]) -> None:
    known = np.abs(samples.bus_mv[samples.bus_mv != ABSENT])
    if len(known) and 0 < known.max() < _LEAST_VOLTS * 1000:
        refuse(DataError(
            f"{path}: no row has more than {known.max() / 1000:g} V; check the units and the decimal sign "
            "(--unit volts=V or mV, --decimal)"
        ))  # fmt: skip


def _put_in_order(
    path: Path,
    samples: Samples,
    beside: list[NDArray[np.int64]],
    time_back: str | None,
    refuse: Callable[[DataError], None],
) -> NDArray[np.int64]:
    """Order the samples, and return the places that they had; `beside`: other columns of theirs."""
    back = np.concatenate([[False], np.diff(samples.t_s) < 0])
    samples.backs = int(back.sum())
    stretch = np.cumsum(back)
    samples.boot = np.ones(len(samples), np.int64)
    if not samples.backs:
        return np.arange(len(samples))
    if time_back == "restart":
        samples.boot += stretch
        return np.arange(len(samples))
    if time_back != "sort":
        at = int(np.flatnonzero(back)[0])
        fall = samples.t_s[at - 1] - samples.t_s[at]
        more = f", and in {samples.backs - 1} more places" if samples.backs > 1 else ""
        refuse(DataError(
            f"{path}, line {samples.line[at]}: t_s goes back by {round(fall, 3):g} s{more}; --time-back sort puts the "
            "rows in order, --time-back restart takes it for a recorder that was switched on again"
        ))  # fmt: skip
    order = np.lexsort((samples.line, *reversed(beside), samples.clamp_ma, samples.bus_mv, samples.t_s))
    same = np.ones(len(order), bool)
    same[0] = False
    for values in (samples.t_s, samples.bus_mv, samples.clamp_ma, *beside):
        same[1:] &= np.diff(values[order]) == 0
    leader = np.maximum.accumulate(np.where(same, 0, np.arange(len(order))))
    kept = order[stretch[order] == stretch[order[leader]]]  # a stretch that was exported twice counts once
    samples.twice = len(order) - len(kept)
    kept = np.asarray(kept[np.lexsort((kept, samples.t_s[kept]))], np.int64)
    for name in ("boot", "t_s", "bus_mv", "clamp_ma", "line"):
        setattr(samples, name, getattr(samples, name)[kept])
    return kept


def _set_aside(samples: Samples, beside: dict[str, NDArray[np.int64]]) -> None:
    """Put the columns beside volts and amps apart, and leave out the rows that hold nothing else."""
    only = np.zeros(len(samples), bool)
    for ours, thousandths in beside.items():
        known = thousandths != ABSENT
        samples.beside[ours] = Beside(
            samples.boot[known], samples.t_s[known], thousandths[known] / 1000.0, samples.line[known]
        )
        only |= known
    only &= (samples.bus_mv == ABSENT) & (samples.clamp_ma == ABSENT)
    if only.any():
        for name in ("boot", "t_s", "bus_mv", "clamp_ma", "line"):
            setattr(samples, name, getattr(samples, name)[~only])


def _date(samples: Samples, clock: Clock) -> None:
    """Let dated times count from the whole second in which the log begins."""
    first_s = float(samples.t_s[0])
    if clock.kind == "stamp" or (clock.kind == "number" and first_s > SINCE_1970_S):
        samples.zoned = clock.kind == "number" or bool(clock.zoned)
        samples.utc_offset_s = clock.utc_offset_s
        samples.origin_s = float(math.floor(first_s))
        samples.t_s = np.asarray(np.round(samples.t_s - samples.origin_s, 6), dtype=np.float64)
