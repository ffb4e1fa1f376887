"""Each load's own circuit, supply and ground together, and what is lost while cranking."""

from underdash.carfile import paths
from underdash.carfile.model import (
    ALL_LOADS,
    BATTERY,
    BODY,
    ENGINE,
    GROUND,
    GROUND_SIDE,
    STARTER,
    SUPPLY_SIDE,
    Cable,
    CarFile,
)
from underdash.plan.cables.flows import NOMINAL_12_V
from underdash.plan.cables.solved import firm
from underdash.plan.results import CableResult, Circuit, Cranking
from underdash.wire.network import Branch, Unconnected, between, reached


def circuits(car: CarFile, results: dict[str, CableResult]) -> tuple[Circuit, ...]:
    """A circuit for each load that the file has a cable of."""
    upstream = _upstream(car)
    shared = [cable for cable in car.cables if ALL_LOADS in cable.carries and cable.name not in upstream]
    found = []
    for load in car.loads:
        named = [cable for cable in car.cables if load.name in cable.carries]
        if not named:
            continue
        mine = {cable.name: cable for cable in (*named, *shared)}.values()
        lost = {SUPPLY_SIDE: 0.0, GROUND_SIDE: 0.0}
        for cable in mine:
            lost[cable.side] += _lost_v(car, cable, results[cable.name])
        sides = {cable.side for cable in mine}
        limit_v = car.limits.load_share * NOMINAL_12_V
        found.append(
            Circuit(
                load,
                load.amps,
                lost[SUPPLY_SIDE],
                lost[GROUND_SIDE],
                limit_v,
                SUPPLY_SIDE in sides,
                GROUND_SIDE in sides,
            )
        )
    return tuple(found)


def cranking(car: CarFile) -> Cranking | None:
    """What both sides lose at the starter's current, copper as warm as its air, by the ways that count."""
    supply_ohm = _between(car, paths.supply(car), BATTERY, STARTER)
    ground_ohm = _between(car, paths.ground(car), ENGINE, GROUND)
    if (supply_ohm is None and ground_ohm is None) or car.starter_a <= 0.0:
        return None
    return Cranking(car.starter_a, supply_ohm, ground_ohm)


def _between(car: CarFile, branches: list[Branch], one: str, other: str) -> float | None:
    for ways in (firm(car, branches), branches):
        try:
            return between(ways, one, other)
        except Unconnected:
            continue
    return None


def _lost_v(car: CarFile, cable: Cable, result: CableResult) -> float:
    """What a cable of a circuit loses with everything on that it carries [V]."""
    if ALL_LOADS in cable.carries:
        return result.ohm * result.amps
    return result.ohm * sum(load.amps for load in car.loads if load.name in cable.carries)


def _upstream(car: CarFile) -> set[str]:
    """Cables between battery and bus, or between body and battery: no part of any one load's circuit."""
    found = set()
    for branches, here, origin in (
        (paths.supply(car), car.bus, BATTERY),
        (paths.ground(car), BODY, GROUND),
    ):
        # With the bus (the body) taken out, what still hangs together with the battery lies before it.
        apart = [branch for branch in branches if here not in (branch.start, branch.end)]
        before = reached(apart, origin) if origin != here else set()
        found |= {branch.name for branch in branches if {branch.start, branch.end} & before}
    return found
