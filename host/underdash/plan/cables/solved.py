"""What flows in the heavy wiring by Kirchhoff's laws, whatever the file says of each cable."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from underdash.carfile import paths
from underdash.carfile.model import ALTERNATOR, BATTERY, BODY, ENGINE, GROUND, LOOP, STARTER, CarFile
from underdash.wire.network import Branch, Unconnected, currents

LEAST_A = 1e-3
"""Less than this is no current of a network, but rounding [A]."""


@dataclass(frozen=True)
class Solved:
    """Amps in one branch of the supply side or the ground side [A]."""

    lasting_a: float = 0.0
    """The most of the lasting cases."""
    charge_a: float = 0.0
    """Of the alternator's full output into the battery alone."""
    loads_a: float = 0.0
    """Of all loads on with no output."""
    crank_a: float = 0.0
    """While the starter turns the engine."""
    alone_a: float = 0.0
    """The most of the lasting cases if one other cable opens."""
    opened: str = ""
    """That cable."""
    joined: bool = False
    """True where at least one of the lasting cases could be solved."""


Corners = Sequence[Mapping[str, float]]


def solve(car: CarFile, output_a: float, demand_a: float) -> dict[str, Solved]:
    """Each branch of both sides, by name; what hangs loose carries nothing, what does not connect is left out.

    The lasting cases are full output `output_a` into the battery alone, full output with all loads `demand_a` on, and
    all loads on with no output [A]. Amps in a branch are linear in output and demand, so no case between these, the
    shortfall of a hot idle for one, makes more flow.

    Nobody may count on the old ammeter loop, which may be fused, or come off, nor on a way that carries nothing by
    the file, such as an engine's mounts: the others are solved with these and without, and the larger counts.
    """
    supply, ground = paths.supply(car), paths.ground(car)
    one = _injected((ALTERNATOR, output_a)), _injected((ALTERNATOR, output_a), (car.bus, -demand_a))
    supply_corners = (*one, _injected((car.bus, -demand_a)))
    two = _injected((ENGINE, -output_a)), _injected((ENGINE, -output_a), (BODY, demand_a))
    ground_corners = (*two, _injected((BODY, demand_a)))
    return {
        **_side([supply, firm(car, supply)], supply_corners, _injected((STARTER, -car.starter_a)), BATTERY),
        **_side([ground, firm(car, ground)], ground_corners, _injected((ENGINE, car.starter_a)), GROUND),
    }


def firm(car: CarFile, branches: Sequence[Branch]) -> list[Branch]:
    """`branches` without those that nobody may count on: the old loop, and what carries nothing by the file."""
    spare = loop_names(car) | {c.name for c in car.cables if not c.carries and c.stated_a is None} | {paths.AMMETER}
    return [branch for branch in branches if branch.name not in spare]


def loop_names(car: CarFile) -> set[str]:
    """Cables of the old ammeter loop, by the file."""
    return {cable.name for cable in car.cables if LOOP in cable.carries and not cable.added}


def _injected(*pairs: tuple[str, float]) -> dict[str, float]:
    """{place: amps fed in there [A]}, summed."""
    found: dict[str, float] = {}
    for place, amps in pairs:
        found[place] = found.get(place, 0.0) + amps
    return found


def _side(ways: Sequence[list[Branch]], corners: Corners, crank: Mapping[str, float], zero: str) -> dict[str, Solved]:
    lasting = [_most(branches, corners, zero) for branches in ways]
    if not any(lasting) and not _most(ways[0], [crank], zero):
        return {}
    charge = [_most(branches, corners[:1], zero) for branches in ways]
    loads = [_most(branches, corners[2:], zero) for branches in ways]
    cranking = [_most(branches, [crank], zero) for branches in ways]
    steady = ways[-1]
    alone: dict[str, tuple[float, str]] = {}
    for gone in steady:
        if _of(lasting, gone.name) <= LEAST_A:
            continue
        for name, amps in _most([b for b in steady if b.name != gone.name], corners, zero).items():
            alone[name] = max(alone.get(name, (0.0, "")), (amps, gone.name))
    return {
        branch.name: Solved(
            _of(lasting, branch.name),
            _of(charge, branch.name),
            _of(loads, branch.name),
            _of(cranking, branch.name),
            *alone.get(branch.name, (0.0, "")),
            joined=any(lasting),
        )
        for branch in ways[0]
    }


def _of(found: Iterable[Mapping[str, float]], name: str) -> float:
    return max(amps.get(name, 0.0) for amps in found)


def _most(branches: list[Branch], corners: Corners, zero: str) -> dict[str, float]:
    """The most in each branch, either way, over the corners that connect [A]; empty if none does."""
    found: dict[str, float] = {}
    for injected in corners:
        if not any(injected.values()):
            continue
        try:
            amps = currents(branches, injected, zero)
        except Unconnected:
            continue
        for name, through in amps.items():
            found[name] = max(found.get(name, 0.0), abs(through))
    return found
