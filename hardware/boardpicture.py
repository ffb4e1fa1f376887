"""The perfboard, seen from the parts' side and from the copper side."""

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
    for ref, body in bodies.items():
        _words(picture, values, items, ref, body, at[ref])
    y = _TOP + _HEIGHT + _BETWEEN
    picture.text("Copper side: the board turned over, left and right are swapped. Bare wires and their nodes",
                 (_LEFT - 2, y - 9), 3.0, bold=True)  # fmt: skip
    _panel(picture, legs, tracks, _lower, strong=True)
    _legs_named(picture, legs)
    _nodes_named(picture, tracks)
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
                near = {1: 1, 36: 35}[max(1, min(y, 36))] if not strong else None
                if any(hole == (x, near) for hole, _ in legs.values()):
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


def _words(picture: Picture, values: Values, items: dict[str, Item], ref: str, body: Body, holes: list[Hole]) -> None:
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
    elif part.kind == "resistor":
        _beside(picture, ref, (x, y), 0.0, upright, 1.6)
        _beside(picture, value + option, (x, y), across / 2 + 1.0, upright, 1.35)
    elif part.kind == "capacitor":
        _beside(picture, ref, (x, y), 0.0, upright, 1.25)
        if upright:
            _beside(picture, value + option, (x, y), across / 2 + 1.0, upright, 1.35)
        else:
            picture.text(value + option, (x + body.width / 2 + 0.6, y + 0.5), 1.35, halo=True)
    else:
        # Too small for words.
        _beside(picture, " ".join(f"{ref} {value}{option}".split()), (x, y), across / 2 + 1.1, upright, 1.4)


def _beside(picture: Picture, words: str, at: Point, away: float, upright: bool, size: float) -> None:
    """Words along a part, so far to its right or below it."""
    if upright:
        picture.text(words, (at[0] + away + size * 0.36, at[1]), size, "middle", turn=-90, halo=away > 0)
    else:
        picture.text(words, (at[0], at[1] + away + size * 0.36), size, "middle", halo=away > 0)


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
    picture.box(x + body.width / 2 - 5.5, y - 4, 7, 8, fill="#eeeeee")
    picture.text("USB", (x + body.width / 2 - 2, y + 0.7), 2.0, "middle")
    picture.text("A1: RP2040 board, in sockets", (x - 4, y + 1), 2.4, "middle", bold=True)
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
            picture.text(words, (leg[0] + 0.6, leg[1] + 3.2), 1.4, "end", turn=-90)


def _legs_named(picture: Picture, legs: dict[tuple[str, int], tuple[Hole, str]]) -> None:
    for (ref, number), (hole, node) in legs.items():
        at = _lower(hole)
        picture.circle(at, 0.55, fill="black" if node else "#dddddd", width=0.2)
        if node:
            words = f"{number}" if ref == "A1" else f"{ref}.{number}"
            picture.text(words, (at[0] + 0.5, at[1] - 0.75), 1.05, halo=True)


def _nodes_named(picture: Picture, tracks: list[Track]) -> None:
    """Each node's name once, along its longest straight run on the copper side."""
    longest: dict[str, tuple[float, Hole, Hole]] = {}
    for track in tracks:
        if track.side == "track":
            for a, b in zip(track.corners, track.corners[1:], strict=False):
                # A level run reads better than an upright one.
                length = abs(a[0] - b[0]) + abs(a[1] - b[1]) * 0.6
                if length > longest.get(track.node, (0.0,))[0]:
                    longest[track.node] = (length, a, b)
    for node, (_, a, b) in sorted(longest.items()):
        (x0, y0), (x1, y1) = _lower(a), _lower(b)
        upright = x0 == x1
        at = ((x0 + x1) / 2 + (1.8 if upright else 0), (y0 + y1) / 2 + (0 if upright else 1.8))
        picture.text(node, at, 1.6, "middle", bold=True, turn=-90 if upright else 0, halo=True)
