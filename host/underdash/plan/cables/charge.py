"""The charge path as a whole: the drop that each of its cables is held to, and which sizes bring it within."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from underdash.carfile.model import (
    ALTERNATOR,
    BATTERY,
    CHARGE,
    ENGINE,
    GROUND,
    GROUND_SIDE,
    SUPPLY_SIDE,
    Cable,
    CarFile,
)
from underdash.plan.charge_path.currents import Flow, flow
from underdash.wire.gauge import Gauge, ladder
from underdash.wire.network import Unconnected

MAIN_SHARE = 0.5
"""A cable that carries so much of the charge is held to the path's limit, whatever the file says of it."""
_LEAST_SHARE = 1e-3


@dataclass(frozen=True)
class Path:
    """One side of the charge path at full hot output."""

    car: CarFile
    side: str
    amps: float
    """Full hot output [A]."""
    limit_v: float
    along: Flow
    members: tuple[Cable, ...]
    """The cables that are held to `limit_v`."""

    @property
    def drop_v(self) -> float:
        """Lost from end to end [V]."""
        return self.along.drop_v

    def own(self, cable: Cable) -> tuple[float, float]:
        """(amps [A], volts lost [V]) of one cable of it."""
        ohm = next(branch.ohm for branch in self.along.branches if branch.name == cable.name)
        amps = abs(self.along.amps[cable.name])
        return amps, amps * ohm

    def drop_with_v(self, *others: Cable) -> float:
        """Lost from end to end with `others` in place of those of their names [V]."""
        new = {cable.name: cable for cable in others}
        cables = tuple(new.get(cable.name, cable) for cable in self.car.cables)
        return _along(replace(self.car, cables=cables), self.side, self.amps).drop_v

    @property
    def mends_alone(self) -> bool:
        """True if the largest size of one cable of it brings the drop within the limit by itself."""
        sized = (cable for cable in self.members if cable.gauge and cable.stated_ohm is None)
        return any(
            self.drop_with_v(replace(cable, gauge=ladder(cable.gauge.system)[-1])) <= self.limit_v
            for cable in sized
            if cable.gauge
        )

    def mended(self) -> dict[str, Gauge] | None:
        """{cable: gauge} that brings the drop within the limit, step by step where a step gains most; None if none
        does. Empty if it is within."""
        new = {cable.name: cable for cable in self.members if cable.gauge and cable.stated_ohm is None}
        lost_v, found = self.drop_v, dict[str, Gauge]()
        while lost_v > self.limit_v:
            tried = [(self.drop_with_v(*{**new, each.name: each}.values()), each) for each in _one_up(new.values())]
            if not tried:
                return None
            lost_v, best = min(tried, key=lambda pair: pair[0])
            assert best.gauge is not None
            new[best.name], found[best.name] = best, best.gauge
        return found


def paths_of(car: CarFile) -> dict[str, Path]:
    """{side: its charge path}, of the sides whose ends are joined."""
    amps, limits = max(car.alternator.hot_a), car.limits
    found = {}
    for side, limit_v in ((SUPPLY_SIDE, limits.charge_supply_v), (GROUND_SIDE, limits.charge_ground_v)):
        try:
            along = _along(car, side, amps)
        except Unconnected:
            continue
        if amps > 0.0:
            members = tuple(cable for cable in car.cables if cable.side == side and _held(cable, along, amps))
            found[side] = Path(car, side, amps, limit_v, along, members)
    return found


def _held(cable: Cable, along: Flow, amps: float) -> bool:
    """True if it carries the charge and has no limit of its own."""
    share = abs(along.amps.get(cable.name, 0.0)) / amps
    return cable.drop_limit_v is None and (share >= MAIN_SHARE or (CHARGE in cable.carries and share > _LEAST_SHARE))


def _along(car: CarFile, side: str, amps: float) -> Flow:
    start, end = (ALTERNATOR, BATTERY) if side == SUPPLY_SIDE else (GROUND, ENGINE)
    return flow(car, side, amps, start, end)


def _one_up(cables: Iterable[Cable]) -> Iterator[Cable]:
    """Each cable in the next larger size of its system, where there is one."""
    for cable in cables:
        now = cable.gauge
        gauge = next((each for each in ladder(now.system) if each.area_mm2 > now.area_mm2), None) if now else None
        if gauge is not None:
            yield replace(cable, gauge=gauge)
