"""The car's heavy wiring as a picture, drawn from the car file: supply side above, ground side below."""

import html
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from unicodedata import east_asian_width

from underdash.carfile.model import BATTERY, BODY, GROUND, GROUND_SIDE, SUPPLY_SIDE, Cable, CarFile, Load
from underdash.plan.cables.sources import fuse_ends
from underdash.plan.show.wiring_layout import FUSE, PAD, Line, Row, lay_out

_LINE = 14.0  # from one line of words to the next [px]
_FACTS = 12.5  # the same for what stands below a cable [px]
_NAME, _SMALL = 12.0, 10.5  # sizes of letters [px]
_BAR = 5.0
_WRAP = 30  # letters of a name in one line


def picture(
    car: CarFile, flows: Mapping[str, str] | None = None, faults: Mapping[str, Sequence[str]] | None = None
) -> str:
    """An `<svg>` of every cable and every load.

    flows: words on what flows in a cable, such as `carries 16 A`, by its name; faults: each of the tests it fails.
    A fuse is drawn where `plan.cables.sources` has it; where a second belongs, an empty one.
    """
    flows, faults = flows or {}, faults or {}
    at = _places_of_loads(car)
    sides = []
    for side, root, title in ((SUPPLY_SIDE, BATTERY, "Supply side"), (GROUND_SIDE, GROUND, "Ground side")):
        drawn = [_Drawn.of(cable, flows.get(cable.name, ""), faults.get(cable.name, ()), _fuse_ends(car, cable))
                 for cable in car.cables if cable.side == side]  # fmt: skip
        if side == SUPPLY_SIDE and car.ammeter:
            meter = car.ammeter
            drawn.append(_Drawn("dash ammeter", meter.start, meter.end, [_ohm(meter.resistance_ohm)], 1.6, meter=True))
        lists = _on_supply(at, car.bus) if side == SUPPLY_SIDE else _on_ground(car)
        if drawn:
            sides.append(_Side(title, root, drawn, lists))
    return _assemble(car, sides)


def breadth(text: str, size: float, bold: bool = False) -> float:
    """Breadth that `text` may take at letters of `size` [px], in the broadest of the usual fonts: never less."""
    total = 0.0
    for letter in text:
        if east_asian_width(letter) in "WF":
            total += 1.05
        elif letter in "ijlI.,:;'|!·()[] ":
            total += 0.40
        elif letter in "mwMW%@Ω±":
            total += 1.0
        else:
            total += 0.78 if letter.isupper() else 0.65
    return total * size * (1.08 if bold else 1.0)


@dataclass
class _Drawn:
    """A cable, or the meter, as it will be drawn."""

    name: str
    start: str
    end: str
    facts: list[str]
    thick: float
    fuses: Sequence[str] = ()
    """Ends where a fuse belongs, the fitted one's first; empty without one."""
    added: bool = False
    meter: bool = False
    faults: Sequence[str] = ()
    lines: list[str] = field(init=False)

    def __post_init__(self) -> None:
        self.lines = textwrap.wrap(self.name, _WRAP) or [""]

    @classmethod
    def of(cls, cable: Cable, flow: str, faults: Sequence[str], fuses: Sequence[str]) -> "_Drawn":
        if cable.gauge is None:
            facts, thick = [f"{_ohm(cable.stated_ohm or 0.0)}, as stated"], 1.2
        else:
            facts = [f"{cable.gauge}, {cable.length_m:.2g} m, {cable.insulation_c:.0f} °C"]
            thick = 1.1 + 0.55 * cable.gauge.area_mm2**0.5
        more = [f"fuse {cable.fuse_a:g} A"] if cable.fuse_a is not None else []
        more += [flow] if flow else []
        return cls(cable.name, cable.start, cable.end, [*facts, *([", ".join(more)] if more else [])], thick,
                   fuses=fuses, added=cable.added, faults=faults)  # fmt: skip

    @property
    def words(self) -> float:
        """The least breadth of its words [px]."""
        under = [*self.facts, *(f"\u25b2 {fault}" for fault in self.faults)]
        name = max(breadth(line, _NAME, bold=True) for line in self.lines)
        return max([name, *(breadth(line, _SMALL) for line in under)]) + self.beside

    @property
    def beside(self) -> float:
        """What the meter and a second fuse take of the words' breadth [px]."""
        return (24.0 if self.meter else 0.0) + (FUSE if len(self.fuses) > 1 else 0.0)

    def under(self, room: float) -> list[str]:
        """What stands below the line: in one line where there is room."""
        joined = ", ".join(self.facts)
        return [joined] if breadth(joined, _SMALL) <= room - self.beside else self.facts


