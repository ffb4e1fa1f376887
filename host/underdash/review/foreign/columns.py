"""Which column is which, and in which unit: by its name, else by an option."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from underdash.problems import UsageError
from underdash.review.foreign.options import COLUMNS

_SPELLINGS = {
    "t_s": {
        "s": "s sec secs second seconds", "ms": "ms msec msecs millisecond milliseconds",
        "us": "us µs μs microsecond microseconds", "min": "min mins minute minutes", "h": "h hour hours",
        "d": "d day days",
    },
    "volts": {"V": "v volt volts", "mV": "mv millivolt millivolts"},
    "amps": {"A": "a amp amps ampere amperes", "mA": "ma milliamp milliamps milliampere milliamperes"},
}  # fmt: skip
_UNITS = {
    ours: {word: unit for unit, words in units.items() for word in words.split()} for ours, units in _SPELLINGS.items()
}
_HINTS = {"t_s": r"time|clock|date|second|elapsed", "volts": r"volt|(^|_)v(_|$|bat)", "amps": r"amp|current"}

Places = dict[str, tuple[int, ...]]


def unit_of(ours: str, name: str) -> str | None:
    """The unit that a column's name ends with, as in "U [mV]", "bus_mv", "volts"; None if it tells none."""
    bracketed = re.search(r"[\[(]\s*([^\])]+?)\s*[\])]\s*$", name)
    last = bracketed[1] if bracketed else re.split(r"[\s_./,-]+", name.strip())[-1]
    return _UNITS[ours].get(last.lower())


def unit_named(ours: str, cell: str) -> str | None:
    """The unit that a cell of a row of units is."""
    return _UNITS[ours].get(cell.strip().strip("[]()").lower())


def places(path: Path, head: Sequence[str], columns: Mapping[str, str]) -> tuple[Places, str | None]:
    """(the place of each column under these names, the first that is not there or None).

    A time in two columns has two places. UsageError if a name stands there twice.
    """
    found: Places = {}
    for ours in COLUMNS:
        wanted = columns.get(ours, ours)
        parts = [wanted]
        if ours == "t_s" and wanted not in head and "+" in wanted:
            parts = [part.strip() for part in wanted.split("+", 1)]
        where = [_place(path, head, ours, part) for part in parts]
        if None not in where:
            found[ours] = tuple(place for place in where if place is not None)
        elif ours != "amps" or ours in columns:
            return found, ours
    return found, None


def by_number(columns: Mapping[str, str]) -> bool:
    """Whether every column is told by its number, so that the file needs no names."""
    told = [columns.get(ours, "") for ours in COLUMNS if ours in columns or ours != "amps"]
    return all(re.fullmatch(r"#\d+(\s*\+\s*#\d+)?", one) for one in told)


def missing(path: Path, head: Sequence[str], columns: Mapping[str, str], ours: str) -> UsageError:
    """What to say of a column that is not there, with names that it might be."""
    wanted = columns.get(ours, ours)
    there = ", ".join(head[:12]) + (", …" if len(head) > 12 else "") if any(head) else "nothing"
    near = [name for name in head if re.search(_HINTS[ours], name, re.IGNORECASE)]
    hint = f" ('{near[0]}'?)" if near and near[0] != wanted else ""
    return UsageError(f"{path}: no column '{wanted}' (there is: {there}); name it with --column {ours}=NAME{hint}")


def _place(path: Path, head: Sequence[str], ours: str, wanted: str) -> int | None:
    if head.count(wanted) > 1:
        first = head.index(wanted) + 1
        raise UsageError(
            f"{path}: {head.count(wanted)} columns are named '{wanted}'; keep one, or name it by its number: "
            f"--column {ours}=#{first}"
        )
    if wanted in head:
        return head.index(wanted)
    number = re.fullmatch(r"#(\d+)", wanted)
    return int(number[1]) - 1 if number and 1 <= int(number[1]) <= len(head) else None
