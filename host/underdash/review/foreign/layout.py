"""How a text file is a table: its encoding, its separator, and the line where its columns are named."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
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
    fits: dict[str, _Head] = {}
    for name, table in tables.items():
        # A blank beside another separator separates nothing.
        if (name != "blank" or not fits) and (found := _names(path, table, options)) is not None:
            fits[name] = found
    if not fits:
        raise _no_names(path, tables, options)
    if len(fits) > 1:
        raise UsageError(f"{path}: its columns may be separated by {' or '.join(fits)}; say which with --separator")
    ((separator, head),) = fits.items()
    table = tables[separator]
    preview = table[head.rows_at :]
    units: list[str] = []
    if head.line and preview and _are_units(preview[0][1], head.places):
        units = preview.pop(0)[1]
    rows_at = len(table) - len(preview)
    return Layout(
        encoding=encoding,
        encoding_by=encoding_by,
        separator=separator,
        separator_by="as stated" if options.separator else "the only one under which the columns are found",
        head=head.names,
        head_line=head.line,
        first=table[rows_at - 1][0] if rows_at else 0,
        units=units,
        places=head.places,
        preview=preview,
    )


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
    reader = csv.reader(lines, delimiter=separator, skipinitialspace=True, strict=True)
    last = 0
    try:
        for cells in reader:
            last = reader.line_num
            if any(cells):
                yield last, cells
    except csv.Error as problem:
        if not broken_ends:
            raise DataError(
                f"{path}, line {last + 1}: not readable as CSV ({problem}); look for a quote that is not closed"
            ) from None


@dataclass(frozen=True)
class _Head:
    line: int  # of the names, 0 if there are none
    names: list[str]
    places: naming.Places
    rows_at: int  # the first row below


def _names(path: Path, table: list[Line], options: Options) -> _Head | None:
    """The names of the columns, or None if no row has those that are wanted."""
    if naming.by_number(options.columns):
        return _numbered(path, table, options)
    for at, (line, cells) in enumerate(table[:_HEAD_LINES]):
        head = [cell.strip() for cell in cells]
        found, lacking = naming.places(path, head, options.columns)
        if lacking is None:
            return _Head(line, head, found, at + 1)
    return None


def _numbered(path: Path, table: list[Line], options: Options) -> _Head | None:
    """The same where the columns are told by numbers: the first row with values there, and the names above, if any."""
    for at, (_, cells) in enumerate(table[:_HEAD_LINES]):
        numbers = [f"#{number}" for number in range(1, len(cells) + 1)]
        found, lacking = naming.places(path, numbers, options.columns)
        if lacking is None and _are_values(cells, found):
            line, above = table[at - 1] if at else (0, [])
            named = len(above) == len(cells) and not any(map(is_number, above))
            return _Head(line, [name.strip() for name in above], found, at) if named else _Head(0, numbers, found, at)
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

    def widths(name: str) -> tuple[int, int]:
        counts = [len(cells) for _, cells in tables[name][:_HEAD_LINES]]
        return (counts[0], max(counts)) if counts else (0, 0)

    best = max(tables, key=widths)
    _, widest = widths(best)
    if not widest:
        empty = "the file is empty, " if not path.stat().st_size else ""
        return UsageError(f"{path}: {empty}no column '{options.columns.get('t_s', 't_s')}' (there is: nothing)")
    head = next([cell.strip() for cell in cells] for _, cells in tables[best] if len(cells) == widest)
    _, lacking = naming.places(path, head, options.columns)
    if naming.by_number(options.columns):
        if lacking is None:
            return UsageError(f"{path}: the columns of these numbers hold no time and volts in its first lines")
    elif all(not cell or is_number(cell) or kind_of(cell) for cell in head):
        return UsageError(
            f"{path}: no line names its columns; tell them by their numbers: --column t_s=#1 --column volts=#2"
        )
    return naming.missing(path, head, options.columns, lacking or COLUMNS[0])
