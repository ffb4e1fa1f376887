"""The drawing of the ammeter's share: two ways, what flows in each, and the needle, before and after side by side."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from underdash.carfile.model import ALTERNATOR, BATTERY, Ammeter, Cable, CarFile
from underdash.carfile.paths import AMMETER, cable_ohm, supply
from underdash.plan.ammeter.cases import AFTER_START, CRUISE, HOT_IDLE_ALL, Case, flows
from underdash.plan.ammeter.loop import Loop, find_loop, live, other_end, route
from underdash.plan.ammeter.marks import FLOW, GIVES, INK, RULE, SOFT, Marks, Point, fit
from underdash.plan.results import AmmeterShare, Needle
from underdash.wire.network import Branch

_WIDTH, _MARGIN, _PANEL, _GAP = 1160.0, 28.0, 538.0, 28.0
_TOP, _MIDDLE, _BOTTOM = 66.0, 142.0, 236.0  # lanes of a panel: the old loop, what ties in the loads, the other way
_HEIGHT = 270.0
_ALTERNATOR_X, _NEAR_X, _FAR_X, _BATTERY_X = 46.0, 116.0, 390.0, 500.0
_LEAST_A = 0.05  # [A], drawn as nothing


@dataclass
class Layout:
    """Where places are in a panel, and the ways between them."""

    at: dict[str, Point] = field(default_factory=dict)
    ways: list[tuple[tuple[Branch, ...], tuple[Point, ...]]] = field(default_factory=list)
    """Each: branches in order, corners from the first one's beginning to the last one's end."""
    begins: list[str] = field(default_factory=list)
    """The place that each way begins at."""
    trunk: set[str] = field(default_factory=set)
    """What lies before and behind the ways: cables that carry all of it."""
    whole: bool = True
    """False if the wiring has more ways than are drawn, or the other way is a mesh."""

    def lay(self, branches: Sequence[Branch], begin: str, corners: tuple[Point, ...]) -> None:
        """A straight way has its branches side by side; one with corners is drawn as one."""
        if len(corners) > 2:
            self.ways.append((tuple(branches), corners))
            self.begins.append(begin)
            return
        (x0, y0), (x1, y1) = corners
        place = begin
        for i, branch in enumerate(branches):
            share, next_share = i / len(branches), (i + 1) / len(branches)
            a = (x0 + share * (x1 - x0), y0 + share * (y1 - y0))
            b = (x0 + next_share * (x1 - x0), y0 + next_share * (y1 - y0))
            self.at.setdefault(place, a)
            self.ways.append(((branch,), (a, b)))
            self.begins.append(place)
            place = other_end(branch, place)
            self.at.setdefault(place, b)


def drawing(share: AmmeterShare, car: CarFile) -> str:
    """An SVG that explains the split: two telling cases, before and after the conversion, and a table of the cables.

    It stands on a sheet of its own colour. A meter that no way leads through gives a sheet that says so.
    """
    marks = Marks()
    loop = find_loop(car)
    if loop is None or car.ammeter is None:
        marks.words((_MARGIN, 40), "No way from the alternator to the battery leads through the ammeter.")
        return marks.svg(_WIDTH, 64, "The ammeter's share")
    layout = arrange(car, loop)
    numbers = {b.name: str(i) for i, b in enumerate(_drawn(layout), 1)}
    marks.words((_MARGIN, 40), _title(share, car.ammeter), size=20, bold=True)
    marks.words((_MARGIN, 62), _summary(share), fill=SOFT)
    y = 84.0
    told = _told(share)
    for needle in told:
        case = Case(needle.case, needle.alternator_a, needle.loads_a, needle.starter_a)
        marks.line((_MARGIN, y), (_WIDTH - _MARGIN, y))
        marks.words((_MARGIN, y + 24), _headline(needle), size=15, bold=True)
        for column, before in enumerate((True, False)):
            left = _MARGIN + column * (_PANEL + _GAP)
            marks.words((left, y + 46), "before" if before else "after", fill=SOFT, bold=True)
            mesh_ohm = None if _has_other(layout) else loop.other_ohm
            _panel(marks, (left, y + 30), layout, car, case, numbers, before, mesh_ohm)
        y += 30.0 + _HEIGHT
    return marks.svg(_WIDTH, _table(marks, y + 4.0, car, _drawn(layout), numbers, layout.whole), "The ammeter's share")


def arrange(car: CarFile, loop: Loop) -> Layout:
    """Places of a panel: the old loop above, the other way below, the loads' ties between the two."""
    layout = Layout()
    layout.at[ALTERNATOR], layout.at[BATTERY] = (_ALTERNATOR_X + 22.0, _MIDDLE), (_BATTERY_X - 34.0, _MIDDLE)
    rest = list(loop.rest)
    lead = _take(rest, ALTERNATOR, loop.near)
    tail = _take(rest, loop.far, BATTERY)
    other = _take(rest, loop.near, loop.far)
    layout.trunk = {branch.name for branch in (*lead, *tail)}
    layout.lay(lead, ALTERNATOR, (layout.at[ALTERNATOR], (_NEAR_X, _MIDDLE)))
    layout.lay(tail, loop.far, ((_FAR_X, _MIDDLE), layout.at[BATTERY]))
    layout.at.setdefault(loop.near, (_NEAR_X, _MIDDLE))
    layout.at.setdefault(loop.far, (_FAR_X, _MIDDLE))
    layout.lay(loop.chain, loop.near, ((_NEAR_X, _TOP), (_FAR_X, _TOP)))
    if other or loop.other_ohm is None:
        layout.lay(other, loop.near, ((_NEAR_X, _BOTTOM), (_FAR_X, _BOTTOM)))
        if car.bus not in layout.at:
            _ties(layout, car.bus, rest, loop)
        layout.whole = not live(rest, keep=tuple(layout.at))
    else:  # a mesh: shown as one
        layout.at.setdefault(car.bus, ((_NEAR_X + _FAR_X) / 2.0, _BOTTOM))
        layout.whole = False
    return layout


