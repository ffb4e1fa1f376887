"""What the cells of a foreign log mean: decimal sign, times, units, sign of the current; and what is left open."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path

from underdash.problems import DataError, UsageError
from underdash.review.foreign.columns import unit_named, unit_of
from underdash.review.foreign.layout import Layout, Line, rows
from underdash.review.foreign.numbers import NOTHING, PARSERS, decimal_of, is_number
from underdash.review.foreign.options import COLUMNS, UNITS, Options
from underdash.review.foreign.reading import LARGEST, Reading
from underdash.review.foreign.times import FORMS, Clock, kind_of, order_of


@dataclass
class Meaning:
    """Each with how it is known. units: of each column with numbers. questions: what could mean two things, each
    with the option that decides; empty where `reading` says how to go on."""

    decimal: tuple[str | None, str]
    kind: str
    order: tuple[str | None, str] | None = None
    units: dict[str, tuple[str | None, str]] = field(default_factory=dict)
    positive: tuple[str | None, str] | None = None
    questions: list[str] = field(default_factory=list)
    reading: Reading | None = None


def find(path: Path, layout: Layout, options: Options) -> Meaning:
    """Find what the cells mean. DataError if the file has no rows or its times are none that are known."""
    kind = _kind(path, layout)
    units = {ours: _unit(ours, layout, options) for ours in COLUMNS if ours in layout.places}
    if kind != "number":
        units.pop("t_s")
        if "t_s" in options.units:
            raise UsageError(f"{path}: its times are no plain numbers; leave out --unit t_s={options.units['t_s']}")
    meaning = Meaning(_decimal(layout, options, units), kind, units=units)
    if meaning.decimal[0] is None:
        meaning.questions.append(f"{meaning.decimal[1]}; say --decimal point or --decimal comma")
    if kind == "stamp":
        meaning.order = _order(path, layout, options)
        if meaning.order[0] is None:
            meaning.questions.append(f"{meaning.order[1]}; say --date-order dmy, mdy or ymd")
    for ours, (unit, why) in units.items():
        if unit is None:
            meaning.questions.append(f"{why}; say --unit {ours}={' or '.join(UNITS[ours])}")
    if "amps" in layout.places:
        meaning.positive = _positive(layout, options)
        if meaning.positive[0] is None:
            meaning.questions.append(f"{meaning.positive[1]}; say --positive charge or --positive discharge")
    elif options.positive or "amps" in options.units:
        raise UsageError(f"{path}: no column of amps is known; name it with --column amps=NAME")
    if not meaning.questions:
        meaning.reading = _reading(meaning)
    return meaning


def _reading(meaning: Meaning) -> Reading:
    decimal = str(meaning.decimal[0])
    number = PARSERS[decimal]
    factors = {ours: UNITS[ours][str(unit)] for ours, (unit, _) in meaning.units.items()}
    order = meaning.order[0] if meaning.order else None
    clock = Clock(meaning.kind, number, factors.get("t_s", 1.0), order or "ymd")
    sign = -1.0 if meaning.positive and meaning.positive[0] == "discharge" else 1.0
    return Reading(clock, number, factors["volts"], sign * factors.get("amps", 1.0), decimal)


def _time(cells: list[str], layout: Layout) -> str:
    return " ".join(cells[place].strip() for place in layout.places["t_s"])


def _whole(layout: Layout) -> Iterator[Line]:
    """The first rows, but those with cells missing or left over, which are told of when they are read."""
    return ((line, cells) for line, cells in layout.preview if len(cells) >= len(layout.head))


def _kind(path: Path, layout: Layout) -> str:
    for line, cells in _whole(layout):
        if text := _time(cells, layout):
            if kind := "number" if is_number(text) else kind_of(text):
                return kind
            raise DataError(f"{path}, line {line}: t_s is '{text[:40]}', no time that is known ({FORMS})")
    if layout.preview:
        return "number"
    raise DataError(f"{path}: no rows below the header; name a log that has some")


def _unit(ours: str, layout: Layout, options: Options) -> tuple[str | None, str]:
    place = layout.places[ours][0]
    name = layout.head[place]
    if ours in options.units:
        return options.units[ours], "as stated"
    if layout.units and place < len(layout.units) and (unit := unit_named(ours, layout.units[place])):
        return unit, "by the row of units"
    if unit := unit_of(ours, name):
        return unit, "by its name"
    if ours == "volts":
        return "V", f"nothing else said, and none beyond ±{LARGEST['volts']:g}"
    return None, f"the name '{name}' of {ours} tells no unit"


def _decimal(layout: Layout, options: Options, units: dict[str, tuple[str | None, str]]) -> tuple[str | None, str]:
    if options.decimal:
        return options.decimal, "as stated"
    if layout.separator == "comma" and not any("," in cell for _, cells in layout.preview for cell in cells):
        return "point", "commas separate"
    cells = (
        (row[layout.places[ours][0]], LARGEST[ours] / UNITS[ours][unit] if unit and ours != "t_s" else float("inf"))
        for ours, (unit, _) in units.items()
        for _, row in _whole(layout)
    )
    return decimal_of((cell, largest) for cell, largest in cells if cell.strip().lower() not in NOTHING)


def _order(path: Path, layout: Layout, options: Options) -> tuple[str | None, str]:
    if options.date_order:
        return options.date_order, "as stated"
    first = order_of(_time(cells, layout) for _, cells in _whole(layout))
    if first[0]:
        return first
    # Undecided by its beginning: a later day beyond the twelfth may tell.
    last = max(layout.places["t_s"])
    return order_of(_time(cells, layout) for _, cells in chain(_whole(layout), rows(path, layout)) if len(cells) > last)


def _positive(layout: Layout, options: Options) -> tuple[str | None, str]:
    if options.positive:
        return options.positive, "as stated"
    name = layout.head[layout.places["amps"][0]]
    if name == "amps":
        return "charge", "what 'amps' is by definition"
    return None, f"the sign of '{name}' is not told"
