"""A sheet of the schematic: draws symbols, wires and names, and reads back what is joined to what.

Every symbol's terminals, every wire and every name is noted with the place at which it was drawn.
`mistakes()` joins what touches, as a reader of the drawing would, and compares with the values file.
"""

from collections.abc import Sequence
from itertools import pairwise

import boardpins
import schemdraw
import schemdraw.elements as elm
import valuetext
from schemdraw.segments import Segment, SegmentPoly, SegmentText

from underdash.frontend.parts import GROUND, Part, Values

Point = tuple[float, float]

schemdraw.svgconfig.text = "text"

_SYMBOLS = {
    "fuse": elm.Fuse, "resistor": elm.Resistor, "tvs": elm.Zener, "reference": elm.Zener, "schottky": elm.Schottky,
    "diode": elm.Diode, "led": elm.LED, "switch": elm.Button,
}  # fmt: skip
# The file names the cathode first where a part is used in its reverse direction.
_CATHODE_FIRST = ("tvs", "reference")
SERIES = 2.8
SHUNT = 2.8
DROP = 2.2


class _Drawn(elm.Element):
    """A few segments of our own."""

    def __init__(self, *segments: object) -> None:
        super().__init__()
        self.segments.extend(segments)


class Sheet:
    """Collects a drawing on one canvas ("svg" or "matplotlib")."""

    def __init__(self, values: Values, canvas: str) -> None:
        self.values = values
        self.drawing = schemdraw.Drawing(canvas=canvas, show=False)
        self.drawing.config(fontsize=10, lw=1.4, bgcolor="white", margin=0.4)
        self.wires: list[tuple[Point, Point]] = []
        self.terminals: list[tuple[str, str, Point]] = []
        self.names: list[tuple[str, Point]] = []
        self.drawn: list[str] = []

    # ---- what is drawn

    def text(self, words: str, at: Point, align: tuple[str, str] = ("left", "center"), size: float = 10) -> None:
        self.drawing += _Drawn(SegmentText((0, 0), words, align=align, fontsize=size)).at(at).theta(0)

    def wire(self, *points: Point) -> None:
        for begin, end in pairwise(points):
            if begin != end:
                line = elm.Line().endpoints(begin, end)
                self.drawing += line
                self.wires.append((_at(line, "start"), _at(line, "end")))

    def part(self, ref: str, begin: Point, end: Point, flip: bool = False) -> None:
        """A part with two ends: its first node at `begin`, or at `end` if `flip`; text above or to the right."""
        part = self._take(ref)
        first, second = (end, begin) if flip else (begin, end)
        if part.kind in _CATHODE_FIRST:
            symbol = elm.Zener().endpoints(second, first)
            self.drawing += symbol
            ends = ("end", "start")
        else:
            kind = (
                elm.Capacitor(polar=part.get("reverse_volts") > 0)
                if part.kind == "capacitor"
                else _SYMBOLS[part.kind]()
            )
            symbol = kind.endpoints(first, second)
            self.drawing += symbol
            ends = ("start", "end")
        for node, anchor in zip(part.nodes, ends, strict=True):
            self.terminals.append((ref, node, _at(symbol, anchor)))
        middle = ((begin[0] + end[0]) / 2, (begin[1] + end[1]) / 2)
        words = self._words(part)
        if begin[1] == end[1]:
            # A lamp's arrows and a button's cap stand above the line.
            above = 0.95 if part.kind in ("led", "switch") else 0.4
            self.text("\n".join(words), (middle[0], middle[1] + above), ("center", "bottom"))
        else:
            self.text("\n".join(words), (middle[0] + 0.45, middle[1] - 0.1))

    def box(
        self, ref: str, corner: Point, size: Point, pins: Sequence[tuple[str, str, float, str]]
    ) -> dict[str, Point]:
        """A part as a box, `corner` its lower left; pins are (node, side, distance along it, label). Returns
        the outer ends of the pins by node."""
        self._take(ref)
        (left, low), (width, height) = corner, size
        self.drawing += _Drawn(SegmentPoly([(0, 0), (width, 0), (width, height), (0, height)])).at(corner).theta(0)
        ends: dict[str, Point] = {}
        for node, side, along, label in pins:
            x, y, dx, dy, align = {
                "left": (left, low + along, -1, 0, ("left", "center")),
                "right": (left + width, low + along, 1, 0, ("right", "center")),
                "bottom": (left + along, low, 0, -1, ("center", "bottom")),
                "top": (left + along, low + height, 0, 1, ("center", "top")),
            }[side]
            inner, outer, words = (x, y), (x + 0.5 * dx, y + 0.5 * dy), (x - 0.12 * dx, y - 0.12 * dy)
            line = elm.Line().endpoints(inner, outer)
            self.drawing += line
            self.terminals.append((ref, node, _at(line, "end")))
            ends[node] = outer
            self.text(label, words, align, 9)
        return ends

    def npn(self, ref: str, base: Point) -> tuple[Point, Point]:
        """A transistor with its base at a point; returns collector and emitter."""
        part = self._take(ref)
        symbol = elm.BjtNpn(circle=True).at(base).anchor("base").theta(0)
        self.drawing += symbol
        for node, anchor in zip(part.nodes, ("collector", "base", "emitter"), strict=True):
            self.terminals.append((ref, node, _at(symbol, anchor)))
        collector, emitter = _at(symbol, "collector"), _at(symbol, "emitter")
        self.text("\n".join(self._words(part)), (collector[0] + 0.5, base[1]))
        return collector, emitter

    def name(self, node: str, at: Point) -> None:
        """A node's name beside a wire."""
        self.text(node, (at[0], at[1] + 0.08), ("center", "bottom"), 8.5)
        self.names.append((node, at))

    def tag(self, node: str, at: Point, side: str) -> None:
        """A flag with a node's name."""
        words = node
        width = 0.165 * len(words) + 0.5
        sign = -1 if side == "left" else 1
        outline = [(0, 0), (0.25, 0.25), (width, 0.25), (width, -0.25), (0.25, -0.25)]
        self.drawing += _Drawn(SegmentPoly([(sign * x, y) for x, y in outline])).at(at).theta(0)
        self.text(words, (at[0] + sign * 0.28, at[1]), ("right" if sign < 0 else "left", "center"), 9)
        self.names.append((node, at))

    def rail(self, node: str, at: Point, up: bool) -> None:
        """The end of a wire at ground, or at a supply that has a bar with its name."""
        if node == GROUND:
            self.drawing += elm.Ground().at(at).theta(0)
        else:
            sign = 1 if up else -1
            bar = _Drawn(Segment([(0, 0), (0, 0.25 * sign)]), Segment([(-0.4, 0.25 * sign), (0.4, 0.25 * sign)]))
            self.drawing += bar.at(at).theta(0)
            self.text(node, (at[0], at[1] + 0.33 * sign), ("center", "bottom" if up else "top"), 9)
        self.names.append((node, at))

    def frame(self, title: str, left: float, top: float, right: float, low: float) -> None:
        """The dashed outline of a block, with its title."""
        outline = [(left, low), (right, low), (right, top), (left, top)]
        self.drawing += _Drawn(SegmentPoly(outline, ls="--", lw=0.8, color="#555555")).at((0, 0)).theta(0)
        self.text(title, (left + 0.25, top - 0.42), ("left", "center"), 13)

    def dots(self) -> None:
        """A dot where three or more ends meet."""
        for point in sorted({point for wire in self.wires for point in wire} | {t[2] for t in self.terminals}):
            ends = sum(point in wire for wire in self.wires) + sum(point == t[2] for t in self.terminals)
            ends += 2 * sum(_inside(point, wire) for wire in self.wires)
            if ends >= 3:
                self.drawing += elm.Dot(radius=0.06).at(point)

    def _take(self, ref: str) -> Part:
        self.drawn.append(ref)
        return self.find(ref)

    def find(self, ref: str) -> Part:
        """The part of that name; ValueError if the file has none."""
        if ref not in self.values.parts:
            raise ValueError(f"{ref} is in the drawing and not in {self.values.path.name}; take it out of schematic.py")
        return self.values[ref]

    def _words(self, part: Part) -> list[str]:
        words = [part.ref]
        if short := valuetext.short(part):
            words.append(short)
        if part.option == "reference":
            words.append("(option)")
        return words

    # ---- chains: a line of parts from left to right

    def series(self, ref: str, node: str, at: Point, length: float = SERIES) -> tuple[str, Point]:
        """A part in the line: returns the node behind it and where that begins."""
        part = self.find(ref)
        other = self._other(part, node)
        end = (at[0] + length, at[1])
        self.part(ref, at, end, flip=part.nodes[0] != node)
        return other, end

    def shunt(self, ref: str, node: str, at: Point, up: bool = False, drop: float = DROP) -> None:
        """A part from the line down to its other node, or up."""
        part = self.find(ref)
        other = self._other(part, node)
        end = (at[0], round(at[1] + (drop if up else -drop), 3))
        self.part(ref, at, end, flip=part.nodes[0] != node)
        self.rail(other, end, up)

    def chain(self, node: str, at: Point, *steps: str) -> tuple[str, Point]:
        """Steps: "R3" in the line, "v R4" down, "^ D5" up, "| D6 D7" up and down, "name", "tag"."""
        for step in steps:
            how, _, rest = step.rpartition(" ") if step[0] in "v^" else (step[0] if step[0] == "|" else "", "", step)
            if step == "name":
                end = (round(at[0] + 1.3, 3), at[1])
                self.wire(at, end)
                self.name(node, ((at[0] + end[0]) / 2, at[1]))
                at = end
            elif step == "tag":
                self.tag(node, at, "right")
            elif how in ("v", "^"):
                self.shunt(rest, node, at, up=how == "^")
                at = self._along(at)
            elif how == "|":
                above, below = step.split()[1:]
                self.shunt(above, node, at, up=True)
                self.shunt(below, node, at)
                at = self._along(at)
            else:
                node, at = self.series(step, node, at)
                at = (round(at[0], 3), at[1])
        return node, at

    def _along(self, at: Point) -> Point:
        end = (round(at[0] + SHUNT, 3), at[1])
        self.wire(at, end)
        return end

    def _other(self, part: Part, node: str) -> str:
        if node not in part.nodes:
            raise ValueError(f"{part.ref} lies between {' and '.join(part.nodes)}; the drawing has it at {node}")
        return part.nodes[1] if part.nodes[0] == node else part.nodes[0]

    # ---- what the drawing says

    def mistakes(self) -> list[str]:
        """Where drawing and values file differ, a line for each; empty if nowhere."""
        lacking = [ref for ref in self.values.parts if ref not in self.drawn]
        found = [f"{ref} is in {self.values.path.name} and not drawn; place it in schematic.py" for ref in lacking]
        found += [f"{ref} is drawn twice" for ref in sorted({ref for ref in self.drawn if self.drawn.count(ref) > 1})]
        seen = {(ref, node) for ref, node, _ in self.terminals}
        for ref in dict.fromkeys(self.drawn):
            found += [f"{ref} has no terminal for {node}" for node in self.values[ref].nodes if (ref, node) not in seen]
        for node in sorted({node for _, node, _ in self.terminals if boardpins.is_pin(node)}):
            at = {ref: self.values[ref].kind for ref, where, _ in self.terminals if where == node}
            if "board" not in at.values():
                found.append(f"{', '.join(at)} leads to {node}, and the board has no such pin in the drawing")
            elif len(at) < 2 and node != "vbus":
                found.append(f"nothing leads to the board's {node}")
        for cluster in self._clusters():
            names = sorted({node for node, point in self.names if point in cluster})
            ends = [(ref, node) for ref, node, point in self.terminals if point in cluster]
            if len(names) != 1:
                said = " and ".join(names) or "no name"
                found.append(f"{', '.join(ref for ref, _ in ends) or cluster} are joined and have {said}")
                continue
            found += [f"{ref} should be at {node} and is drawn at {names[0]}" for ref, node in ends if node != names[0]]
            found += [f"{ref} has no pin for {node}" for ref, node in ends
                      if node not in self.values[ref].nodes
                      and not (self.values[ref].kind == "board" and boardpins.is_pin(node))]  # fmt: skip
        return found

    def _clusters(self) -> list[set[Point]]:
        """Points that are joined: by a wire's ends, or by an end that lies on a wire."""
        points = {point for wire in self.wires for point in wire}
        points |= {point for *_, point in self.terminals} | {_round(point) for _, point in self.names}
        self.names = [(node, _round(point)) for node, point in self.names]
        clusters = [{point} for point in sorted(points)]
        for wire in self.wires:
            touched = [cluster for cluster in clusters if any(p in wire or _inside(p, wire) for p in cluster)]
            clusters = [cluster for cluster in clusters if cluster not in touched] + [set().union(*touched)]
        return clusters


def _at(element: elm.Element, anchor: str) -> Point:
    return _round(element.absanchors[anchor])


def _round(point: Point) -> Point:
    return round(float(point[0]), 2) + 0.0, round(float(point[1]), 2) + 0.0


def _inside(point: Point, wire: tuple[Point, Point]) -> bool:
    """Whether a point lies on a wire, between its ends."""
    (x0, y0), (x1, y1) = wire
    cross = (x1 - x0) * (point[1] - y0) - (y1 - y0) * (point[0] - x0)
    dot = (point[0] - x0) * (point[0] - x1) + (point[1] - y0) * (point[1] - y1)
    return abs(cross) < 1e-3 and dot < -1e-6