def _take(rest: list[Branch], start: str, end: str) -> list[Branch]:
    """The way from `start` to `end` if it is unbranched, taken out of `rest`; else nothing."""
    found = route(rest, start, end) or []
    for branch in found:
        rest.remove(branch)
    return found


def _has_other(layout: Layout) -> bool:
    """True if the other way is laid cable by cable."""
    return any(corners[0][1] == corners[-1][1] == _BOTTOM for _, corners in layout.ways)


def _ties(layout: Layout, bus: str, rest: list[Branch], loop: Loop) -> None:
    """The loads' place in the middle, with each way that leads from it to a place already laid."""
    placed = dict(layout.at)
    layout.at[bus] = ((_NEAR_X + _FAR_X) / 2.0, _MIDDLE)
    for first in [branch for branch in live(rest, keep=(bus, *placed)) if bus in (branch.start, branch.end)]:
        way, place = [first], other_end(first, bus)
        while place not in placed:
            onward = [branch for branch in live(rest, keep=(bus, *placed)) if place in branch[1:3]]
            onward = [branch for branch in onward if branch not in way]
            if len(onward) != 1:
                break
            way.append(onward[0])
            place = other_end(onward[0], place)
        if place not in placed:
            continue
        corners = _tie(place, placed[place], loop)
        if any(corners == laid for _, laid in layout.ways):
            continue
        for branch in way:
            rest.remove(branch)
        layout.lay(way, bus, corners)


def _tie(place: str, at: Point, loop: Loop) -> tuple[Point, ...]:
    """Corners of a way from the loads' place in the middle to one already laid."""
    x, y = (_NEAR_X + _FAR_X) / 2.0, _MIDDLE
    if place in (loop.near, loop.far):
        return (x, y), (at[0], y)
    if place in (ALTERNATOR, BATTERY):  # under the loads, across the upright, to the post from below
        out, post = (x - 80.0, _ALTERNATOR_X) if place == ALTERNATOR else (x + 80.0, _BATTERY_X)
        return (x, y), (out, y), (out, y + 54.0), (post, y + 54.0), (post, y + 17.0)
    return ((x, y), at) if abs(at[0] - x) < 1.0 else ((x, y), (at[0], y), at)


