"""Rows to review, from any log: CSV with the columns t_s, volts and, optionally, amps."""

import csv
import math
from collections.abc import Iterator, Mapping
from itertools import groupby
from pathlib import Path

from chargecore import engine
from chargecore.units import ABSENT, TICKS_MASK, elapsed_ms
from underdash.problems import DataError, UsageError, readable
from underdash.review.rows import Account, RowLists, Rows

_COLUMNS = ("t_s", "volts", "amps")
_LARGEST = {"t_s": 1e9, "volts": 100.0, "amps": 2000.0}

Sample = tuple[float, int, int]  # t_s, bus_mv, clamp_ma


def from_csv(
    path: Path, columns: Mapping[str, str] | None = None, thresholds: Mapping[str, int] | None = None
) -> tuple[Rows, Account]:
    """Read a log and judge it. Seconds [s], bus volts [V], battery current [A] (charging positive).

    columns: which of the file's columns holds t_s, volts or amps, where it is not named so.
    thresholds: those that are not to be the defaults [mV], [ms].
    Samples closer together than a second are gathered into rows of one second, as on the board.
    UsageError for a missing column, DataError (with the line) for a value that is no number.
    """
    account = Account()
    for name, value in (thresholds or {}).items():
        setattr(account.thresholds, name, value)
    judge = engine.Engine(account.thresholds)
    gathered = RowLists()
    single_below_mv = account.thresholds.crank_mv + account.thresholds.hysteresis_mv
    for t_s, low_mv, bus_mv, high_mv, clamp_ma in _rows(samples(path, columns or {}), single_below_mv):
        t_ms = round(t_s * 1000)
        wrapped = t_ms & TICKS_MASK
        state = judge.step(wrapped, low_mv, bus_mv, high_mv, clamp_ma)
        row = (t_ms, low_mv, bus_mv, high_mv, clamp_ma, state, judge.warnings)
        gathered.add(1, row, t_ms - elapsed_ms(wrapped, judge.since_ms))
    if not gathered.values:
        raise DataError(f"{path}: no rows below the header")
    return gathered.rows(), account


def samples(path: Path, columns: Mapping[str, str]) -> Iterator[Sample]:
    """Yield (t_s [s], bus_mv, clamp_ma) of each line, ABSENT where a cell is empty; errors as from_csv."""
    with readable(path), path.open(newline="", encoding="utf-8-sig") as file:
        try:
            reader = csv.reader(file)
            head = [name.strip() for name in next(reader, [])]
            where = _find_columns(path, head, columns)
            last_s = -math.inf
            for cells in reader:
                if not any(cell.strip() for cell in cells):
                    continue
                line = f"{path}, line {reader.line_num}"
                if len(cells) != len(head):
                    raise DataError(
                        f"{line}: {len(cells)} values under {len(head)} names; a decimal comma must become a point"
                    )
                t_s = _number(line, "t_s", cells[where["t_s"]])
                if math.isnan(t_s):
                    raise DataError(f"{line}: t_s is empty; every row needs its time")
                if t_s < last_s:
                    raise DataError(f"{line}: t_s goes back from {last_s:g} to {t_s:g}; sort the file by time")
                last_s = t_s
                volts = _number(line, "volts", cells[where["volts"]])
                amps = _number(line, "amps", cells[where["amps"]]) if "amps" in where else math.nan
                yield (
                    t_s,
                    ABSENT if math.isnan(volts) else round(volts * 1000),
                    ABSENT if math.isnan(amps) else round(amps * 1000),
                )
        except UnicodeDecodeError:
            raise DataError(f"{path}: not a text file in UTF-8; save it as CSV in UTF-8") from None
        except csv.Error as problem:
            raise DataError(f"{path}: not readable as CSV: {problem}") from None


def _find_columns(path: Path, head: list[str], columns: Mapping[str, str]) -> dict[str, int]:
    where = {}
    for name in _COLUMNS:
        wanted = columns.get(name, name)
        if head.count(wanted) > 1:
            raise UsageError(f"{path}: {head.count(wanted)} columns are named '{wanted}'; keep one")
        if wanted in head:
            where[name] = head.index(wanted)
        elif name != "amps" or name in columns:
            there = ", ".join(head[:12]) if any(head) else "nothing"
            raise UsageError(f"{path}: no column '{wanted}' (there is: {there}); name it with --column {name}=NAME")
    return where


def _number(line: str, name: str, cell: str) -> float:
    text = cell.strip()
    if not text:
        return math.nan
    try:
        value = float(text)
    except ValueError:
        hint = "; write a decimal point, not a comma" if "," in text else ""
        raise DataError(f"{line}: {name} is '{text[:40]}', not a number{hint}") from None
    if not math.isfinite(value) or abs(value) > _LARGEST[name]:
        raise DataError(f"{line}: {name} is {text[:40]}, beyond ±{_LARGEST[name]:g}; check the units")
    return value


def _rows(samples: Iterator[Sample], single_below_mv: int) -> Iterator[tuple[float, int, int, int, int]]:
    """One row a second of the log; while the volts are at a crank's level, a row a sample."""
    for _, group in groupby(samples, key=lambda sample: math.floor(sample[0])):
        second = list(group)
        times = {t_s for t_s, _, _ in second}
        measured = [bus_mv for _, bus_mv, _ in second if bus_mv != ABSENT]
        if len(times) == len(second) and measured and min(measured) < single_below_mv:
            for t_s, bus_mv, clamp_ma in second:
                yield t_s, bus_mv, bus_mv, bus_mv, clamp_ma
            continue
        amps = [clamp_ma for _, _, clamp_ma in second if clamp_ma != ABSENT]
        yield (
            second[-1][0],
            min(measured, default=ABSENT),
            round(sum(measured) / len(measured)) if measured else ABSENT,
            max(measured, default=ABSENT),
            round(sum(amps) / len(amps)) if amps else ABSENT,
        )
