"""The tests that a cable has to pass, asked of its own gauge and of every other."""

from collections.abc import Callable
from dataclasses import dataclass

from underdash.carfile import paths
from underdash.carfile.model import Cable
from underdash.plan.cables import fuses
from underdash.plan.cables.charge import Path
from underdash.plan.cables.flows import Flow
from underdash.wire import ampacity

AMPACITY, FUSE, FUSE_LOAD = "ampacity", "fuse", "load on the fuse"
PATH, DROP, CRANKING = "path drop", "drop", "crank drop"
"""Names of the tests. The conductor's temperature is none: it follows from the current, and is an estimate."""

HOTTEST_C = 200.0
"""Copper is not followed beyond the hottest insulation of the table [C]: a cable that hot has failed long before."""


@dataclass(frozen=True)
class Test:
    """A criterion before it is asked."""

    __test__ = False  # no test of the project's

    name: str
    unit: str
    measure: Callable[[Cable], tuple[float, float]]
    """(value, limit) of the cable, or of one like it of another gauge."""
    sized: bool
    """False if the gauge changes nothing."""

    def passes(self, cable: Cable) -> bool:
        value, limit = self.measure(cable)
        return value <= limit


def tests(cable: Cable, flow: Flow, path: Path | None) -> list[Test]:
    """Those that apply to a cable with that flow; `path` is the charge path of its side, if there is one."""
    amps, fuse_a = flow.sustained_a, cable.fuse_a

    def lost(other: Cable) -> tuple[float, float]:
        return flow.drop_a * working_ohm(other, amps), flow.drop_limit_v

    found = []
    if amps > 0.0 and cable.gauge:
        found.append(Test(AMPACITY, "A", lambda other: (amps, allowed_a(other) or 0.0), sized=True))
    by_size = cable.stated_ohm is None
    if path is not None and cable in path.members:
        found.append(Test(PATH, "V", lambda other: (path.drop_with_v(other), path.limit_v), sized=by_size))
    if flow.drop_a > 0.0:
        found.append(Test(DROP, "V", lost, sized=by_size))
    if flow.crank_a > 0.0:
        # A crank warms nothing: the copper is as warm as its air.
        found.append(
            Test(CRANKING, "V", lambda o: (flow.crank_a * paths.cable_ohm(o), flow.crank_limit_v), sized=by_size)
        )
    if fuse_a is not None and cable.gauge:
        most = fuses.MOST_SHARE
        found.append(Test(FUSE, "A", lambda other: (fuse_a, most * (allowed_a(other) or 0.0)), sized=True))
    if fuse_a is not None and amps > 0.0:
        found.append(Test(FUSE_LOAD, "A", lambda _: (fuses.least_a(flow), fuse_a), sized=False))
    return found


def allowed_a(cable: Cable, insulation_c: float | None = None) -> float | None:
    """What the table allows a cable, or one of another class in its place [A]; None without a gauge."""
    if cable.gauge is None:
        return None
    rating = cable.insulation_c if insulation_c is None else insulation_c
    return ampacity.allowed_a(cable.gauge.area_mm2, rating, cable.ambient_c, cable.bundle)


def working_c(cable: Cable, amps: float) -> float | None:
    """Conductor's temperature at a lasting current [C]: an estimate; None without a gauge.

    Currents of moments, a crank's among them, do not warm it.
    """
    if cable.gauge is None:
        return None
    return ampacity.conductor_c(cable.gauge.area_mm2, amps, cable.ambient_c, cable.bundle)


def working_ohm(cable: Cable, amps: float) -> float:
    """Resistance at the temperature that a lasting current brings, HOTTEST_C at most, joints included [ohm]."""
    celsius = working_c(cable, amps)
    return paths.cable_ohm(cable, None if celsius is None else min(celsius, max(HOTTEST_C, cable.ambient_c)))
