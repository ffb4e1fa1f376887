"""The perfboard's tracks and jumpers: read, checked against the values file's nodes.

hardware/tracks.txt holds them, a line each: `track NODE x,y x,y …` is bare wire on the copper side along
the holes between these corners, `jumper NODE x,y x,y` insulated wire on the parts' side. A person may edit
it; `python hardware/router.py` lays them anew where the placement has changed.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import placement
from items import Item
from placement import Hole

from underdash.frontend.parts import Values

# Nodes that the loom joins and the perfboard must not: the legs of each piece.
APART = {"fused": (("J1.1", "R1.1"), ("J1.3", "R2.1"))}


@dataclass(frozen=True)
class Track:
    """A wire between holes: `side` is "track" (copper side) or "jumper" (parts' side)."""

    side: str
    node: str
    corners: tuple[Hole, ...]

    def holes(self) -> Iterator[Hole]:
        """Every hole that it is soldered to: those along a track, the ends of a jumper."""
        if self.side == "jumper":
            yield from (self.corners[0], self.corners[-1])
            return
        yield self.corners[0]
        for begin, end in pairwise(self.corners):
            yield from list(_between(begin, end))[1:]

    def line(self) -> str:
        return f"{self.side} {self.node} " + " ".join(f"{x},{y}" for x, y in self.corners)


def read(path: Path) -> list[Track]:
    """ValueError names the line that is no track."""
    tracks = []
    for number, line in enumerate(path.read_text().splitlines(), 1):
        words = line.split()
        if not words or line.startswith("#"):
            continue
        try:
            corners = tuple((int(x), int(y)) for x, y in (word.split(",") for word in words[2:]))
        except ValueError:
            raise ValueError(f"{path.name}:{number}: holes are written x,y: {line}") from None
        if words[0] not in ("track", "jumper") or len(corners) < 2:
            raise ValueError(f"{path.name}:{number}: not `track NODE x,y x,y …` nor `jumper NODE x,y x,y`: {line}")
        tracks.append(Track(words[0], words[1], corners))
    return tracks


def mistakes(values: Values, items: dict[str, Item], tracks: list[Track]) -> list[str]:
    """Where the perfboard is not what the values file says, a line each; empty if nowhere."""
    legs = placement.legs(values, items)
    found = [f"{hole} has two legs: {shared}" for hole, shared in _shared(legs).items()]
    node_of: dict[Hole, str] = dict(legs.values())
    free = placement.kept_free()
    joined = {hole: {hole} for hole in node_of}

    def join(a: Hole, b: Hole) -> None:
        both = joined.setdefault(a, {a}) | joined.setdefault(b, {b})
        for hole in both:
            joined[hole] = both

    for track in tracks:
        for begin, end in pairwise(track.corners):
            if begin[0] != end[0] and begin[1] != end[1]:
                found.append(f"{track.line()}: runs aslant")
        holes = list(track.holes())
        for hole in holes:
            if not (0 <= hole[0] < placement.COLUMNS and 0 <= hole[1] < placement.ROWS) or hole in free:
                found.append(f"{track.line()}: {hole} is off the board or under a stand-off")
            if node_of.setdefault(hole, track.node) != track.node:
                found.append(f"{track.line()}: {hole} is {node_of[hole] or 'a pin that leads nowhere'}")
        for a, b in pairwise(holes):
            join(a, b)
    jumpers = Counter(hole for track in tracks if track.side == "jumper" for hole in track.holes())
    found += [f"{hole} has two jumpers or a leg and a jumper" for hole, count in jumpers.items()
              if count > 1 or hole in {leg for leg, _ in legs.values()}]  # fmt: skip
    by_node: dict[str, dict[str, Hole]] = {}
    for (ref, number), (hole, node) in legs.items():
        if node and placement.required(values, ref, number):
            by_node.setdefault(node, {})[f"{ref}.{number}"] = hole
    for node, holes in by_node.items():
        pieces = {frozenset(leg for leg, hole in holes.items() if hole in joined[start]) for start in holes.values()}
        wanted = {frozenset(piece) for piece in APART.get(node, (holes,))}
        if pieces != wanted:
            found.append(f"{node} is in pieces {_said(pieces)}; must be {_said(wanted)}")
    return found


def _said(pieces: set[frozenset[str]]) -> str:
    return " | ".join(sorted(" ".join(sorted(piece)) for piece in pieces))


def _shared(legs: dict[tuple[str, int], tuple[Hole, str]]) -> dict[Hole, list[str]]:
    at: dict[Hole, list[str]] = {}
    for (ref, number), (hole, _) in legs.items():
        at.setdefault(hole, []).append(f"{ref}.{number}")
    return {hole: names for hole, names in at.items() if len(names) > 1}


def _between(begin: Hole, end: Hole) -> Iterator[Hole]:
    steps = max(abs(end[0] - begin[0]), abs(end[1] - begin[1]))
    for step in range(steps + 1):
        yield (
            begin[0] + (end[0] - begin[0]) * step // max(steps, 1),
            begin[1] + (end[1] - begin[1]) * step // max(steps, 1),
        )
