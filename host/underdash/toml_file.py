"""A TOML file with the line of everything in it: tomllib itself tells of no places."""

import difflib
import json
import re
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from underdash.problems import DataError, readable

_KEY = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_DOTTED = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_TABLE_LINE = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]")
_KEY_LINE = re.compile(rf"\s*({_DOTTED})\s*=")
_INLINE_KEY = re.compile(rf"[{{,]\s*({_KEY})\s*=")

Place = tuple[str | int, ...]


class TomlFile:
    """A file that has been read: `document` as tomllib gives it, `line` for where things stand in it.

    Raises UsageError if it cannot be opened, DataError with the line if it is not UTF-8 or not TOML; `hint` ends
    that line with what to write.
    """

    def __init__(self, path: Path, hint: str) -> None:
        self.path = path
        with readable(path):
            content = path.read_bytes()
        try:
            self.text = content.decode("utf-8-sig")  # some editors begin with a mark
        except UnicodeDecodeError as problem:
            line = content[: problem.start].count(b"\n") + 1
            raise DataError(f"{path} line {line}: not UTF-8 text; save the file as UTF-8") from None
        try:
            self.document: dict[str, Any] = tomllib.loads(self.text)
        except tomllib.TOMLDecodeError as problem:
            raise DataError(f"{path}{_where(problem, self.text, hint)}") from None
        except (ValueError, RecursionError):  # a number of thousands of digits, brackets within brackets
            raise DataError(f"{path}: no such number or list can be read; {hint}") from None
        self._lines = _lines(self.text)

    def line(self, *place: str | int) -> int:
        """The line of what stands at `place`, keys and positions from the top, else of what it stands in, else 1."""
        while place and place not in self._lines:
            place = place[:-1]
        return self._lines.get(place, 1)


def shown(value: Any) -> str:
    """A value as it stands in the file, shortened, on one line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list) and any(isinstance(one, dict | list) for one in value):
        return "a list"
    text = json.dumps(value, ensure_ascii=False) if isinstance(value, str | int | float | list) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def nearest(name: str, names: Iterable[str]) -> str:
    """'; did you mean …?', or nothing."""
    near = difflib.get_close_matches(name, list(names), n=1, cutoff=0.6)
    return f"; did you mean {near[0]}?" if near else ""


def _where(problem: tomllib.TOMLDecodeError, text: str, hint: str) -> str:
    """' line N: what is wrong there; what to write', from the parser's own words."""
    said = re.fullmatch(r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", str(problem), re.DOTALL)
    if not said:
        return f": {problem}; {hint}"
    number = int(said[2] or text.count("\n") + 1)
    line = (*text.splitlines(), "")[min(number, len(text.splitlines())) - 1] if text else ""
    key, table = _KEY_LINE.match(line), _TABLE_LINE.match(line)
    if said[1].startswith("Cannot overwrite") and key:
        return f" line {number}: {key[1]} is set twice; take one of the two out"
    if said[1].startswith("Cannot declare") and table:
        name = table[2]
        return (f" line {number}: [{name}] stands twice; put its lines together, or write [[{name}]] for each "
                "where there may be several")  # fmt: skip
    return f" line {number}: not TOML: {said[1]}; {hint}"


def _lines(text: str) -> dict[Place, int]:
    """Each table's and key's first line."""
    found: dict[Place, int] = {}
    table: Place = ()
    counts: dict[Place, int] = {}
    items: tuple[Place, int] | None = None  # the list that goes on over lines, and how many tables it had so far
    for number, line in enumerate(text.splitlines(), 1):
        if header := _TABLE_LINE.match(line):
            table = _names(header[2])
            for end in range(1, len(table)):  # [cable.fuse] belongs to the last [[cable]]
                if table[:end] in counts:
                    table = (*table[:end], counts[table[:end]] - 1, *table[end:])
            if header[1] == "[[":
                counts[table] = counts.get(table, 0) + 1
                found.setdefault(table, number)
                table = (*table, counts[table] - 1)
            found.setdefault(table, number)
        elif items and line.lstrip().startswith("{"):
            found.setdefault((*items[0], items[1]), number)
            items = (items[0], items[1] + 1)
        elif key := _KEY_LINE.match(line):
            place = (*table, *_names(key[1]))
            found.setdefault(place, number)
            items = (place, 0) if line.partition("#")[0].rstrip().endswith("[") else None
            for name in _INLINE_KEY.findall(line):  # tables within one line
                found.setdefault((*place, *_names(name)), number)
    return found


def _names(dotted: str) -> tuple[str, ...]:
    return tuple(name.strip("\"'") for name in re.findall(_KEY, dotted))
