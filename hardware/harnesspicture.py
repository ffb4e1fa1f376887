"""The loom: connectors, leads by function, size, length and insulation, the twisted pair, the fuses."""

import items as items_file
import valuetext
from items import Item
from picture import Picture, Point

from underdash.frontend.parts import Values

_BOARD = (124.0, 18.0, 62.0, 134.0)
_STEP = 11.0


def draw(values: Values, items: dict[str, Item]) -> Picture:
    """ValueError, a line for each mistake, if the loom does not join what the file says."""
    if wrong := items_file.mistakes(values, items):
        raise ValueError("\n".join(wrong))
    picture = Picture(300, 172, "The loom")
    picture.text("The loom: every lead by what it does. Lengths are proposals: measure the car", (6, 8), 4.0, bold=True)
    left, top, width, height = _BOARD
    picture.box(left, top, width, height, fill="#fbf8f0", line=0.6)
    picture.text("perfboard\nin its box", (left + width / 2 - 4, top + 56), 3.4, "middle", bold=True)
    ways: dict[str, Point] = {}
    for ref, side, y in (("J1", "left", 30.0), ("J3", "left", 118.0), ("J2", "right", 24.0), ("J4", "right", 66.0),
                         ("J5", "right", 116.0)):  # fmt: skip
        ways |= _connector(picture, items[ref], side, y)
    _supply(picture, values, items, ways)
    _senses(picture, items, ways)
    for ref, y in (("W8", 24.0), ("W9", 66.0), ("W10", 116.0)):
        _cable(picture, values, items[ref], ways, y)
    picture.text(
        "Holders with their fuses stand where a lead is tapped. No lead's ground goes to the body.", (6, 162), 2.9
    )
    joints = "Crimp, then seal each joint with adhesive-lined heat-shrink."
    picture.text(f"{joints} Label both ends of each lead with its W number.", (6, 167), 2.9)
    return picture


def _connector(picture: Picture, item: Item, side: str, y: float) -> dict[str, Point]:
    left, _, width, _ = _BOARD
    x = left - 2 if side == "left" else left + width - 12
    step = _STEP
    picture.box(x, y - 5, 14, step * (len(item.nodes) - 1) + 10, fill="white", line=0.5)
    picture.text(item.ref, (x + 7, y - 6.2), 3.2, "middle", bold=True)
    found = {}
    for number, node in enumerate(item.nodes):
        at = (x if side == "left" else x + 14, y + number * step)
        picture.circle((x + (3 if side == "left" else 11), at[1]), 1.0, fill="white")
        picture.text(str(number + 1), (x + (7 if side == "left" else 6), at[1] + 1), 2.8, "middle")
        words = (x + 15.2, at[1] + 1) if side == "left" else (x - 1.2, at[1] + 1)
        picture.text(node, words, 2.4, "start" if side == "left" else "end")
        found[f"{item.ref}.{number + 1}"] = at
    return found


def size(item: Item) -> str:
    """AWG with its cross-section, length and insulation class."""
    return f"AWG {item.awg} ({item.square_mm:.2f} mm²), {item.metres:g} m, {item.insulation_c:g} C"


def _lead(picture: Picture, item: Item, begin: Point, end: Point, words: Point) -> None:
    picture.line(begin, end, width=0.55)
    name = item.what.split(",")[0]
    picture.text(f"{item.ref} {name}", words, 2.5, bold=True, halo=True)
    picture.text(size(item), (words[0], words[1] + 4.6), 2.2, halo=True)


def _supply(picture: Picture, values: Values, items: dict[str, Item], ways: dict[str, Point]) -> None:
    """Battery, tap, fuse; supply and sense leads from the fuse's outlet, both grounds from the negative."""
    fuse = values["F1"]
    out = (57.0, 30.0)
    picture.box(4, 24, 12, 12, fill="white", line=0.5)
    picture.text("+", (10, 32.5), 6, "middle", bold=True)
    picture.text("battery, or\nmain stud", (4, 40), 2.4)
    picture.line((16, 30), (40, 30), width=0.55)
    picture.text("W1", (28, 29), 2.5, "middle", bold=True)
    picture.text(f"{items['W1'].metres * 100:g} cm, unfused", (28, 34), 2.2, "middle")
    picture.box(40, 26.5, 13, 7, fill="white", line=0.5)
    picture.text(f"F1 {valuetext.value(fuse)}", (46.5, 31), 2.6, "middle", bold=True)
    picture.text("H1 holder", (46.5, 25.3), 2.4, "middle")
    picture.line((53, 30), out, width=0.55)
    picture.circle(out, 0.9, fill="black")
    picture.text("fuse's outlet", (56, 26.5), 2.2)
    _lead(picture, items["W2"], out, ways["J1.1"], (76, 28.8))
    picture.box(4, 92, 12, 12, fill="white", line=0.5)
    picture.text("–", (10, 100.5), 6, "middle", bold=True)
    picture.text("battery's\nnegative bolt", (4, 108), 2.4)
    ground = ways["J1.2"]
    picture.line((16, 95), (30, 95), (30, ground[1]), ground, width=0.55)
    _lead(picture, items["W3"], (50, ground[1]), ground, (76, ground[1] - 1.2))
    _pair(picture, items, out, ways)