class _Side:
    """One side of the wiring: what is drawn, where it begins, what hangs where."""

    def __init__(self, title: str, root: str, drawn: Sequence[_Drawn], lists: Mapping[str, Sequence[str]]) -> None:
        self.title, self.drawn, self.lists = title, drawn, lists
        places = dict.fromkeys(place for each in drawn for place in (each.start, each.end))
        self.root = root if root in places else drawn[0].start
        self.tags = {place: textwrap.wrap(place, 22) or [""] for place in places}
        self.widths = {place: max(breadth(line, _NAME, bold=True) for line in lines) + 12
                       for place, lines in self.tags.items()}  # fmt: skip
        lines = [Line(each.start, each.end, each.words) for each in drawn]
        self.layout = lay_out(lines, self.root, [place for place in lists if place in places], self.widths)

    def above(self, row: Row) -> float:
        """Height of the cable's own words above a row [px]."""
        each = None if row.line is None else self.drawn[row.line]
        own = 10.0 if each is None else len(each.lines) * _LINE + 4 + each.thick / 2
        return max(own, len(self.ends(row)) * _LINE / 2 + 3)

    def below(self, row: Row) -> float:
        """And below it [px]."""
        each = None if row.line is None else self.drawn[row.line]
        own = 8.0
        if each is not None:
            own = len(each.under(row.room)) * _FACTS + 6 + each.thick / 2 + _FACTS * len(each.faults)
        return max(own, len(self.ends(row)) * _LINE / 2 + 3)

    def named(self, row: Row) -> float:
        """Height of the names of the places that begin with a row [px]."""
        return max((len(self.tags[place]) * _LINE + 10 for place in row.names), default=0.0)

    def ends(self, row: Row) -> list[tuple[str, bool]]:
        """What is written at the right edge: (words, whether bold)."""
        if row.line is None:
            return [(part, False) for words in self.lists[row.left] for part in _wrapped(words)]
        if row.right is not None:
            return []
        each = self.drawn[row.line]
        place = each.end if each.start == row.left else each.start
        hung = list(self.lists.get(place, ()))
        if len(hung) == 1 and hung[0].startswith(f"{place}, "):
            return [(part, True) for part in _wrapped(hung[0])]
        return [*((part, True) for part in _wrapped(place)), *((p, False) for words in hung for p in _wrapped(words))]


def _fuse_ends(car: CarFile, cable: Cable) -> tuple[str, ...]:
    if cable.fuse_a is None:
        return ()
    return fuse_ends(car, cable) if cable.side == SUPPLY_SIDE else (cable.start,)


def _wrapped(words: str) -> list[str]:
    return textwrap.wrap(words, _WRAP, subsequent_indent="\u2003") or [""]


def _ohm(ohm: float) -> str:
    return f"{ohm * 1000:.3g} mΩ"


def _places_of_loads(car: CarFile) -> dict[str, list[Load]]:
    """Where each load hangs: at the far end of the last cable that names it, else at the bus."""
    at: dict[str, list[Load]] = {}
    for load in car.loads:
        mine = [cable for cable in car.cables if cable.side == SUPPLY_SIDE and load.name in cable.carries]
        begun = {cable.start for cable in mine}
        ends = [cable.end for cable in mine if cable.end not in begun and cable.end != car.bus]
        at.setdefault(ends[0] if ends else car.bus, []).append(load)
    return at


def _on_supply(at: Mapping[str, Sequence[Load]], bus: str) -> dict[str, list[str]]:
    return {place: [f"{load.name}, {load.amps:.3g}\u00a0A" for load in loads] for place, loads in at.items()}


def _on_ground(car: CarFile) -> dict[str, list[str]]:
    return {BODY: ["returns of the loads without a ground cable"]} if car.loads else {}


# -- drawing ----------------------------------------------------------------------------------


def _assemble(car: CarFile, sides: Sequence[_Side]) -> str:
    parts: list[str] = []
    top, wide = 4.0, 560.0
    for side in sides:
        parts.append(_text(side.title, 0, top + 14, size=14, bold=True))
        body, right, bottom = _draw(side, top + 28)
        parts += body
        top, wide = bottom + 30, max(wide, right)
    legend, top = _legend(top, any(d.added for side in sides for d in side.drawn),
                          any(d.meter for side in sides for d in side.drawn),
                          any(d.faults for side in sides for d in side.drawn),
                          any(len(d.fuses) > 1 for side in sides for d in side.drawn), wide)  # fmt: skip
    label = html.escape(f"Wiring of {car.name}: {len(car.cables)} cables, {len(car.loads)} loads", quote=True)
    # As large as drawn where there is room, and never so small that it cannot be read: then the page scrolls.
    size = f'viewBox="-2 0 {wide + 2:.0f} {top:.0f}" style="max-width: {wide:.0f}px; min-width: {0.7 * wide:.0f}px"'
    return (
        f'<svg class="wiring" {size} role="img" aria-label="{label}" font-size="{_NAME}" fill="currentColor" '
        f'stroke-linecap="butt">\n' + "\n".join([*parts, *legend]) + "\n</svg>"
    )


