"""Which ends of a cable something can feed, and so where its fuse goes."""

from collections.abc import Collection, Sequence

from underdash.carfile.model import ALTERNATOR, BATTERY, CRANK, SUPPLY_SIDE, Cable, CarFile
from underdash.carfile.paths import AMMETER, supply
from underdash.plan.cables.criteria import allowed_a
from underdash.plan.cables.fuses import MOST_SHARE
from underdash.plan.cables.solved import loop_names
from underdash.wire.network import Branch, Unconnected, between, reached


def fed(
    branches: Sequence[Branch], without: Collection[str], sources: Sequence[str] = (BATTERY, ALTERNATOR)
) -> set[str]:
    """Places that a source still feeds when the branches named `without` are taken out, the sources themselves too."""
    rest = [branch for branch in branches if branch.name not in without]
    return set().union(*(reached(rest, source) for source in sources))


def fuse_ends(car: CarFile, cable: Cable) -> tuple[str, ...]:
    """The ends of a supply cable where a fuse belongs, the one that is fed hardest first.

    An end that the battery still feeds with the cable itself taken out; both, where both do. A way through a cable
    that may carry no more than this one does not count, for the fuse that protects the thinner protects this one too,
    unless it is the only way. The cables of the old ammeter loop are taken out together, and the alternator counts
    as much as the battery there (`plan.ammeter`). Elsewhere the alternator's end counts where the battery feeds none,
    and the start where nothing does.
    """
    branches, ends = supply(car), (cable.start, cable.end)
    own, loop = {cable.name}, loop_names(car)
    rest = [branch for branch in branches if branch.name not in own]
    if cable.name in loop:
        found = _in(ends, fed(branches, {*loop, AMMETER}))
    else:
        found = _in(ends, fed(branches, own | _guards(car, cable), (BATTERY,)))
    if not found:  # by way of a thinner cable only: then the nearer end, for the farther one has that cable's fuse
        found = sorted(_in(ends, fed(branches, own, (BATTERY,))), key=lambda end: _ohm(rest, end))[:1]
    found = found or _in(ends, fed(branches, own, (ALTERNATOR,))) or list(ends[:1])
    return tuple(sorted(found, key=lambda end: _ohm(rest, end)))


def _in(ends: Sequence[str], places: set[str]) -> list[str]:
    return [end for end in ends if end in places]


def _ohm(branches: Sequence[Branch], end: str) -> float:
    """Between a place and the battery [ohm]."""
    try:
        return between(branches, end, BATTERY)
    except Unconnected:
        return float("inf")


def _guards(car: CarFile, cable: Cable) -> set[str]:
    """Other supply cables whose fuse, fitted or wanted, protects this one as well."""
    most_a = _most_a(cable)
    return {
        other.name
        for other in car.cables
        if other.side == SUPPLY_SIDE and other.name != cable.name and _fuse_a(other) <= most_a
    }


def _fuse_a(cable: Cable) -> float:
    """The largest fuse that it has, or will have when the plan's advice is taken [A]."""
    wanted = float("inf") if CRANK in cable.carries else _most_a(cable, float("inf"))
    return wanted if cable.fuse_a is None else min(cable.fuse_a, _most_a(cable, float("inf")))


def _most_a(cable: Cable, unknown: float = 0.0) -> float:
    """The largest fuse that protects it [A]; `unknown` without a gauge."""
    may_a = allowed_a(cable)
    return unknown if may_a is None else MOST_SHARE * may_a
