"""Lays the perfboard's tracks from placement and values: writes hardware/tracks.txt.

Negotiated congestion: every node takes its cheapest way; a hole that two nodes want grows dearer each
round until one of them goes round it. Tracks run along the holes on the copper side; a jumper on the
parts' side goes over tracks, but not over parts, and is dear. (L. McMurchie and C. Ebeling, PathFinder,
FPGA 1995: the principle, from memory.)
"""

import heapq
import sys
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import bodies
import items as items_file
import placement
import tracks
from items import Item
from placement import COLUMNS, ROWS, Hole
from tracks import Track

from underdash.frontend import parts
from underdash.frontend.parts import Values

ROUNDS = 60
_JUMPER = 14.0  # either end of a jumper, in steps of a track
_BEND = 0.6
_LANDED = (2, 2)  # the way of a state that has just come down from a jumper
State = tuple[Hole, int]


def route(values: Values, items: dict[str, Item], rounds: int = ROUNDS) -> list[Track]:
    """Tracks that join what the file joins. ValueError if that fails in so many rounds."""
    legs = placement.legs(values, items)
    node_of = dict(legs.values())
    covered = {hole for shape in outlines(values, items).values() for hole in _holes() if shape.covers(hole)}
    covered |= set(node_of) | set(_leads(legs))
    nets = _nets(values, legs)
    history: dict[Hole, float] = {}
    ways: dict[str, list[list[State]]] = {}
    for turn in range(rounds):
        for net, (node, pieces) in nets.items():
            taken = _use(ways, but=net)
            price = {hole: 1 + history.get(hole, 0.0) + (1 + turn) * count for hole, count in taken.items()}
            ways[net] = _tree(node, pieces, node_of, covered, price, history)
        clash = [hole for hole, count in _use(ways).items() if count > 1]
        if not clash:
            return _as_tracks(nets, ways)
        for hole in clash:
            history[hole] = history.get(hole, 0.0) + 1.5
    raise ValueError(
        f"no way found in {rounds} rounds; still wanted by two: {sorted(clash)}; move parts in placement.py"
    )


def outlines(values: Values, items: dict[str, Item]) -> dict[str, bodies.Body]:
    """The outline of everything that stands on the perfboard, by designator."""
    holes: dict[str, list[Hole]] = {}
    for (ref, _), (hole, _) in placement.legs(values, items).items():
        holes.setdefault(ref, []).append(hole)
    found = {}
    for ref, at in holes.items():
        if ref in items:
            found[ref] = bodies.body(items[ref].what, at)
        elif values[ref].kind == "board":
            x, y = sum(h[0] for h in at) / len(at), sum(h[1] for h in at) / len(at)
            found[ref] = bodies.Body(x * bodies.PITCH, y * bodies.PITCH, 51.0, 21.0)
        else:
            found[ref] = bodies.body(values[ref].footprint, at, values[ref].get("farads"))
    return found


def _leads(legs: dict[tuple[str, int], tuple[Hole, str]]) -> Iterator[Hole]:
    """Holes under the bare leads of parts with two legs in a line."""
    for (ref, number), (end, _) in legs.items():
        if number == 2 and (ref, 3) not in legs:
            yield from Track("track", "", (legs[ref, 1][0], end)).holes()


def _holes() -> list[Hole]:
    return [(x, y) for x in range(COLUMNS) for y in range(ROWS)]


def _nets(values: Values, legs: dict[tuple[str, int], tuple[Hole, str]]) -> dict[str, tuple[str, list[set[Hole]]]]:
    """For each net its node and its pieces to be joined; smallest first."""
    by_node: dict[str, dict[str, Hole]] = {}
    for (ref, number), (hole, node) in legs.items():
        if node and placement.required(values, ref, number):
            by_node.setdefault(node, {})[f"{ref}.{number}"] = hole
    nets: dict[str, tuple[str, list[set[Hole]]]] = {}
    for node, names in by_node.items():
        for count, group in enumerate(tracks.APART.get(node, (tuple(names),))):
            pieces = [{names[name]} for name in group]
            if len(pieces) > 1:
                nets[f"{node}/{count}"] = (node, pieces)
    return dict(sorted(nets.items(), key=lambda item: len(item[1][1])))


def _use(ways: dict[str, list[list[State]]], but: str = "") -> dict[Hole, int]:
    """How many nets want each hole (on the copper side, or for a jumper's end)."""
    count: dict[Hole, int] = {}
    for net, paths in ways.items():
        if net != but:
            for hole in {hole for path in paths for hole, side in path if side == 0}:
                count[hole] = count.get(hole, 0) + 1
    return count


