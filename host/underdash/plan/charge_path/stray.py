"""What flows through an engine's mounts and linkage, which are no cable."""

from collections.abc import Iterator
from typing import NamedTuple

from underdash.carfile.model import BODY, ENGINE, GROUND, GROUND_SIDE, Cable, CarFile
from underdash.carfile.paths import ground
from underdash.plan.charge_path.ways import amps, mohm
from underdash.plan.results import Finding
from underdash.wire.network import Branch, currents, reached

# Common practice, no source: bearings pit and a throttle's inner cable glows at tens of amps, for hours at a few.
FEW_A = 5.0
MANY_A = 20.0  # for the seconds of a start, and for loads that seldom take all of the output at once
_ADDED = "a ground cable"
_OHMS = (1e-4, 0.1)  # no lugged cable has less, and more mends nothing


class Stray(NamedTuple):
    """Amps in a way that is no cable [A]."""

    charging_a: float
    """At full output, all of it into the battery."""
    loads_a: float
    """At full output, all of it into the loads."""
    cranking_a: float

    def within(self, charging_a: float, others_a: float) -> bool:
        """True if none is beyond these."""
        return self.charging_a <= charging_a and max(self.loads_a, self.cranking_a) <= others_a


def stray_ways(car: CarFile) -> list[Cable]:
    """Engine to body or to the battery's negative post, old, of stated resistance, nothing said to flow in it."""
    return [
        cable
        for cable in car.cables
        if cable.side == GROUND_SIDE
        and not cable.added
        and cable.gauge is None
        and not cable.carries
        and cable.stated_a is None
        and {cable.start, cable.end} in ({ENGINE, BODY}, {ENGINE, GROUND})
    ]


def stray(car: CarFile, cable: Cable, output_a: float, added: Branch | None = None) -> Stray:
    """What flows in `cable` at `output_a` [A] and while cranking, perhaps with one more cable added."""
    branches = [*ground(car), *([added] if added else [])]

    def through(start: str, fed_a: float) -> float:
        if start not in reached(branches, ENGINE):
            return 0.0
        return abs(currents(branches, {start: fed_a}, ENGINE)[cable.name])

    return Stray(through(GROUND, output_a), through(BODY, output_a), through(GROUND, car.starter_a))


def stray_findings(car: CarFile, output_a: float) -> Iterator[Finding]:
    """Each such way that carries more than a few amps."""
    for cable in stray_ways(car):
        found = stray(car, cable, output_a)
        if found.within(FEW_A, FEW_A):
            continue
        grave = not found.within(FEW_A, MANY_A)
        limit = (FEW_A, MANY_A if grave else FEW_A)
        harm = "such a current burns them" if grave else "that is no way for such a current"
        yield Finding(
            "act" if grave else "watch",
            f"'{cable.name}' carries {amps(found.charging_a)} at full output into the battery, {amps(found.loads_a)} "
            f"if the loads take it, and {amps(found.cranking_a)} while the starter turns. If that is no cable but "
            f"mounts, throttle cables and bearings, {harm}. What would mend it: "
            f"{_remedy(car, cable, output_a, limit)}. If it is a cable, say in the file what it carries.",
            f"{mohm(cable.stated_ohm or 0.0)} beside the cables; {FEW_A:.0f} A lasting, {MANY_A:.0f} A in a start or "
            "with every load on: common practice, no source",
            cable.line,
        )


def _remedy(car: CarFile, cable: Cable, output_a: float, limit: tuple[float, float]) -> str:
    """The ground cable that leaves the way no more than `limit` [A], the weakest that does, in words."""
    for place, words in ((GROUND, "the battery's negative post"), (BODY, "the body")):
        if place not in reached(ground(car), ENGINE):
            continue
        low, high = _OHMS
        if not stray(car, cable, output_a, Branch(_ADDED, ENGINE, place, low)).within(*limit):
            continue
        for _ in range(30):  # the current in what lies beside it never falls with its resistance
            middle = 0.5 * (low + high)
            enough = stray(car, cable, output_a, Branch(_ADDED, ENGINE, place, middle)).within(*limit)
            low, high = (middle, high) if enough else (low, middle)
        return f"a ground cable from the engine to {words}, of at most {mohm(low)} from end to end"
    return "a ground cable from the engine to the body and another to the battery's negative post, short and thick"