def _drawn(layout: Layout) -> list[Branch]:
    """Every cable of the drawing, in the order of its number."""
    found = [branch for way, _ in layout.ways for branch in way if branch.name != AMMETER]
    return sorted(found, key=lambda branch: branch.name in layout.trunk)


def _told(share: AmmeterShare) -> list[Needle]:
    """The two cases that tell most: a charge, and a battery that gives, or else a balance."""
    by_name = {needle.case: needle for needle in share.needles}
    idle = by_name.get(HOT_IDLE_ALL)
    second = HOT_IDLE_ALL if idle is not None and idle.battery_a < -1.0 else CRUISE
    return [by_name[name] for name in (AFTER_START, second) if name in by_name]


def _title(share: AmmeterShare, meter: Ammeter) -> str:
    charging = [abs(needle.after_a) for needle in share.needles if needle.case == AFTER_START]
    if charging and charging[0] < meter.smallest_a:
        return "Why the needle reads next to nothing"
    return "What the needle sees, and what it leaves out"


def _summary(share: AmmeterShare) -> str:
    text = f"By way of the meter {share.meter_path_ohm * 1000:.1f} mΩ"
    if share.other_path_ohm is not None:
        text += f", beside it {share.other_path_ohm * 1000:.1f} mΩ"
    text += f". Of a charging current the meter sees {share.after_share:.0%}"
    return text + (f"; before, {share.before_share:.0%}." if share.before_known else ".")


def _headline(needle: Needle) -> str:
    into = needle.battery_a
    battery = "the battery balanced" if abs(into) < 0.5 else (
        f"{into:.0f} A into the battery" if into > 0.0 else f"the battery gives {-into:.0f} A"
    )  # fmt: skip
    name = needle.case[0].upper() + needle.case[1:]
    return f"{name}: alternator {needle.alternator_a:.0f} A, loads {needle.loads_a:.0f} A, {battery}"


def _panel(
    marks: Marks,
    corner: Point,
    layout: Layout,
    car: CarFile,
    case: Case,
    numbers: Mapping[str, str],
    before: bool,
    mesh_ohm: float | None,
) -> None:
    """One case, before or after; `mesh_ohm` of a mesh that is drawn as one way [ohm]."""
    present = {branch.name for branch in supply(car, before=before)}
    amps = flows(supply(car, before=before), case, car.bus)
    if amps is None:
        marks.words(_moved(corner, (_NEAR_X, _MIDDLE)), "Not known: without what is added the file has no whole way.")
        return
    most = max(case.alternator_a, case.loads_a, abs(case.battery_a), 1.0)

    def width(through: float) -> float:
        return 1.5 + 7.0 * min(abs(through) / most, 1.0)

    assert car.ammeter is not None
    joins = [(ALTERNATOR, _NEAR_X), (BATTERY, _FAR_X)]
    for x in (_NEAR_X, _FAR_X):
        marks.line(_moved(corner, (x, _TOP)), _moved(corner, (x, _BOTTOM)), fill=INK, width=2.0)
    for place, x in joins:
        if layout.at[place][0] not in (x,) and not any(
            {layout.at[place], (x, _MIDDLE)} == {corners[0], corners[-1]} for _, corners in layout.ways
        ):
            marks.line(_moved(corner, layout.at[place]), _moved(corner, (x, _MIDDLE)), fill=INK, width=2.0)
    if mesh_ohm is not None:
        lane = _moved(corner, (_NEAR_X, _BOTTOM)), _moved(corner, (_FAR_X, _BOTTOM))
        marks.line(*lane, fill=RULE if before else INK, width=2.0, dashed=before)
        marks.words(
            _moved(corner, (_NEAR_X + 8.0, _BOTTOM + 18.0)), f"the other ways: {mesh_ohm * 1000:.1f} mΩ", size=12
        )
    for (way, corners), begin in zip(layout.ways, layout.begins, strict=True):
        points = tuple(_moved(corner, point) for point in corners)
        if all(branch.name in present for branch in way):
            through = amps[way[0].name] * (1.0 if way[0].start == begin else -1.0)
            _way(marks, way, points, through, width(through), numbers, car.ammeter, amps[AMMETER])
        else:
            marks.line(*points, fill=RULE, width=1.5, dashed=True)
            middle = _along(points, 0.5)
            marks.badge(middle, _number(way, numbers), faint=True)
    _places(marks, corner, layout, car, case)