def _tree(
    node: str,
    pieces: list[set[Hole]],
    node_of: dict[Hole, str],
    covered: set[Hole],
    price: dict[Hole, float],
    history: dict[Hole, float],
) -> list[list[State]]:
    """Ways that join the pieces of a net, one after the other, each from what is joined already."""
    joined = set(pieces[0])
    left = [set(piece) for piece in pieces[1:]]
    ends = {hole for piece in pieces for hole in piece}
    free = placement.kept_free()
    paths: list[list[State]] = []
    ended: set[Hole] = set()
    while left:
        targets = {hole: piece for piece in left for hole in piece}
        heap: list[tuple[float, Hole, int, tuple[int, int]]] = [(0.0, hole, 0, (0, 0)) for hole in sorted(joined)]
        came: dict[tuple[Hole, int, tuple[int, int]], tuple[Hole, int, tuple[int, int]] | None] = {}
        best = {(hole, 0, (0, 0)): 0.0 for hole in joined}
        for _, hole, side, way in heap:
            came[hole, side, way] = None
        reached = None
        while heap:
            cost, hole, side, way = heapq.heappop(heap)
            here = (hole, side, way)
            if cost > best[here]:
                continue
            if side == 0 and hole in targets:
                reached = here
                break
            steps: list[tuple[Hole, int, tuple[int, int], float]] = []
            for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                to = (hole[0] + dx, hole[1] + dy)
                if not (0 <= to[0] < COLUMNS and 0 <= to[1] < ROWS):
                    continue
                bend = _BEND if way not in ((0, 0), (dx, dy)) else 0.0
                if side == 0:
                    if to in free or node_of.get(to, node) != node:
                        continue
                    steps.append((to, 0, (dx, dy), price.get(to, 1 + history.get(to, 0.0)) + bend))
                elif way in ((0, 0), (dx, dy)) and to not in covered and to not in free:
                    steps.append((to, 1, (dx, dy), 0.9))
            # A jumper ends in holes of its own: no leg, no second jumper, nothing above.
            if hole not in ends and hole not in node_of and hole not in covered and hole not in ended:
                if side == 0 and hole not in joined and way != _LANDED:
                    steps.append((hole, 1, (0, 0), _JUMPER))
                elif side == 1 and way != (0, 0) and hole not in free:
                    steps.append((hole, 0, _LANDED, _JUMPER + price.get(hole, 1 + history.get(hole, 0.0))))
            for to, layer, toward, more in steps:
                key = (to, layer, toward)
                if cost + more < best.get(key, 1e9) - 1e-9:
                    best[key] = cost + more
                    came[key] = here
                    heapq.heappush(heap, (cost + more, to, layer, toward))
        if reached is None:
            raise ValueError(f"{node}: no way to {sorted(targets)}; move parts in placement.py")
        path: list[State] = []
        at: tuple[Hole, int, tuple[int, int]] | None = reached
        while at is not None:
            path.append((at[0], at[1]))
            at = came[at]
        path.reverse()
        paths.append(path)
        for (a, side_a), (b, side_b) in pairwise(path):
            if a == b and side_a != side_b:
                ended.add(a)
        joined |= {hole for hole, side in path if side == 0} | targets[reached[0]]
        left = [piece for piece in left if piece is not targets[reached[0]]]
    return paths


def _as_tracks(nets: dict[str, tuple[str, list[set[Hole]]]], ways: dict[str, list[list[State]]]) -> list[Track]:
    found = []
    for net, paths in sorted(ways.items()):
        node = nets[net][0]
        for path in paths:
            run: list[Hole] = [path[0][0]]
            side = path[0][1]
            for hole, layer in path[1:]:
                if layer != side:
                    if len(run) > 1:
                        found.append(Track("jumper" if side else "track", node, _corners(run)))
                    run, side = [hole], layer
                else:
                    run.append(hole)
            if len(run) > 1:
                found.append(Track("jumper" if side else "track", node, _corners(run)))
    return found


def _corners(run: list[Hole]) -> tuple[Hole, ...]:
    kept = [run[0]]
    for before, here, after in zip(run, run[1:], run[2:], strict=False):
        if (here[0] - before[0], here[1] - before[1]) != (after[0] - here[0], after[1] - here[1]):
            kept.append(here)
    return (*kept, run[-1])


def main() -> int:
    here = Path(__file__).resolve().parent
    values = parts.load(here / "values.toml")
    items = items_file.load(values)
    laid = route(values, items)
    if wrong := tracks.mistakes(values, items, laid):
        print("\n".join(wrong), file=sys.stderr)
        return 1
    head = "# The perfboard's wires; see tracks.py. Laid by router.py from placement.py and values.toml.\n"
    (here / "tracks.txt").write_text(head + "".join(track.line() + "\n" for track in laid))
    print(f"{len(laid)} wires, {sum(track.side == 'jumper' for track in laid)} of them jumpers")
    return 0


if __name__ == "__main__":
    sys.exit(main())
