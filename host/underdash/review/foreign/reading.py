"""The samples of a foreign log: every row read, in [s], [mV] and [mA], put in order."""

import math
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chargecore.units import ABSENT
from underdash.problems import DataError
from underdash.review.foreign.layout import Layout, rows
from underdash.review.foreign.numbers import NOTHING
from underdash.review.foreign.times import SINCE_1970_S, Clock

LARGEST = {"t_s": 4.2e9, "volts": 100.0, "amps": 2000.0}
_LEAST_VOLTS = 1.0  # a whole log below this is in another unit: a battery so flat is no battery


@dataclass
class Samples:
    """Equally long arrays in the order of time. boot: 1, and one more after each restart of the recorder. t_s: since
    `origin_s` [s]. bus_mv, clamp_ma: ABSENT where the cell is empty. line: in the file.

    origin_s: seconds since 1970 of t_s = 0, None if the log is not dated; by UTC if `zoned`. elsewhere: rows that hold
    only other columns' values. heads: times the names stand again among the rows. cut_line: of a last row that ends
    too early, which is left out. backs: places where the time goes back. twice: rows of a stretch that stands there
    twice, taken once. repeated: rows that are the same as the one before, in every column.
    """

    boot: NDArray[np.int64]
    t_s: NDArray[np.float64]
    bus_mv: NDArray[np.int64]
    clamp_ma: NDArray[np.int64]
    line: NDArray[np.int64]
    origin_s: float | None = None
    zoned: bool = False
    elsewhere: int = 0
    heads: int = 0
    cut_line: int = 0
    backs: int = 0
    twice: int = 0
    repeated: int = 0
    problems: list[DataError] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.t_s)


@dataclass(frozen=True)
class Reading:
    """How cells become numbers. number: with the file's decimal sign. volts, amps: factors to [V] and [A], the sign
    of amps in it."""

    clock: Clock
    number: Callable[[str], float]
    volts: float
    amps: float
    decimal: str


def read(path: Path, layout: Layout, reading: Reading, time_back: str | None, every_problem: bool = False) -> Samples:
    """Read all rows. DataError, with the line, for the first that cannot be read; where every_problem is set they are
    kept in `problems` and left out instead."""
    t_s, bus_mv, clamp_ma, lines = array("d"), array("q"), array("q"), array("q")
    none = np.empty(0, np.int64)
    found = Samples(none, np.empty(0), none, none, none)

    def refuse(problem: DataError) -> None:
        if not every_problem:
            raise problem
        found.problems.append(problem)

    width = len(layout.head)
    time_at, volts_at = layout.places["t_s"], layout.places["volts"][0]
    amps_at = layout.places["amps"][0] if "amps" in layout.places else -1
    single = time_at[0] if len(time_at) == 1 else -1
    clock, cell_to_mv = reading.clock, _Cell("volts", reading.number, reading.volts, reading.decimal)
    cell_to_ma = _Cell("amps", reading.number, reading.amps, reading.decimal)
    short: tuple[int, int] | None = None
    before: list[str] = []
    for line, cells in rows(path, layout):
        if short:
            refuse(_too_short(path, *short, width))
            short = None
        if len(cells) != width:
            while len(cells) > width and not cells[-1].strip():
                cells.pop()
            if len(cells) < width:
                short = (line, len(cells))
                continue
            if len(cells) > width:
                refuse(DataError(
                    f"{path}, line {line}: {len(cells)} values under {width} names; a decimal comma between commas "
                    "must become a point, or stand in quotes"
                ))  # fmt: skip
                continue
        try:
            written = cells[single] if single >= 0 else " ".join(cells[at].strip() for at in time_at)
            try:
                seconds = clock.seconds(written)
            except ValueError as problem:
                if [cell.strip() for cell in cells] == layout.head:
                    found.heads += 1
                    continue
                raise ValueError(_no_time(written, problem, clock)) from None
            if math.isnan(seconds):
                raise ValueError("t_s is empty; every row needs its time")
            if not abs(seconds) <= LARGEST["t_s"]:
                raise ValueError(f"t_s is {written.strip()[:40]}, beyond ±{LARGEST['t_s']:g} s; check the units")
            millivolts = cell_to_mv(cells[volts_at])
            milliamps = cell_to_ma(cells[amps_at]) if amps_at >= 0 else ABSENT
        except ValueError as problem:
            refuse(DataError(f"{path}, line {line}: {problem}"))
            continue
        if millivolts == ABSENT and milliamps == ABSENT and _holds_others(cells, layout):
            found.elsewhere += 1
            continue
        found.repeated += cells == before
        before = cells
        t_s.append(seconds)
        bus_mv.append(millivolts)
        clamp_ma.append(milliamps)
        lines.append(line)
    if short:
        found.cut_line = short[0]
    found.t_s = np.array(t_s, dtype=np.float64)
    found.bus_mv = np.array(bus_mv, dtype=np.int64)
    found.clamp_ma = np.array(clamp_ma, dtype=np.int64)
    found.line = np.array(lines, dtype=np.int64)
    if len(found):
        _check_volts(path, found)
        _put_in_order(path, found, time_back, refuse)
        dated = clock.kind == "stamp" or (clock.kind == "number" and float(found.t_s[0]) > SINCE_1970_S)
        if dated:
            found.zoned = clock.kind == "number" or bool(clock.zoned)
            origin_s = math.floor(found.t_s[0])
            found.origin_s = float(origin_s)
            found.t_s = np.asarray(np.round(found.t_s - origin_s, 6), dtype=np.float64)
    return found