def _draw(side: _Side, top: float) -> tuple[list[str], float, float]:
    """The side's marks, its right edge and its bottom [px]."""
    layout = side.layout
    levels, names, y = [], [], top
    for row in layout.rows:
        names.append(y)
        levels.append(y + side.named(row) + side.above(row))
        y = levels[-1] + side.below(row) + 5
    marks: list[str] = []
    for place, (first, last) in layout.spans.items():
        named = next(at for at, row in enumerate(layout.rows) if place in row.names)
        high, low = min(names[named] + 8, levels[first] - 5), levels[last] + 5
        marks.append(f'<path class="bar" d="M{layout.x[place]:.1f} {high:.1f}V{low:.1f}" stroke="currentColor" '
                     f'stroke-width="{_BAR}" stroke-linecap="round" opacity=".55"/>')  # fmt: skip
    right = layout.edge
    for level, row in zip(levels, layout.rows, strict=True):
        x0, x1 = layout.x[row.left], layout.edge if row.right is None else layout.x[row.right]
        listed = side.ends(row)
        if row.line is None:
            marks += _list(x0, x1, level, len(listed) * _LINE / 2)
        else:
            marks += _cable(side.drawn[row.line], x0, x1, level, row)
        for at, (words, bold) in enumerate(listed):
            marks.append(_text(words, x1 + 10, level + 4 + (at - (len(listed) - 1) / 2) * _LINE, bold=bold))
            right = max(right, x1 + 10 + breadth(words, _NAME, bold) + 4)
    for begin, row in zip(names, layout.rows, strict=True):
        for place in row.names:
            marks += _tag(side.tags[place], layout.x[place], begin + 2, side.widths[place])
    return marks, right, y


def _list(x0: float, x1: float, y: float, half: float) -> list[str]:
    """A dotted line to a bracket, `half` as high above as below [px]."""
    bracket = f"M{x1 + 5:.1f} {y - half:.1f}h-5v{2 * half:.1f}h5"
    return [f'<path d="M{x0:.1f} {y:.1f}H{x1:.1f}" stroke="currentColor" stroke-dasharray="1.5 4"/>',
            f'<path d="{bracket}" fill="none" stroke="currentColor"/>']  # fmt: skip


def _tag(lines: Sequence[str], x: float, top: float, wide: float) -> list[str]:
    tall = len(lines) * _LINE + 4
    box = (f'<rect x="{x - wide / 2:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{tall:.1f}" rx="4" '
           'fill="var(--card, #fff)" stroke="currentColor" stroke-width="1.2"/>')  # fmt: skip
    return [box, *(_text(line, x, top + 12.5 + at * _LINE, bold=True, anchor="middle", kind="place")
                   for at, line in enumerate(lines))]  # fmt: skip


def _cable(each: _Drawn, x0: float, x1: float, y: float, row: Row) -> list[str]:
    open_end = row.right is None
    ink = "var(--note, #0067a3)" if each.added else "currentColor"
    dashes = ' stroke-dasharray="9 5"' if each.added else ""
    marks = [
        f'<path d="M{x0:.1f} {y:.1f}H{x1:.1f}" stroke="var(--card, #fff)" stroke-width="{each.thick + 5:.1f}"/>',
        f'<path class="cable" d="M{x0:.1f} {y:.1f}H{x1:.1f}" stroke="{ink}" stroke-width="{each.thick:.1f}"{dashes}/>',
    ]
    for x in (x0,) if open_end else (x0, x1):
        marks.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{max(4.0, each.thick / 2 + 1.5):.1f}"/>')
    if open_end:
        marks.append(f'<circle cx="{x1:.1f}" cy="{y:.1f}" r="3.5" fill="var(--card, #fff)" stroke="currentColor" '
                     'stroke-width="1.4"/>')  # fmt: skip
    for at, end in enumerate(each.fuses):
        marks.append(_fuse(x0 + PAD + 8 if end == row.left else x1 - PAD - 8, y, wanted=at > 0))
    begin = x0 + PAD + (FUSE if row.left in each.fuses else 0.0)
    if each.meter:
        marks += _meter(begin + 10, y)
        begin += 24
    for at, line in enumerate(each.lines, 1 - len(each.lines)):
        marks.append(_text(line, begin, y - each.thick / 2 - 5 + at * _LINE, bold=True, kind="name"))
    under = each.under(row.room)
    for at, line in enumerate(under):
        marks.append(_text(line, begin, y + each.thick / 2 + 11.5 + at * _FACTS, size=_SMALL, kind="facts"))
    for at, fault in enumerate(each.faults):
        low = y + each.thick / 2 + 12 + (len(under) + at) * _FACTS
        marks.append(_text(f"\u25b2 {fault}", begin, low, size=_SMALL, bold=True, kind="fault"))
    return marks