def _pair(picture: Picture, items: dict[str, Item], out: Point, ways: dict[str, Point]) -> None:
    """The twisted pair: two waves against each other."""
    high, low = ways["J1.3"], ways["J1.4"]
    middle = (high[1] + low[1]) / 2
    begin, end = 64.0, 104.0
    picture.line((out[0], out[1]), (out[0], middle - 2), (begin, middle - 2), width=0.55)
    picture.line((16, 101), (38, 101), (38, middle + 2), (begin, middle + 2), width=0.55)
    halves = 8  # even: each conductor ends on the side on which it began
    step = (end - begin) / halves
    for sign in (-1, 1):
        wave = [(begin + number * step, middle + sign * 2 * (1 if number % 2 else -1)) for number in range(halves + 1)]
        picture.line(*wave, width=0.55)
    picture.line((end, middle - 2), (109, high[1]), high, width=0.55)
    picture.line((end, middle + 2), (109, low[1]), low, width=0.55)
    for item, y in ((items["W4"], middle + 13), (items["W5"], middle + 24)):
        picture.text(f"{item.ref} {item.what.split(',')[0]}", (52, y), 2.5, bold=True)
        picture.text(size(item), (52, y + 4), 2.2)
    picture.text("twisted together, 30 to 40 turns a metre", (52, middle + 33), 2.4)


def _senses(picture: Picture, items: dict[str, Item], ways: dict[str, Point]) -> None:
    for wire, holder, words in (("W6", "H2", "a fused circuit that\nis live with the key on"),
                                ("W7", "H3", "the fused feed of\nthe panel lamps")):  # fmt: skip
        end = ways[items[wire].ends[1]]
        y = end[1] if wire == "W6" else end[1] + 14
        picture.text(words, (4, y - 1.2), 2.4)
        picture.line((36, y), (44, y), width=0.55)
        picture.box(44, y - 3, 13, 6, fill="white", line=0.5)
        picture.text(f"{holder} 1 A", (50.5, y + 1), 2.4, "middle", bold=True)
        if wire == "W6":
            picture.line((57, y), end, width=0.55)
        else:
            picture.line((57, y), (110, y), (110, end[1]), end, width=0.55)
        picture.text(f"{wire} {items[wire].what.split(',')[0]}", (60, y - 1.2), 2.5, bold=True, halo=True)
        picture.text(size(items[wire]), (60, y + 3.4), 2.2, halo=True)


def _cable(picture: Picture, values: Values, item: Item, ways: dict[str, Point], y: float) -> None:
    """A cable's conductors from its connector to the parts at its other end."""
    right = 252.0
    refs = item.ends[0].split(", ")
    taken = 0
    for ref in refs:
        part = values[ref]
        share = len(item.nodes) // len(refs)
        rows = [y + (taken + row) * _STEP for row in range(share)]
        picture.box(right, rows[0] - 5, 44, rows[-1] - rows[0] + 10, fill="white", line=0.5)
        picture.text(
            f"{ref} {valuetext.NAMES[part.kind]}",
            (right + 22, rows[0] - 0.5 + (share > 2) * 3),
            2.6,
            "middle",
            bold=True,
        )
        if short := valuetext.short(part):
            picture.text(short, (right + 22, rows[0] + 4.2 + (share > 2) * 3), 2.3, "middle")
        for row, way_y in enumerate(rows):
            way = ways[f"{item.ends[1]}.{taken + row + 1}"]
            picture.line(way, (right, way_y), width=0.55)
            picture.text(item.nodes[taken + row], (right - 1.5, way_y - 0.9), 2.2, "end", halo=True)
        taken += share
    picture.text(f"{item.ref} {item.what}", (190, y + taken * _STEP - 4.2), 2.3, bold=True)
    picture.text(size(item), (190, y + taken * _STEP - 0.2), 2.2)
