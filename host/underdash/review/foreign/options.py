"""What is told of a foreign log where the file does not show it: options, and the column map that keeps them."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from underdash.problems import DataError, UsageError
from underdash.toml_file import TomlFile, nearest, shown

COLUMNS = ("t_s", "volts", "amps")
# What a number in a unit is multiplied with to be in [s], [V], [A].
UNITS: dict[str, dict[str, float]] = {
    "t_s": {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0},
    "volts": {"V": 1.0, "mV": 1e-3},
    "amps": {"A": 1.0, "mA": 1e-3},
}
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", "blank": " "}
CHOICES: dict[str, tuple[str, ...]] = {
    "separator": tuple(SEPARATORS),
    "decimal": ("point", "comma"),
    "date_order": ("ymd", "dmy", "mdy"),
    "time_back": ("refuse", "sort", "restart"),
    "positive": ("charge", "discharge"),
}


@dataclass(frozen=True)
class Options:
    """None, or left out: the file is to show it, and is refused if it could mean two things.

    columns: which of the file's columns is t_s, volts or amps: its name, "#2" for the second, "Date+Time" for a time
    in two. units: of those columns, as in UNITS. positive: what the battery does while its current is positive,
    "charge" or "discharge". separator: a name in SEPARATORS. decimal: "point" or "comma". encoding: as Python names
    it. date_order: of day, month and year. time_back: what is done where the time goes back: "refuse" the file
    (as None), "sort" its rows, or "restart", as when a recorder was switched on anew. hold_s: a value stands until
    the next one, at most so long [s]; None where nothing is known of the time between two rows.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    positive: str | None = None
    separator: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    date_order: str | None = None
    time_back: str | None = None
    hold_s: float | None = None

    def over(self, other: "Options") -> "Options":
        """These options where they say something, else those of `other`."""
        said = {name: value for name, value in vars(self).items() if value != getattr(_SILENT, name)}
        both = {name: {**getattr(other, name), **getattr(self, name)} for name in ("columns", "units")}
        return replace(other, **{**said, **both})


_SILENT = Options()


def check_pair(option: str, pair: str) -> tuple[str, str]:
    """Take "volts=NAME" apart; UsageError says how --column or --unit is written."""
    ours, separator, theirs = pair.partition("=")
    if option == "--column":
        if not separator or ours not in COLUMNS or not theirs:
            raise UsageError(f"--column {pair}: write t_s=NAME, volts=NAME or amps=NAME")
    elif ours not in UNITS or theirs not in UNITS[ours]:
        known = "; ".join(f"{name}={' or '.join(units)}" for name, units in UNITS.items())
        raise UsageError(f"--unit {pair}: write {known}")
    return ours, theirs


def read_map(path: Path) -> Options:
    """The options that a column map keeps. UsageError if it is not there, DataError with the line of a mistake."""
    file = TomlFile(path, 'write name = "value"')
    values: dict[str, Any] = {}
    for name, value in file.document.items():
        where = f"{path} line {file.line(name)}"
        if name not in vars(_SILENT):
            raise DataError(f"{where}: {name} is no key of a column map{nearest(name, vars(_SILENT))}")
        if name in ("columns", "units"):
            if not isinstance(value, dict):
                raise DataError(f"{where}: {name} must be a table: [{name}]")
            for ours, theirs in value.items():
                line = f"{path} line {file.line(name, ours)}"
                if ours not in COLUMNS:
                    raise DataError(f"{line}: {name}.{ours} must be one of {', '.join(COLUMNS)}")
                if not isinstance(theirs, str) or (name == "units" and theirs not in UNITS[ours]):
                    known = " or ".join(f'"{unit}"' for unit in UNITS[ours]) if name == "units" else "a name in quotes"
                    raise DataError(f"{line}: {name}.{ours} is {shown(theirs)}: must be {known}")
        elif name == "hold_s":
            if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 86400:
                raise DataError(f"{where}: hold_s is {shown(value)}: must be seconds from 0 to 86400")
        elif not isinstance(value, str) or value not in CHOICES.get(name, (value,)):
            known = " or ".join(f'"{one}"' for one in CHOICES.get(name, ())) or "a name in quotes"
            raise DataError(f"{where}: {name} is {shown(value)}: must be {known}")
        values[name] = value
    return Options(**values)


def write_map(options: Options) -> str:
    """The column map that says what `options` say, as TOML."""
    lines = ["# How a recorder's files are to be read: underdash review LOG --map THIS_FILE"]
    for name, value in vars(options).items():
        if name not in ("columns", "units") and value != getattr(_SILENT, name):
            lines.append(f"{name} = {json.dumps(value, ensure_ascii=False)}")
    for name in ("columns", "units"):
        if table := getattr(options, name):
            lines += [
                "",
                f"[{name}]",
                *(f"{ours} = {json.dumps(its, ensure_ascii=False)}" for ours, its in table.items()),
            ]
    return "\n".join(lines) + "\n"
