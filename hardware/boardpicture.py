"""The perfboard, seen from the parts' side and from the copper side."""

from collections.abc import Iterator
from itertools import pairwise

import boardpins
import placement
import router
import tracks as tracks_file
import valuetext
from bodies import PITCH, Body
from items import Item
from picture import Picture, Point
from placement import COLUMNS, ROWS, Hole
from tracks import Track

from underdash.frontend.parts import Values

_LEFT, _TOP, _BETWEEN = 12.0, 24.0, 30.0
_HEIGHT = (ROWS - 1) * PITCH
# Parts with a neighbour close to their right.
_LABEL_LEFT = ("C1", "D4")
_SHORT = {"U1": ("in", "gnd", "out"), "Q1": ("c", "b", "e"), "U3": ("k", "a", "r"), "A3": ("+", "–")}


def draw(values: Values, items: dict[str, Item], tracks: list[Track]) -> Picture:
    """ValueError, a line for each mistake, if the tracks do not join what the file joins."""
    if wrong := tracks_file.mistakes(values, items, tracks):
        raise ValueError("\n".join(wrong))
    picture = Picture(2 * _LEFT + (COLUMNS - 1) * PITCH, _TOP + 2 * _HEIGHT + _BETWEEN + 8, "The perfboard")
    picture.text("Parts' side. Grey lines: wires on the other side; hatched lines: jumpers on this side",
                 (_LEFT - 2, 5), 3.0, bold=True)  # fmt: skip
    picture.text("Columns and rows count holes, 2.54 mm apart. A band marks a cathode, + a positive leg, a filled leg"
                 " the first of its part.", (_LEFT - 2, 9), 2.3)  # fmt: skip
    legs = placement.legs(values, items)
    _panel(picture, legs, tracks, _upper, strong=False)
    bodies = router.outlines(values, items)
    at = {ref: [hole for (name, _), (hole, _) in legs.items() if name == ref] for ref in bodies}
    for ref, body in bodies.items():
        _part(picture, values, ref, body, at[ref])
    for track in tracks:
        if track.side == "jumper":
            _jumper(picture, [_upper(hole) for hole in track.corners], track.node)
    jumpers = [hole for track in tracks if track.side == "jumper" for hole in track.holes()]
    for ref, body in bodies.items():
        _words(picture, values, items, ref, body, at[ref], jumpers)
    y = _TOP + _HEIGHT + _BETWEEN
    picture.text("Copper side: the board turned over, left and right are swapped. Bare wires and their nodes",
                 (_LEFT - 2, y - 9), 3.0, bold=True)  # fmt: skip
    _panel(picture, legs, tracks, _lower, strong=True)
    _nodes_named(picture, tracks, _legs_named(picture, legs))
    return picture


def _upper(hole: Hole) -> Point:
    return _LEFT + hole[0] * PITCH, _TOP + hole[1] * PITCH


def _lower(hole: Hole) -> Point:
    return _LEFT + (COLUMNS - 1 - hole[0]) * PITCH, _TOP + _HEIGHT + _BETWEEN + hole[1] * PITCH


def _panel(
    picture: Picture, legs: dict[tuple[str, int], tuple[Hole, str]], tracks: list[Track], place, strong: bool
) -> None:  # type: ignore[no-untyped-def]
    left, top = min(place((0, 0))[0], place((COLUMNS - 1, 0))[0]), place((0, 0))[1]
    picture.box(left - 2.5, top - 2.5, (COLUMNS - 1) * PITCH + 5, _HEIGHT + 5, fill="#fbf8f0", line=0.4)
    for x in range(COLUMNS):
        if x % 5 == 0:
            for y in (-1, ROWS):
                if not strong and y < 0 and any(hole == (x, 1) for hole, _ in legs.values()):
                    continue  # a connector's words are there
                at = place((x, y))
                picture.text(str(x), (at[0], at[1] + (0.2 if y < 0 else 1.6)), 1.7, "middle", fill="#444444")
        for y in range(ROWS):
            picture.circle(place((x, y)), 0.45, fill="white", stroke="#c8c0b0", width=0.12)
    for y in range(0, ROWS, 5):
        for x, side in ((-1, -1.2), (COLUMNS, 1.2)):
            at = place((x, y))
            shift = side if place((1, 0))[0] > place((0, 0))[0] else -side
            picture.text(str(y), (at[0] + shift, at[1] + 0.6), 1.7, "middle", fill="#444444")
    for track in tracks:
        points = [place(hole) for hole in track.corners]
        if track.side == "track":
            picture.line(*points, stroke="#555555" if strong else "#b0b0b0", width=0.9 if strong else 0.7)
    for hole in placement.MOUNTING:
        picture.circle(place(hole), 1.7, fill="white", stroke="black", width=0.3)
        picture.text("screw", (place(hole)[0], place(hole)[1] + 0.4), 1.0, "middle")
    for (_, _), (hole, node) in legs.items():
        picture.circle(place(hole), 0.6, fill="white" if node else "#dddddd", stroke="black", width=0.25)


