"""One table of a car file, read key by key; every mistake is noted with its line, none stops the reading."""

from collections.abc import Sequence
from typing import Any

from underdash.carfile import quantity
from underdash.carfile.quantity import Kind
from underdash.toml_file import Place, TomlFile, nearest, shown


class Notes:
    """The mistakes found in a file: (line, text)."""

    def __init__(self, file: TomlFile) -> None:
        self.file = file
        self.found: list[tuple[int, str]] = []

    def add(self, place: Place, text: str) -> None:
        self.found.append((self.file.line(*place), text))


class Table:
    """Reads the keys of `given`, which stands at `place`. A value that is wrong is noted and its default taken."""

    def __init__(self, notes: Notes, place: Place, given: Any, title: str = "") -> None:
        self.place = place
        self._notes = notes
        self._seen: set[str] = set()
        self.title = title or f"[{'.'.join(str(part) for part in place)}]"
        self.given: dict[str, Any] = given if isinstance(given, dict) else {}
        if not isinstance(given, dict):
            notes.add(place, f"{place[0]} is {shown(given)}: must be a table; write {self.title} on a line of its own")

    @property
    def line(self) -> int:
        return self._notes.file.line(*self.place)

    def has(self, name: str) -> bool:
        return name in self.given

    def note(self, name: str, text: str) -> None:
        """A mistake at a key, in words that follow its name and value."""
        value = f" is {shown(self.given[name])}" if name in self.given else ""
        self._notes.add((*self.place, name), f"{self.title} {name}{value}: {text}")

    def take(self, name: str) -> Any:
        """The raw value, or None."""
        self._seen.add(name)
        return self.given.get(name)

    def missing(self, name: str, example: str) -> None:
        self._notes.add(self.place, f"{self.title} has no {name}; write {name} = {example}")

    def quantity(self, name: str, kind: Kind, low: float, high: float, default: float | None = None) -> float:
        """A quantity from `low` to `high` (SI, see `quantity.parse`); without a default it must be there."""
        value = self.take(name)
        fallback = low if default is None else default
        if value is None:
            if default is None:
                self.missing(name, f'"{kind.example}"')
            return fallback
        return self.parsed(name, value, kind, low, high, fallback)

    def parsed(self, name: str, value: Any, kind: Kind, low: float, high: float, fallback: float) -> float:
        """`value` of key `name` as a quantity within its limits, else `fallback` with a note."""
        try:
            found = quantity.parse(value, kind)
        except ValueError as problem:
            self.note(name, str(problem))
            return fallback
        if not low <= found <= high:
            unit = next(iter(kind.units))
            self.note(name, f"must be {low:g} to {high:g} {unit}; {_out_of_range(found, low)}")
            return fallback
        return found

    def number(self, name: str, low: float, high: float, default: float | None = None) -> float:
        """A number without a unit from `low` to `high`."""
        value = self.take(name)
        if value is None:
            if default is None:
                self.missing(name, f"{low:g}")
            return low if default is None else default
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.note(name, "must be a number without quotes or a unit")
        elif not low <= value <= high:
            self.note(name, f"must be {low:g} to {high:g}; {_out_of_range(value, low)}")
        else:
            return float(value)
        return low if default is None else default

    def whole(self, name: str, low: int, high: int, default: int) -> int:
        """A whole number from `low` to `high`."""
        value = self.number(name, low, high, default)
        if value != int(value):
            self.note(name, "must be a whole number")
        return int(value)

    def share(self, name: str, low: float, high: float, default: float) -> float:
        """A share: `0.1`, or `"10 %"`."""
        value = self.take(name)
        if isinstance(value, str) and value.rstrip().endswith("%"):
            try:
                value = float(value.rstrip().removesuffix("%")) / 100.0
            except ValueError:
                self.note(name, 'must be a share; write 0.1 or "10 %"')
                return default
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.note(name, 'must be a share; write 0.1 or "10 %"')
        elif not low <= value <= high:
            meant = not isinstance(self.given[name], str) and low <= value / 100.0 <= high
            per_cent = f' (or did you mean "{value:g} %"?)' if meant else ""
            self.note(name, f"must be a share from {low:g} to {high:g}{per_cent}")
        else:
            return float(value)
        return default

    def text(self, name: str, default: str | None = None) -> str:
        """Words; without a default they must be there."""
        value = self.take(name)
        if value is None:
            if default is None:
                self.missing(name, '"..."')
            return default or ""
        if not isinstance(value, str) or not value.strip():
            self.note(name, "must be words in quotes")
            return default or ""
        if len(value) > 200 or not value.isprintable():
            self.note(name, "must be one line of at most 200 plain characters")
            return default or ""
        return value.strip()

    def choice(self, name: str, options: Sequence[str], default: str | None = None) -> str:
        """One of some words."""
        value = self.text(name, default)
        if value and value not in options:
            self.note(name, f"must be one of {', '.join(options)}{nearest(value, options)}")
            return default or options[0]
        return value

    def switch(self, name: str, default: bool = False) -> bool:
        """true or false."""
        value = self.take(name)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.note(name, "must be true or false, without quotes")
            return default
        return value

    def words(self, name: str) -> tuple[str, ...]:
        """A word or a list of words; empty if the key is not there or is wrong."""
        value = self.take(name)
        if isinstance(value, str):
            value = [value]
        if value is None:
            return ()
        if not isinstance(value, list) or not value or any(not isinstance(word, str) or not word for word in value):
            self.note(name, 'must be words in quotes; write "one", or ["one", "another"]')
            return ()
        return tuple(value)

    def name_it(self) -> str:
        """The table's name, which it is called by from here on."""
        name = self.text("name")
        if name:
            self.title = f"{self.title} {name}:"
        return name

    def end(self) -> None:
        """Note every key that nobody asked for."""
        for name in self.given:
            if name not in self._seen:
                known = sorted(self._seen)
                self._notes.add(
                    (*self.place, name),
                    f"{self.title} has no {name}{nearest(name, known) or '; there are ' + ', '.join(known)}",
                )


def tables(notes: Notes, place: Place, given: Any, title: str) -> list[Table]:
    """The tables of an array of tables, or of a list of inline ones."""
    if not isinstance(given, list):
        notes.add(
            place, f"{title} is {shown(given)}: there may be several; write {title} on a line of its own for each"
        )
        return []
    return [Table(notes, (*place, i), one, title) for i, one in enumerate(given)]


def _out_of_range(value: float, low: float) -> str:
    if value < 0.0 <= low:
        return "it cannot be negative; take the sign away"
    return "look at the number and its unit"