class _Cell:
    """Turns a cell into whole thousandths of its quantity; ValueError says what is wrong with it."""

    def __init__(self, name: str, number: Callable[[str], float], factor: float, decimal: str) -> None:
        self.name, self.number, self.factor, self.decimal = name, number, factor, decimal

    def __call__(self, cell: str) -> int:
        if not cell:
            return int(ABSENT)
        try:
            value = self.number(cell) * self.factor
        except ValueError:
            other = {"point": ",", "comma": "."}[self.decimal]
            hint = f" with a decimal {self.decimal}; --decimal says which it is" if other in cell else ""
            raise ValueError(f"{self.name} is '{cell.strip()[:40]}', not a number{hint}") from None
        if -LARGEST[self.name] <= value <= LARGEST[self.name]:
            return round(value * 1000)
        if cell.strip().lower() in NOTHING:
            return int(ABSENT)
        unit = self.name[0].upper()
        raise ValueError(
            f"{self.name} is {cell.strip()[:40]}, beyond ±{LARGEST[self.name]:g} {unit}; check the units "
            f"(--unit {self.name}=m{unit}?)"
        )


def _no_time(written: str, problem: ValueError, clock: Clock) -> str:
    if clock.kind == "number":
        return f"t_s is '{written.strip()[:40]}', not a number"
    said = str(problem)
    return f"t_s is '{written.strip()[:40]}', {said}"


def _too_short(path: Path, line: int, count: int, width: int) -> DataError:
    return DataError(f"{path}, line {line}: only {count} of {width} values; complete the row, or take it out")


def _holds_others(cells: list[str], layout: Layout) -> bool:
    mine = {place for at in layout.places.values() for place in at}
    return any(cell.strip() for place, cell in enumerate(cells) if place not in mine)


def _check_volts(path: Path, samples: Samples) -> None:
    known = np.abs(samples.bus_mv[samples.bus_mv != ABSENT])
    if len(known) and 0 < known.max() < _LEAST_VOLTS * 1000:
        raise DataError(
            f"{path}: no row has more than {known.max() / 1000:g} V; check the units and the decimal sign "
            "(--unit volts=V or mV, --decimal)"
        )


def _put_in_order(path: Path, samples: Samples, time_back: str | None, refuse: Callable[[DataError], None]) -> None:
    back = np.concatenate([[False], np.diff(samples.t_s) < 0])
    samples.backs = int(back.sum())
    stretch = np.cumsum(back)
    samples.boot = np.ones(len(samples), np.int64)
    if not samples.backs:
        return
    if time_back == "restart":
        samples.boot += stretch
        return
    if time_back != "sort":
        at = int(np.flatnonzero(back)[0])
        fall = samples.t_s[at - 1] - samples.t_s[at]
        more = f", and in {samples.backs - 1} more places" if samples.backs > 1 else ""
        refuse(DataError(
            f"{path}, line {samples.line[at]}: t_s goes back by {round(fall, 3):g} s{more}; --time-back sort puts the "
            "rows in order, --time-back restart takes it for a recorder that was switched on again"
        ))  # fmt: skip
    order = np.lexsort((samples.line, samples.clamp_ma, samples.bus_mv, samples.t_s))
    same = np.ones(len(order), bool)
    same[0] = False
    for values in (samples.t_s, samples.bus_mv, samples.clamp_ma):
        same[1:] &= np.diff(values[order]) == 0
    leader = np.maximum.accumulate(np.where(same, 0, np.arange(len(order))))
    kept = order[stretch[order] == stretch[order[leader]]]  # a stretch that was exported twice counts once
    samples.twice = len(order) - len(kept)
    kept = kept[np.lexsort((kept, samples.t_s[kept]))]
    for name in ("boot", "t_s", "bus_mv", "clamp_ma", "line"):
        setattr(samples, name, getattr(samples, name)[kept])