def _jumper(picture: Picture, points: list[Point], node: str) -> None:
    picture.line(*points, stroke="black", width=1.1)
    picture.line(*points, stroke="white", width=0.6, dash=(1.0, 1.0))
    for point in (points[0], points[-1]):
        picture.circle(point, 0.6, fill="white", width=0.25)
    if points[0][0] == points[-1][0]:
        low = max(points, key=lambda point: point[1])
        picture.text(f"jumper {node}", (low[0] - 1.0, low[1] + 0.5), 1.4, "end", halo=True)
    else:
        first = min(points)
        picture.text(f"jumper {node}", (first[0] + 1.0, first[1] + 2.0), 1.4, halo=True)


def _part(picture: Picture, values: Values, ref: str, body: Body, holes: list[Hole]) -> None:
    """Outline and legs."""
    x, y = _LEFT + body.x, _TOP + body.y
    legs = [_upper(hole) for hole in holes]
    board = ref in values.parts and values[ref].kind == "board"
    if not board and len(legs) == 2:
        picture.line(*legs, stroke="black", width=0.35)
    if body.circle:
        picture.circle((x, y), body.width / 2, fill="white", width=0.35)
    else:
        picture.box(x - body.width / 2, y - body.height / 2, body.width, body.height, fill="white", line=0.35)
    if board:
        _board(picture, x, y, body)
    for number, leg in enumerate(legs):
        picture.circle(leg, 0.55, fill="black" if number == 0 and not board else "white", width=0.25)


def _words(
    picture: Picture, values: Values, items: dict[str, Item], ref: str, body: Body, holes: list[Hole],
    jumpers: list[Hole],
) -> None:  # fmt: skip
    """Names, values and polarity, over all the outlines."""
    x, y = _LEFT + body.x, _TOP + body.y
    legs = [_upper(hole) for hole in holes]
    if ref in items:
        _connector(picture, items[ref], legs, x, y, body)
        return
    part = values[ref]
    if part.kind == "board":
        return
    upright = abs(legs[-1][1] - legs[0][1]) > abs(legs[-1][0] - legs[0][0])
    _marks(picture, ref, part.kind, part.get("reverse_volts") > 0, legs, x, y, body, upright)
    option = f" ({part.option})" if part.option and part.option not in values.fitted else ""
    value = valuetext.short(part) if part.kind in ("regulator", "tvs", "shunt") else valuetext.value(part)
    across = body.width if upright else body.height
    if body.circle and upright:
        # Legs above and below the middle: the name between them if there is room, or below a small can.
        between = body.width > 14
        picture.text(ref, (x, y - 0.3) if between else (x - 0.6, y + body.width / 2 + 1.9), 1.7, "middle", halo=True)
        below = (x, y + 1.8) if between else (x - 0.6, y + body.width / 2 + 3.8)
        picture.text(value, below, 1.5, "middle", halo=True)
    elif len(legs) == 3 and body.width > 8:
        picture.text(f"{ref} {value}, on its cooler", (x, y - 2.5), 1.7, "middle")
    elif min(body.width, body.height) > 8:
        picture.text("\n".join([ref, *value.replace(" V ", " V\n").split("\n")]), (x, y - 1.2), 1.9, "middle")
    elif part.kind == "resistor" and upright and any(
        hole[0] - 1 == holes[0][0] and min(h[1] for h in holes) < hole[1] < max(h[1] for h in holes)
        for hole in jumpers
    ):  # fmt: skip
        # A jumper lies where the value would stand.
        _beside(picture, f"{ref} {value}{option}", (x, y), 0.0, upright, 1.2)
    elif part.kind == "resistor":
        _beside(picture, ref, (x, y), 0.0, upright, 1.6)
        _beside(picture, value + option, (x, y), across / 2 + 1.0, upright, 1.35)
    elif part.kind == "capacitor":
        _beside(picture, ref, (x, y), 0.0, upright, 1.25)
        if upright:
            away = -(across / 2 + 1.3) if ref in _LABEL_LEFT else across / 2 + 1.0
            _beside(picture, value + option, (x, y), away, upright, 1.35)
        else:
            picture.text(value + option, (x + body.width / 2 + 0.6, y + 0.5), 1.35, halo=True)
    else:
        # Too small for words.
        away = -(across / 2 + 1.4) if ref in _LABEL_LEFT else across / 2 + 1.1
        _beside(picture, " ".join(f"{ref} {value}{option}".split()), (x, y), away, upright, 1.4)