def _way(
    marks: Marks,
    way: tuple[Branch, ...],
    points: tuple[Point, ...],
    through: float,
    width: float,
    numbers: Mapping[str, str],
    meter: Ammeter,
    needle: float,
) -> None:
    """A cable, or the meter, with its current."""
    flowing = abs(through) >= _LEAST_A
    marks.line(*points, fill=FLOW if flowing else INK, width=width if flowing else 1.5)
    start, end = points[-2:] if len(points) > 2 else points
    label = f"{abs(through):.1f} A"
    if way[0].name == AMMETER:
        middle = _along(points, 0.5)
        marks.dial(middle, needle, meter.full_scale_a, meter.smallest_a)
        shown = f"{needle:+.1f} A".replace("-", "−")
        marks.words((middle[0], middle[1] - 37), shown, anchor="middle", fill=GIVES, bold=True)
        return
    upright = abs(end[1] - start[1]) > abs(end[0] - start[0])
    if flowing:
        marks.current(points[0], points[1], through, width, 0.5 if len(points) > 2 else 0.22 if upright else 0.76)
    badge = 0.5 if upright else 0.32
    marks.badge((start[0] + badge * (end[0] - start[0]), start[1] + badge * (end[1] - start[1])), _number(way, numbers))
    x, y = (start[0] + end[0]) / 2.0, (start[1] + end[1]) / 2.0
    ink = FLOW if flowing else SOFT
    if not upright:
        marks.words((x, y - 13.0), label, anchor="middle", fill=ink)
    elif points[0][0] >= x:  # beside the upright, away from the loads
        marks.words((x - 14.0, y + 5.0), label, anchor="end", fill=ink)
    else:
        marks.words((x + 14.0, y + 5.0), label, fill=ink)


def _places(marks: Marks, corner: Point, layout: Layout, car: CarFile, case: Case) -> None:
    """Places with their names, and the alternator, the loads and the battery with their amps."""
    things = {ALTERNATOR, BATTERY}
    meter_x = next(_along(corners, 0.5)[0] for way, corners in layout.ways if way[0].name == AMMETER)
    for place, point in layout.at.items():
        at = _moved(corner, point)
        if place not in things:
            marks.dot(at)
        if place in things or place == car.bus:
            continue
        if point[0] in (_NEAR_X, _FAR_X):
            outside = _moved(corner, (point[0], _BOTTOM + 20.0))
            marks.words(outside, fit(place, 130), size=12, anchor="middle", fill=SOFT)
        else:
            left = point[0] < meter_x
            beside = (at[0] + (-6.0 if left else 6.0), at[1] + 21.0)
            room = (_FAR_X - _NEAR_X) / sum(corners[0][1] == point[1] == corners[-1][1] for _, corners in layout.ways)
            marks.words(beside, fit(place, room - 12.0, 11), size=11, anchor="end" if left else "start", fill=SOFT)
    _loads(marks, corner, layout.at[car.bus], car.bus, case)
    x, y = _moved(corner, (_ALTERNATOR_X, _MIDDLE))
    marks.box((x - 6.0, y), "alternator", 80, 34)
    marks.words((x - 6.0, y - 25), f"{case.alternator_a:.0f} A", anchor="middle", fill=FLOW, bold=True)
    x, y = _moved(corner, (_BATTERY_X, _MIDDLE))
    marks.box((x, y), "battery", 68, 34)
    fill = GIVES if case.battery_a < 0.0 else FLOW
    marks.words((x, y - 25), f"{case.battery_a:+.0f} A".replace("-", "−"), anchor="middle", fill=fill, bold=True)


