"""The car from above: where to tap, what to fuse, how to route and hide. A plain outline of no car in particular."""

import valuetext
from items import Item
from picture import Picture, Point

from underdash.frontend.parts import Values

_LOOM = 25.0  # the loom's way along the wing
_BULKHEAD = 134.0


def draw(values: Values, items: dict[str, Item]) -> Picture:
    picture = Picture(262, 206, "The car")
    picture.text("In the car, seen from above: tap, fuse, route, hide", (6, 8), 4.2, bold=True)
    picture.polygon((16, 18), (120, 14), (236, 14), (252, 20), (252, 120), (236, 126), (120, 126), (16, 122), (10, 110),
                    (10, 28), fill="#fcfcfc", width=0.8)  # fmt: skip
    picture.text("engine compartment", (88, 20), 3.2, "middle")
    picture.text("cabin", (222, 22), 3.2, "middle")
    picture.line((_BULKHEAD, 14), (_BULKHEAD, 126), width=1.4)
    picture.text("bulkhead", (_BULKHEAD - 1.6, 118), 2.8, turn=-90)
    _hazards(picture)
    _cabin(picture)
    _loom(picture)
    _battery(picture, values)
    _notes(picture, values, items)
    return picture


def _hatched(picture: Picture, left: float, top: float, width: float, height: float, words: str) -> None:
    """An area to keep away from: hatched, so it shows without colour."""
    picture.box(left, top, width, height, fill="white", line=0.4)
    step = 3.0
    for number in range(1, int((width + height) / step) + 1):
        along = number * step
        begin = (left + min(along, width), top + max(0.0, along - width))
        end = (left + max(0.0, along - height), top + min(along, height))
        picture.line(begin, end, stroke="#999999", width=0.2)
    lines = words.split("\n")
    for row, line in enumerate(lines):
        at = (left + width / 2, top + height / 2 + 1 + (row - 0.5 * (len(lines) - 1)) * 3.6)
        picture.text(line, at, 2.6, "middle", halo=True)


def _hazards(picture: Picture) -> None:
    picture.box(56, 64, 62, 36, fill="#f2f2f2", line=0.5)
    picture.text("engine", (93, 72), 3.4, "middle")
    _hatched(picture, 68, 80, 48, 12, "ignition leads: keep away,\ncross at right angles")
    _hatched(picture, 58, 102, 60, 14, "HOT: exhaust. 15 cm away,\nno plastic tie near it")
    _hatched(picture, 15, 76, 22, 34, "MOVING:\nfan, belts")
    picture.circle((50, 90), 6, fill="white", width=0.5)
    picture.text("alter-\nnator", (50, 89.6), 2.2, "middle")


def _battery(picture: Picture, values: Values) -> None:
    # The ground cable, thick, with the clamp around it.
    picture.line((26, 42), (26, 68), (56, 68), width=1.6)
    picture.circle((56, 68), 1.3, fill="black")
    picture.text("engine ground", (58, 69), 2.4)
    picture.line((54, 42), (74, 42), (74, 64), width=1.6)
    picture.text("to starter and main stud", (76, 50), 2.4)
    picture.box(20, 34, 40, 16, fill="white", line=0.6)
    picture.text("battery", (40, 46.5), 2.8, "middle")
    for x, sign in ((26, "–"), (54, "+")):
        picture.circle((x, 42), 2.0, fill="white", width=0.4)
        picture.text(sign, (x, 43.2), 3.4, "middle", bold=True)
    # Tap and fuse.
    picture.line((54, 40), (54, 32), width=0.7)
    picture.box(48.4, 27.6, 11.2, 4.4, fill="white", line=0.5)
    picture.text(f"F1 {valuetext.value(values['F1'])}", (54, 30.7), 2.2, "middle", bold=True)
    picture.line((54, 27.6), (54, _LOOM), width=0.7)
    picture.line((26, 40), (26, _LOOM), width=0.7)
    # The clamp: a ring, and the arrow that is printed on it.
    picture.box(20.5, 56, 11, 6, fill="white", line=0.7)
    picture.text("A2", (29, 60), 2.4, "middle", bold=True)
    picture.line((24, 56.8), (24, 61.6), width=0.4, arrow=True)
    picture.line((20.5, 59), (15, 59), (15, _LOOM), width=0.7)
    picture.line((39, 56), (39, 64.5), width=0.6, arrow=True)
    picture.text("charging current:\nout of the – post", (41, 58), 2.3)
    for number, at in ((1, (47.5, 38.5)), (2, (63.4, 30)), (3, (29.5, 31)), (4, (35, 59))):
        _badge(picture, number, at)


