"""Where each place and each cable of a wiring picture goes.

Places that join several cables are upright bars, ordered by their distance from the battery; each cable is a
level line in a row of its own, from bar to bar, or out to the right edge where it ends at a place that nothing
else leads from. So no two cables share a line, and room for a cable's words is room that no bar crosses.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

PAD = 12.0  # on each side of a cable's words, and of a place's name [px]
FUSE = 26.0  # more at the left, for the fuse's mark [px]


class Line(NamedTuple):
    """A cable to be drawn: the two places, and the breadth of its words [px]."""

    start: str
    end: str
    words: float


@dataclass
class Row:
    """One level of the picture, from top to bottom."""

    left: str
    """Place that it begins at."""
    right: str | None
    """Place whose bar it ends at; None if it runs to the right edge."""
    line: int | None
    """Index of the cable; None for a list of what hangs on `left`."""
    names: list[str] = field(default_factory=list)
    """Places whose name stands above this row."""
    room: float = 0.0
    """Free breadth for the cable's words, from `left` to what comes first [px]."""


@dataclass(frozen=True)
class Layout:
    """Rows from the top, and where the bars stand."""

    rows: tuple[Row, ...]
    x: dict[str, float]
    """Place to its bar [px]."""
    spans: dict[str, tuple[int, int]]
    """Place to the first and last row of its bar."""
    edge: float
    """Where the lines end that run to the right edge [px]."""


def lay_out(lines: Sequence[Line], root: str, hung: Sequence[str], names: dict[str, float]) -> Layout:
    """The layout of `lines` around `root`.

    hung: places that need a row for a list of what hangs on them; names: breadth of each place's name [px].
    """
    order = _order(lines, root)
    rank = {place: at for at, place in enumerate(order)}
    ends = [tuple(sorted((line.start, line.end), key=rank.__getitem__)) for line in lines]
    into: dict[str, list[int]] = {place: [] for place in order}
    degree = dict.fromkeys(order, 0)
    for at, (left, right) in enumerate(ends):
        into[right].append(at)
        degree[left] += 1
        degree[right] += 1
    layer: dict[str, int] = {}
    for place in order:
        layer[place] = max((layer[ends[at][0]] + 1 for at in into[place] if ends[at][0] != place), default=0)
    # A place that one cable leads to and none from needs no bar: its cable runs out to the right edge.
    tops = [place for place in order if layer[place] == 0]
    leaves = {place for place in order if degree[place] == 1 and place not in tops}

    rows = _rows(order, tops, leaves, ends, into, layer, [place for place in hung if place not in leaves])
    spans = _spans(rows)
    tracks = _tracks(spans, layer)
    x, edge = _columns(rows, tracks, spans, lines, names)
    return Layout(tuple(rows), x, spans, edge)


def _order(lines: Sequence[Line], root: str) -> list[str]:
    """Every place, those near `root` first; what it does not reach follows, part by part."""
    near: dict[str, list[str]] = {root: []}
    for line in lines:
        near.setdefault(line.start, []).append(line.end)
        near.setdefault(line.end, []).append(line.start)
    order: list[str] = []
    for top in near:
        if top not in order:
            order.append(top)
            at = len(order) - 1
            while at < len(order):
                order += [place for place in dict.fromkeys(near[order[at]]) if place not in order]
                at += 1
    return order


def _rows(
    order: list[str],
    tops: list[str],
    leaves: set[str],
    ends: Sequence[tuple[str, ...]],
    into: dict[str, list[int]],
    layer: dict[str, int],
    hung: list[str],
) -> list[Row]:
    """Each place's cables below its name: those that come to it, those that end in the open, then its followers."""
    parent = {}
    for place in order:
        if into[place] and place not in leaves and place not in tops:
            parent[place] = max((ends[at][0] for at in into[place]), key=layer.__getitem__)
    rows: list[Row] = []

    def place_down(place: str) -> None:
        begun = len(rows)
        mine = [at for at in into[place] if place in parent]
        for at in sorted(mine, key=lambda at: ends[at][0] != parent[place]):
            rows.append(Row(ends[at][0], place, at))
        if place in hung:
            rows.append(Row(place, None, None))
        rows.extend(Row(place, None, at) for at, (left, right) in enumerate(ends)
                    if left == place and (right in leaves or right == left))  # fmt: skip
        for follower in order:
            if parent.get(follower) == place:
                place_down(follower)
        if len(rows) > begun:
            rows[begun].names.append(place)

    for top in tops:
        place_down(top)
    return rows


def _spans(rows: list[Row]) -> dict[str, tuple[int, int]]:
    spans: dict[str, tuple[int, int]] = {}
    for at, row in enumerate(rows):
        for place in (row.left, row.right):
            if place is not None:
                first, last = spans.get(place, (at, at))
                spans[place] = (min(first, at), max(last, at))
    return spans


def _tracks(spans: dict[str, tuple[int, int]], layer: dict[str, int]) -> list[list[str]]:
    """Places that stand one above the other, from the left: those of one distance share a track where they can."""
    tracks: list[list[str]] = []
    for distance in sorted({layer[place] for place in spans}):
        mine: list[list[str]] = []
        for place in sorted((place for place in spans if layer[place] == distance), key=lambda place: spans[place]):
            free = next((track for track in mine if spans[track[-1]][1] < spans[place][0]), None)
            if free is None:
                mine.append([place])
            else:
                free.append(place)
        tracks += mine
    return tracks


def _columns(
    rows: list[Row],
    tracks: list[list[str]],
    spans: dict[str, tuple[int, int]],
    lines: Sequence[Line],
    names: dict[str, float],
) -> tuple[dict[str, float], float]:
    """The least x at which every name, and every cable's words before the first bar that crosses them, fit."""
    column = {place: at for at, track in enumerate(tracks) for place in track}
    needs: list[tuple[int, int, float]] = []
    stops: list[int] = []
    for at, row in enumerate(rows):
        end = len(tracks) if row.right is None else column[row.right]
        crossing = (
            to for to in range(column[row.left] + 1, end) if any(spans[p][0] < at < spans[p][1] for p in tracks[to])
        )
        stops.append(next(crossing, end))
        breadth = lines[row.line].words + FUSE + 2 * PAD if row.line is not None else 4 * PAD
        needs.append((column[row.left], stops[-1], breadth))
    halves = [max(names[place] for place in track) / 2 + PAD for track in tracks]
    needs += [(at, at + 1, one + other) for at, (one, other) in enumerate(pairwise(halves))]
    where = [halves[0]] if tracks else [0.0]
    for to in range(1, len(tracks) + 1):
        where.append(max([where[-1] + 2 * PAD, *(where[a] + breadth for a, b, breadth in needs if b == to)]))
    for row, stop in zip(rows, stops, strict=True):
        row.room = where[stop] - where[column[row.left]] - FUSE - 2 * PAD
    return {place: where[at] for place, at in column.items()}, where[-1]