def _loads(marks: Marks, corner: Point, at: Point, bus: str, case: Case) -> None:
    """The loads below their place, or above it where that is the lowest lane."""
    x, y = at
    if bus in (ALTERNATOR, BATTERY):
        begin = (_ALTERNATOR_X - 6.0 if bus == ALTERNATOR else _BATTERY_X, y + 17.0)
        box = (begin[0], y + 68.0)
    elif x in (_NEAR_X, _FAR_X) and y == _MIDDLE:
        begin, box = at, (x + (100.0 if x == _NEAR_X else -100.0), y)
    else:
        begin, box = at, (x, y + {_TOP: 68.0, _BOTTOM: -44.0}.get(y, 44.0))
    start, end = _moved(corner, begin), _moved(corner, box)
    marks.line(start, end, fill=FLOW, width=2.0)
    marks.current(start, end, 1.0, 2.0, 0.3)
    marks.box(end, f"loads {case.loads_a:.0f} A", 116, 38, below=bus)


def _table(
    marks: Marks, y: float, car: CarFile, drawn: Sequence[Branch], numbers: Mapping[str, str], whole: bool
) -> float:
    """The cables by their numbers; returns where the drawing ends."""
    columns = (_MARGIN, 64.0, 330.0, 640.0, 740.0, 850.0, 950.0)
    cables = {cable.name: cable for cable in car.cables}
    marks.line((_MARGIN, y), (_WIDTH - _MARGIN, y))
    y += 22.0
    for x, head in zip(columns, ("", "cable", "from, to", "length", "gauge", "resistance", ""), strict=True):
        marks.words((x, y), head, size=12, fill=SOFT)
    for branch in drawn:
        y += 21.0
        cable = cables[branch.name]
        marks.badge((columns[0] + 12.0, y - 4.0), numbers[branch.name])
        row = (fit(cable.name, 255), fit(f"{cable.start}, {cable.end}", 300), *_copper(cable))
        for x, text in zip(columns[1:], (*row, "added by the conversion" if cable.added else ""), strict=True):
            marks.words((x, y), text)
    assert car.ammeter is not None
    y += 21.0
    meter = car.ammeter
    scale = (
        f"full scale {meter.full_scale_a:g} A; grey in the dial: what no eye tells from zero, {meter.smallest_a:g} A"
    )
    marks.words((columns[1], y), "ammeter")
    marks.words((columns[2], y), fit(f"{meter.start}, {meter.end}", 300))
    marks.words((columns[5], y), f"{meter.resistance_ohm * 1000:.2f} mΩ")
    y += 24.0
    ending = "" if whole else " The car has more ways than are drawn; the amps are those of all of them."
    marks.words((columns[1], y), f"Ammeter: {scale}.{ending}", size=12, fill=SOFT)
    return y + 18.0


def _copper(cable: Cable) -> tuple[str, str, str]:
    """Length, gauge and resistance of a cable, in words."""
    ohm = f"{cable_ohm(cable) * 1000:.2f} mΩ"
    if cable.gauge is None:
        return "", "", ohm
    return f"{cable.length_m:g} m", str(cable.gauge), ohm


def _number(way: Sequence[Branch], numbers: Mapping[str, str]) -> str:
    return "+".join(numbers[branch.name] for branch in way)


def _along(points: tuple[Point, ...], share: float) -> Point:
    """A point of a way's first stretch."""
    (x0, y0), (x1, y1) = points[:2]
    return x0 + share * (x1 - x0), y0 + share * (y1 - y0)


def _moved(corner: Point, point: Point) -> Point:
    return corner[0] + point[0], corner[1] + point[1]