def _beside(picture: Picture, words: str, at: Point, away: float, upright: bool, size: float) -> None:
    """Words along a part, so far to its right or below it."""
    if upright:
        picture.text(words, (at[0] + away + size * 0.36, at[1]), size, "middle", turn=-90, halo=away != 0)
    else:
        picture.text(words, (at[0], at[1] + away + size * 0.36), size, "middle", halo=away != 0)


def _marks(
    picture: Picture, ref: str, kind: str, polar: bool, legs: list[Point], x: float, y: float, body: Body, upright: bool
) -> None:
    """Band at the cathode, + at the positive leg, names of legs where there are three."""
    if kind in ("tvs", "reference", "schottky", "diode") and ref != "U2":
        cathode = legs[0] if kind == "tvs" else legs[1]
        if upright:
            end = y + (body.height / 2 - 0.8) * (1 if cathode[1] > y else -1)
            picture.line((x - body.width / 2, end), (x + body.width / 2, end), width=0.7)
        else:
            end = x + (body.width / 2 - 0.8) * (1 if cathode[0] > x else -1)
            picture.line((end, y - body.height / 2), (end, y + body.height / 2), width=0.7)
    if polar:
        picture.text("+", (legs[0][0] - 1.6, legs[0][1] + 0.7), 2.2, "middle", bold=True)
    for leg, name in zip(legs, _SHORT.get(ref, ()), strict=False):
        if upright:
            picture.text(name, (leg[0] - 1.3, leg[1] + 0.5), 1.3, "middle")
        else:
            picture.text(name, (leg[0], leg[1] + 2.0), 1.2, "middle")


def _board(picture: Picture, x: float, y: float, body: Body) -> None:
    picture.box(x + body.width / 2 - 0.3, y - 3.8, 3.4, 7.6, fill="#eeeeee")
    picture.text("USB", (x + body.width / 2 + 2.1, y), 1.9, "middle", turn=-90)
    picture.text("A1: RP2040 board, in sockets", (x - 5, y + 0.9), 2.2, "middle", bold=True)
    for number in range(1, 41):
        at = _upper(placement.pin_hole(number))
        upper = number <= 20
        words = f"{number} {boardpins.printed(number)}" if upper else f"{boardpins.printed(number)} {number}"
        place = (at[0] + 0.5, at[1] + 1.2) if upper else (at[0] + 0.5, at[1] - 1.2)
        picture.text(words, (place[0], place[1] + (0.2 if upper else -0.2)), 1.3, "end" if upper else "start", turn=-90)


def _connector(picture: Picture, item: Item, legs: list[Point], x: float, y: float, body: Body) -> None:
    for way, (leg, node) in enumerate(zip(legs, item.nodes, strict=True), 1):
        words = f"{item.ref}.{way} {node}"
        if body.height > body.width:
            picture.text(words, (leg[0] + 1.2, leg[1] + 0.6), 1.5, halo=True)
        elif y < _TOP + _HEIGHT / 2:
            picture.text(words, (leg[0] + 0.6, leg[1] - 3.6), 1.4, turn=-90)
        else:
            # A list beside it, on the side of the board's middle.
            side = 1 if x < _LEFT + (COLUMNS - 1) * PITCH / 2 else -1
            place = (x + side * (body.width / 2 + 0.8), leg[1] - 1.0 + 1.9 * (way - 1))
            picture.text(words, place, 1.4, "start" if side > 0 else "end", halo=True)