def _loom(picture: Picture) -> None:
    y = _LOOM
    loop = ((_BULKHEAD - 12, y), (_BULKHEAD - 8, y + 5), (_BULKHEAD - 3, y + 5), (_BULKHEAD, y + 1))
    picture.line((15, y), *loop, (148, y + 1), (148, 34), width=1.3)
    for x in (72, 92, 112):
        picture.line((x, y - 1.6), (x, y + 1.6), width=0.6)
    picture.circle((_BULKHEAD, y + 1), 2.4, fill="white", width=0.9)
    picture.text("ties each 30 cm", (76, y + 4.8), 2.3)
    picture.text("drip loop", (_BULKHEAD - 10, y + 9.2), 2.3, "middle")
    _badge(picture, 5, (104, y + 5.4))
    _badge(picture, 6, (_BULKHEAD + 6, y - 3.8))


def _cabin(picture: Picture) -> None:
    picture.polygon((138, 20), (176, 20), (182, 40), (182, 100), (176, 120), (138, 120), fill="#f2f2f2", width=0.5)
    picture.text("behind the dash", (174, 72), 2.8, "middle", turn=-90)
    picture.box(142, 34, 28, 18, fill="white", line=0.7)
    picture.text("board in its box", (156, 44), 2.6, "middle", bold=True)
    _badge(picture, 7, (165.5, 38))
    picture.box(142, 84, 22, 16, fill="white", line=0.5)
    picture.text("the car's\nfuse box", (153, 91), 2.4, "middle")
    for x, holder, number in ((146, "H2", 8), (158, "H3", 9)):
        picture.line((x, 84), (x, 52), width=0.7)
        picture.box(x - 3.4, 72, 6.8, 4.6, fill="white", line=0.5)
        picture.text(holder, (x, 75.3), 2.4, "middle", bold=True)
        _badge(picture, number, (x + 4.4, 67))
    picture.line((170, 43), (186, 43), (186, 62), width=0.7)
    picture.box(183, 62, 7, 16, fill="white", line=0.5)
    picture.text("display", (192, 68), 2.5)
    picture.text("A4", (186.5, 71), 2.4, "middle", bold=True)
    picture.line((170, 48), (178, 48), (178, 86), (183, 86), width=0.7)
    picture.circle((186.5, 86), 2.6, fill="white", width=0.5)
    picture.circle((186.5, 86), 1.2, fill="white", width=0.4)
    picture.circle((186.5, 93.5), 1.8, fill="white", width=0.5)
    picture.line((185.3, 92.3), (187.7, 94.7), width=0.3)
    picture.line((185.3, 94.7), (187.7, 92.3), width=0.3)
    picture.line((178, 86), (178, 93.5), (184.7, 93.5), width=0.7)
    picture.text("button S1", (191, 87), 2.5)
    picture.text("lamp D14", (191, 94.4), 2.5)
    _badge(picture, 10, (194, 77))


def _notes(picture: Picture, values: Values, items: dict[str, Item]) -> None:
    inches = items["W1"].metres * 100
    notes = (
        ("Tap: the battery's positive clamp bolt or the main stud.",
         "A ring terminal of its own, never under another's nut."),
        ("F1 with its holder, at most 18 cm of wire from the tap",
         f"(W1 is {inches:g} cm). Supply and sense leads start behind it."),
        ("Grounds W3 and W5: the battery's negative clamp bolt.",
         "Not the body: the ground cable's drop would be measured too."),
        ("Clamp A2 around the whole ground cable, all strands and",
         "side cables, arrow the way charging current flows."),
        ("Loom in sleeve along the wing, tied each 30 cm, with slack",
         "where the engine moves, clear of what is hatched."),
        ("Grommet in the bulkhead; a loop below it lets water drip", "off. Strain relief on both sides."),
        ("Box where air can pass: R1 runs hot in a fault. Fixed,",
         "not hanging, away from pedals, column and air bags."),
        ("Key: a fused circuit that is live with the key on;", "H2 within 18 cm of where it is tapped."),
        ("Panel lamps: their feed behind the dimmer; H3 likewise.", "Both, 8 and 9, may be left out."),
        ("Display, button, lamp: leads of their own to the board.", "Their ground is the board's, never the body."),
    )  # fmt: skip
    for number, words in enumerate(notes, 1):
        x, y = (8, 134 + (number - 1) * 11) if number <= 5 else (140, 134 + (number - 6) * 11)
        _badge(picture, number, (x, y))
        picture.text("\n".join(words), (x + 4.5, y + 0.2), 2.75)
    caution = "Ground lead off first, on last. Batteries give off gas that burns: no sparks."
    picture.text(f"{caution} Local codes and licensed practice come before this picture.", (6, 194), 2.9, bold=True)
    boot = "Battery in the boot: the same, with the fuse at that end and the loom inside the sill,"
    picture.text(f"{boot} not with the fuel line.", (6, 200), 2.9)


def _badge(picture: Picture, number: int, at: Point) -> None:
    picture.circle(at, 2.5, fill="black", width=0.2)
    picture.text(str(number), (at[0], at[1] + 1.15), 3.2, "middle", bold=True, fill="white")