def _fuse(x: float, y: float, wanted: bool = False) -> str:
    """A fuse, or where one is wanted: dashed, without its wire."""
    dashes = ' stroke-dasharray="2.5 2.5"' if wanted else ""
    box = f'<rect x="{x - 9:.1f}" y="{y - 5:.1f}" width="18" height="10" rx="1.5" fill="var(--card, #fff)"{dashes}/>'
    if wanted:
        return f'<g class="wanted" stroke="currentColor" stroke-width="1.3">{box}</g>'
    return f'<g class="fuse" stroke="currentColor" stroke-width="1.3">{box}<path d="M{x - 9:.1f} {y:.1f}h18"/></g>'


def _meter(x: float, y: float) -> list[str]:
    ring = (f'<circle cx="{x:.1f}" cy="{y:.1f}" r="10" fill="var(--card, #fff)" stroke="currentColor" '
            'stroke-width="1.5"/>')  # fmt: skip
    return [ring, _text("A", x, y + 4.3, bold=True, anchor="middle", kind="mark")]


def _text(
    words: str, x: float, y: float, size: float = _NAME, bold: bool = False, anchor: str = "", kind: str = "end"
) -> str:
    look = (f' font-size="{size:g}"' if size != _NAME else "") + (' font-weight="600"' if bold else "")
    look += f' text-anchor="{anchor}"' if anchor else ""
    look += ' fill="var(--act, #b84a00)"' if kind == "fault" else ""
    look += ' fill="var(--soft, #5b5e63)"' if kind == "facts" else ""
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}"{look}>{html.escape(words)}</text>'


def _legend(top: float, added: bool, meter: bool, fault: bool, wanted: bool, wide: float) -> tuple[list[str], float]:
    """What the marks mean, in as many lines as the breadth asks for; and the picture's bottom [px]."""
    entries = [("line", "cable, thicker with more copper")]
    entries += [("added", "added by the conversion")] if added else []
    entries += [("fuse", "fuse, at the end that the battery feeds")]
    entries += [("wanted", "place of a second fuse, for it is fed from there too")] if wanted else []
    entries += [("bar", "place where cables meet")]
    entries += [("open", "end of a cable, with what it feeds")]
    entries += [("list", "what else hangs there, without a cable in the file")]
    entries += [("meter", "the dash ammeter")] if meter else []
    entries += [("fault", "fails a test")] if fault else []
    marks: list[str] = []
    x, y = 0.0, top + 4
    for kind, words in entries:
        need = 44 + breadth(words, _SMALL) + 18
        if x and x + need > wide:
            x, y = 0.0, y + 24
        if kind in ("line", "added"):
            look = ' stroke-dasharray="9 5" style="stroke: var(--note, #0067a3)"' if kind == "added" else ""
            marks.append(f'<path d="M{x:.1f} {y:.1f}h34" stroke="currentColor" stroke-width="3"{look}/>')
        elif kind in ("fuse", "wanted"):
            marks += [f'<path d="M{x:.1f} {y:.1f}h34" stroke="currentColor" stroke-width="1.5"/>',
                      _fuse(x + 17, y, wanted=kind == "wanted")]  # fmt: skip
        elif kind == "bar":
            marks.append(f'<path d="M{x + 17:.1f} {y - 8:.1f}v16" stroke="currentColor" stroke-width="{_BAR}" '
                         'stroke-linecap="round" opacity=".55"/>')  # fmt: skip
        elif kind == "open":
            marks.append(f'<path d="M{x:.1f} {y:.1f}h30" stroke="currentColor" stroke-width="1.5"/><circle '
                         f'cx="{x + 30:.1f}" cy="{y:.1f}" r="3.5" fill="var(--card, #fff)" stroke="currentColor" '
                         'stroke-width="1.4"/>')  # fmt: skip
        elif kind == "list":
            marks.append(f'<path d="M{x:.1f} {y:.1f}h34" stroke="currentColor" stroke-dasharray="1.5 4"/>')
        elif kind == "meter":
            marks += _meter(x + 20, y)
        else:
            marks.append(_text("\u25b2", x + 17, y + 4, bold=True, anchor="middle", kind="fault"))
        marks.append(_text(words, x + 42, y + 4, size=_SMALL, kind="legend"))
        x += need
    return marks, y + 18
