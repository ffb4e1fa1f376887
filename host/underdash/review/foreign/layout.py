"""How a text file is a table: its encoding, its separator, and the line where its columns are named."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from underdash.problems import DataError, UsageError, readable
from underdash.review.foreign import columns as naming
from underdash.review.foreign.encoding import encoding_of, not_text
from underdash.review.foreign.numbers import is_number
from underdash.review.foreign.options import COLUMNS, SEPARATORS, Options
from underdash.review.foreign.times import kind_of

PREVIEW_LINES = 2000
_HEAD_LINES = 60  # so many lines may stand above the names
_LONGEST_LINE = 1 << 20

Line = tuple[int, list[str]]  # its number in the file, its cells


@dataclass(frozen=True)
class Layout:
    """What was found. head: the columns' names, "#1", "#2" where the file has none. first: the number of the line
    after which the rows begin. head_line: the line of the names, 0 if there is none. units: a row of units below
    the names. places: where t_s, volts and amps stand. preview: the first rows."""

    encoding: str
    encoding_by: str
    separator: str
    separator_by: str
    head: list[str]
    head_line: int
    first: int
    units: list[str]
    places: naming.Places
    preview: list[Line]


def find(path: Path, options: Options) -> Layout:
    """Find the layout of a text file. UsageError or DataError with what would decide, where it is not plain."""
    encoding, encoding_by = encoding_of(path, options.encoding)
    with readable(path), path.open(encoding=encoding) as file:
        try:
            text = [line for line in (file.readline(_LONGEST_LINE) for _ in range(PREVIEW_LINES)) if line]
        except UnicodeError:
            raise not_text(path, encoding) from None
    names = [options.separator] if options.separator else list(SEPARATORS)
    tables = {name: list(_cells(iter(text), SEPARATORS[name], broken_ends=True)) for name in names}
    fits: dict[str, tuple[int, list[str], naming.Places]] = {}
    for name, table in tables.items():
        # A blank beside another separator separates nothing.
        if (name != "blank" or not fits) and (found := _names(path, table, options)) is not None:
            fits[name] = found
    if not fits:
        raise _no_names(path, tables, options)
    if len(fits) > 1:
        raise UsageError(f"{path}: its columns may be separated by {' or '.join(fits)}; say which with --separator")
    ((separator, (at, head, places)),) = fits.items()
    table = tables[separator]
    named = at >= 0
    preview = table[at + 1 :]
    units = []
    if named and preview and _are_units(preview[0][1], places):
        units = preview.pop(0)[1]
    first = table[at + (1 if units else 0)][0] if named else (preview[0][0] - 1 if preview else 0)
    by = "as stated" if options.separator else "the only one under which the columns are found"
    return Layout(
        encoding, encoding_by, separator, by, head, table[at][0] if named else 0, first, units, places, preview
    )  # fmt: skip


def rows(path: Path, layout: Layout) -> Iterator[Line]:
    """Each row that is not empty, with its line number. DataError for what is no text or no CSV."""
    with readable(path), path.open(encoding=layout.encoding) as file:
        try:
            for line, cells in _cells(file, SEPARATORS[layout.separator], path):
                if line > layout.first:
                    yield line, cells
        except UnicodeError:
            raise not_text(path, layout.encoding) from None


def _cells(text: Iterator[str], separator: str, path: Path | None = None, broken_ends: bool = False) -> Iterator[Line]:
    """Cells of each line that has any. A line that is no CSV ends a preview, and is refused otherwise."""
    if separator == " ":
        lines = (line.replace("\t", " ").rstrip() for line in text)
    else:
        lines = (line.rstrip(" \n") for line in text)
    reader = csv.reader(lines, delimiter=separator, skipinitialspace=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield reader.line_num, cells
    except csv.Error as problem:
        if not broken_ends:
            raise DataError(f"{path}, line {reader.line_num}: not readable as CSV: {problem}") from None


def _names(path: Path, table: list[Line], options: Options) -> tuple[int, list[str], naming.Places] | None:
    """(which row names the columns or -1, the names, their places), or None if no row does."""
    if naming.by_number(options.columns):
        for at, (_, cells) in enumerate(islice(table, _HEAD_LINES)):
            found, lacking = naming.places(path, [f"#{number + 1}" for number in range(len(cells))], options.columns)
            if lacking is None and _are_values(cells, found):
                above = [name.strip() for name in table[at - 1][1]] if at else []
                named = len(above) == len(cells) and not any(map(is_number, above))
                if not named and at:
                    continue
                return (at - 1, above, found) if named else (-1, [f"#{n + 1}" for n in range(len(cells))], found)
        return None
    for at, (_, cells) in enumerate(islice(table, _HEAD_LINES)):
        head = [cell.strip() for cell in cells]
        found, lacking = naming.places(path, head, options.columns)
        if lacking is None:
            return at, head, found
    return None


def _are_values(cells: list[str], places: naming.Places) -> bool:
    time = " ".join(cells[place].strip() for place in places["t_s"])
    others = [cells[place] for ours, at in places.items() if ours != "t_s" for place in at]
    return (is_number(time) or kind_of(time) is not None) and all(
        not cell.strip() or is_number(cell) for cell in others
    )


def _are_units(cells: list[str], places: naming.Places) -> bool:
    """Whether a row below the names holds units, as some recorders write it."""
    volts = places["volts"][0]
    if volts >= len(cells) or naming.unit_named("volts", cells[volts]) is None:
        return False
    return not any(is_number(cells[place]) for at in places.values() for place in at if place < len(cells))


def _no_names(path: Path, tables: dict[str, list[Line]], options: Options) -> UsageError:
    """What to say where the columns are under no separator: about the one that makes the most columns."""

    def width(name: str) -> int:
        return max((len(cells) for _, cells in tables[name][:_HEAD_LINES]), default=0)

    best = max(tables, key=width)
    widest = width(best)
    if not widest:
        empty = "the file is empty, " if not path.stat().st_size else ""
        return UsageError(f"{path}: {empty}no column '{options.columns.get('t_s', 't_s')}' (there is: nothing)")
    head = next([cell.strip() for cell in cells] for _, cells in tables[best] if len(cells) == widest)
    if all(not cell or is_number(cell) or kind_of(cell) for cell in head):
        return UsageError(
            f"{path}: no line names its columns; tell them by their numbers: --column t_s=#1 --column volts=#2"
        )
    _, lacking = naming.places(path, head, options.columns)
    return naming.missing(path, head, options.columns, lacking or COLUMNS[0])
