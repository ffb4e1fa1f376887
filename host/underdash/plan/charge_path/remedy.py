"""What would bring a side's drop down to its limit: a cable beside the path, beside one cable, or in its place."""

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import replace

from underdash.carfile.model import GROUND_SIDE, SUPPLY_SIDE, Cable, CarFile
from underdash.plan.charge_path.currents import Flow, flow
from underdash.plan.charge_path.ways import mohm
from underdash.plan.results import Drop
from underdash.wire.gauge import Gauge, ladder
from underdash.wire.network import Branch, potentials

_LEAST_OHM = 1e-6


def remedies(car: CarFile, drop: Drop, along: Flow, side: str) -> Iterator[str]:
    """The ways to bring `drop` to its limit, each with its figure [mohm], in words."""
    assert drop.limit_v is not None and drop.volts > drop.limit_v
    most = mohm(beside_ohm(drop.ohm, drop.limit_v / drop.amps))
    whole = f"a second cable all the way from alternator to battery, of at most {most} from end to end"
    if side == GROUND_SIDE:
        whole = f"a separate cable from the engine's block to the battery's negative post, of at most {most}"
    cable, most_ohm = _replaceable(car, along, side, drop.limit_v)
    if cable is None:
        yield whole
        return
    now_ohm = next(branch.ohm for branch in along.branches if branch.name == cable.name)
    second = replace(cable, name=f"{cable.name}, second")
    two = _gauge(car, cable, drop, side, beside_ohm(now_ohm, most_ohm), second)
    if {cable.start, cable.end} == {drop.start, drop.end}:
        yield f"{whole}{two}"
    else:
        yield whole
        yield f"one beside '{cable.name}', of at most {mohm(beside_ohm(now_ohm, most_ohm))}{two}"
    yield (
        f"one in place of '{cable.name}', of at most {mohm(most_ohm)} where that has {mohm(now_ohm)}"
        f"{_gauge(car, cable, drop, side, most_ohm)}"
    )


def largest(along: Flow) -> list[Branch]:
    """What a current flows through, the one first whose resistance matters most to the drop.

    A change of one resistance changes the drop by (its share of the current)^2 (Tellegen's theorem), so what each
    adds is amps^2 x ohm / total amps, and over all branches that sums to the drop.
    """
    return sorted(along.branches, key=lambda branch: -(along.amps[branch.name] ** 2) * branch.ohm)


def _replaceable(car: CarFile, along: Flow, side: str, limit_v: float) -> tuple[Cable | None, float]:
    """The cable of copper that matters most and whose replacement alone can do, and the most that may have [ohm]."""
    cables = {c.name: c for c in car.cables if c.side == side and c.gauge is not None and c.stated_ohm is None}
    for branch in largest(along):
        most_ohm = in_place_ohm(along, branch.name, limit_v) if branch.name in cables else None
        if most_ohm is not None:
            return cables[branch.name], most_ohm
    return None, 0.0


def beside_ohm(ohm: float, wanted_ohm: float) -> float:
    """What makes `wanted_ohm` of `ohm`, put beside it [ohm]."""
    return wanted_ohm * ohm / (ohm - wanted_ohm)


def in_place_ohm(along: Flow, name: str, limit_v: float) -> float | None:
    """The most that one branch may have for the drop to be at its limit [ohm]; None if the others lose too much.

    Bisection: the drop never falls with a resistance. The other branches keep their warmth.
    """

    def lost_v(ohm: float) -> float:
        branches = [branch._replace(ohm=ohm) if branch.name == name else branch for branch in along.branches]
        return potentials(branches, {along.start: amps}, along.end)[along.start]

    amps = sum(_out(along, branch.name) for branch in along.branches)
    low, high = _LEAST_OHM, next(branch.ohm for branch in along.branches if branch.name == name)
    if lost_v(low) > limit_v:
        return None
    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if lost_v(middle) <= limit_v else (low, middle)
    return low


def _out(along: Flow, name: str) -> float:
    """Amps that leave the first place by a branch [A]."""
    branch = next(b for b in along.branches if b.name == name)
    return along.amps[name] * ((branch.start == along.start) - (branch.end == along.start))


def _gauge(car: CarFile, cable: Cable, drop: Drop, side: str, most_ohm: float, second: Cable | None = None) -> str:
    """Which standard gauge does it, in place of `cable` or as a `second` beside it, in words.

    Length, insulation, air and joints are those of `cable`. A second one is no thinner than the first: if one of the
    two opens, the other has all of the current.
    """
    assert cable.gauge is not None and drop.limit_v is not None
    if cable.joints_ohm >= most_ohm:
        return "" if second else f" (the joints of '{cable.name}' alone have {mohm(cable.joints_ohm)}: those first)"
    limit_v = drop.limit_v
    start, end = (drop.start, drop.end) if side == SUPPLY_SIDE else (drop.end, drop.start)
    others = tuple(other for other in car.cables if other.name != cable.name)
    sizes = [gauge for gauge in ladder(cable.gauge.system) if gauge.area_mm2 >= cable.gauge.area_mm2]

    def enough(gauge: Gauge) -> bool:
        put = (replace(cable, gauge=gauge),) if second is None else (cable, replace(second, gauge=gauge))
        return flow(replace(car, cables=(*others, *put)), side, drop.amps, start, end).drop_v <= limit_v

    found = bisect_left(sizes, True, key=enough)  # thicker never loses more
    if found < len(sizes):
        return f" ({sizes[found]} does it at its {cable.length_m:g} m)"
    joints = f" with joints of {mohm(cable.joints_ohm)}" if cable.joints_ohm > 0.0 else ""
    return f" (no listed size does it at its {cable.length_m:g} m{joints})"