_Box = tuple[float, float, float, float]


def _room(words: str, at: Point, size: float, anchor: str = "start", upright: bool = False) -> _Box:
    """What words cover: left, top, right, bottom; as wide as bold letters are, about."""
    length = len(words) * size * 0.68
    back = {"start": 0.0, "middle": length / 2, "end": length}[anchor]
    if upright:
        return at[0] - size * 0.8, at[1] - length + back, at[0] + size * 0.2, at[1] + back
    return at[0] - back, at[1] - size * 0.8, at[0] - back + length, at[1] + size * 0.2


def _wider(box: _Box, by: float) -> _Box:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def _overlap(a: _Box, b: _Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _legs_named(picture: Picture, legs: dict[tuple[str, int], tuple[Hole, str]]) -> list[_Box]:
    """Each leg with its name; returns what legs and names cover."""
    covered = []
    for (ref, number), (hole, node) in legs.items():
        at = _lower(hole)
        picture.circle(at, 0.55, fill="black" if node else "#dddddd", width=0.2)
        covered.append((at[0] - 0.6, at[1] - 0.6, at[0] + 0.6, at[1] + 0.6))
        if node:
            words, place = f"{number}" if ref == "A1" else f"{ref}.{number}", (at[0] + 0.4, at[1] - 0.75)
            picture.text(words, place, 0.92, halo=True)
            covered.append(_room(words, place, 0.92))
    return covered


def _nodes_named(picture: Picture, tracks: list[Track], covered: list[_Box]) -> None:
    """Each node's name once, beside a straight run on the copper side: the longest where it covers nothing."""
    runs: dict[str, list[tuple[Point, Point]]] = {}
    for track in tracks:
        if track.side == "track":
            points = [_lower(hole) for hole in track.corners]
            runs.setdefault(track.node, []).extend(pairwise(points))
    wires = [
        (node, (min(a[0], b[0]) - 0.5, min(a[1], b[1]) - 0.5, max(a[0], b[0]) + 0.5, max(a[1], b[1]) + 0.5))
        for node, found in runs.items()
        for a, b in found
    ]
    for node, found in sorted(runs.items(), key=lambda each: sum(map(_length, each[1]))):
        best: tuple[float, Point, float, str, bool, _Box] | None = None
        for a, b in found:
            for at, size, anchor, upright, dear in _beside_run(a, b):
                room = _room(node, at, size, anchor, upright)
                cost = dear + 20.0 * sum(_overlap(room, box) for box in covered)
                cost += 3.0 * sum(_overlap(room, box) for _, box in wires)
                # Close to another's wire it would be read as that one's.
                cost += 2.0 * sum(_overlap(_wider(room, 1.0), box) for name, box in wires if name != node)
                # The longer the run, the plainer whose name it is.
                cost -= min(_length((a, b)), 40.0) * 0.05
                if best is None or cost < best[0]:
                    best = (cost, at, size, anchor, upright, room)
        if best:
            _, at, size, anchor, upright, room = best
            covered.append(room)
            picture.text(node, at, size, anchor, bold=True, turn=-90 if upright else 0, halo=True)


def _beside_run(a: Point, b: Point) -> Iterator[tuple[Point, float, str, bool, float]]:
    """Where a run's name may stand: place, size, anchor, whether upright, and how little that place is liked."""
    for size, small in ((1.6, 0.0), (1.2, 4.0)):
        for share in (0.5, 0.35, 0.65, 0.2, 0.8, 0.0, 1.0):
            x, y = a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share
            dear = small + abs(share - 0.5)
            if a[1] == b[1]:
                yield (x, y - 0.85), size, "middle", False, dear
                yield (x, y + 1.95), size, "middle", False, dear
            else:
                for away, far in ((1.95, 0.0), (-0.85, 0.0), (4.2, 4.0), (-3.2, 4.0)):
                    yield (x + away, y), size, "middle", True, dear + 2.0 + far
                yield (x + 0.9, y + size * 0.35), size, "start", False, dear + 1.0
                yield (x - 0.9, y + size * 0.35), size, "end", False, dear + 1.0


def _length(run: tuple[Point, Point]) -> float:
    (x0, y0), (x1, y1) = run
    return abs(x0 - x1) + abs(y0 - y1)
