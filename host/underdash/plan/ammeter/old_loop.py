"""What the old ammeter loop carries once it is one way of several, and whether it may stay."""

from collections.abc import Iterable
from dataclasses import dataclass

from underdash.carfile.model import ALTERNATOR, BATTERY, LOOP, SUPPLY_SIDE, Cable, CarFile
from underdash.carfile.paths import AMMETER, supply
from underdash.plan.ammeter.cases import CRANKING, Case, cases, extremes, flows, openings
from underdash.plan.ammeter.loop import Loop
from underdash.plan.cables.fuses import LOAD_SHARE, MOST_SHARE, STANDARD
from underdash.plan.cables.sources import fed
from underdash.wire.ampacity import allowed_a
from underdash.wire.network import Branch, reached

LEAVE, FUSE, REMOVE = "leave", "fuse", "remove"


@dataclass(frozen=True)
class Strand:
    """A cable of the old loop, and the most that flows in it, cranking aside."""

    cable: Cable
    after_a: float
    """With the conversion's cables in place [A]."""
    alone_a: float
    """If one of them opens, or its fuse: the worst of them [A]."""
    opened: str
    """That one; empty if none makes it more."""
    ampacity_a: float | None
    """What its copper and insulation allow where it runs [A]; None without a gauge."""
    sources: int
    """At how many of its ends something else can feed a fault in it: 0 to 2."""

    @property
    def most_fuse_a(self) -> float | None:
        """The largest fuse that protects it [A]."""
        return None if self.ampacity_a is None else MOST_SHARE * self.ampacity_a

    @property
    def protected(self) -> bool:
        """True if the file states a fuse that holds what flows and protects it, at each end with a source.

        A file can state one fuse for a cable, so one with two such ends never counts as protected.
        """
        if self.sources == 0:
            return True
        if self.sources == 2 or self.most_fuse_a is None or self.cable.fuse_a is None:
            return False
        return self.after_a <= self.cable.fuse_a <= self.most_fuse_a


@dataclass(frozen=True)
class OldLoop:
    """The meter's loop with its cables and what flows in them."""

    loop: Loop | None
    strands: tuple[Strand, ...]
    """The hardest-used first."""
    meter_a: float
    """The most through the meter itself after [A]."""
    meter_alone_a: float
    """And if one of the conversion's cables opens [A]."""
    meter_is_fed: bool
    """True where a post of the meter is itself a place that something else can feed, with no cable to put a fuse in."""
    is_the_only_way: bool
    """True where without it the alternator, or the loads, would be cut off from the battery."""

    @property
    def after_a(self) -> float:
        """The most that any part of it carries, cranking aside [A]."""
        return max([self.meter_a, *(strand.after_a for strand in self.strands)])

    @property
    def alone_a(self) -> float:
        """The same if one of the conversion's cables opens [A]."""
        return max([self.meter_alone_a, *(strand.alone_a for strand in self.strands)])

    @property
    def ampacity_a(self) -> float | None:
        """What its weakest cable allows [A]; None if no cable of it has a gauge."""
        return min((s.ampacity_a for s in self.strands if s.ampacity_a is not None), default=None)

    @property
    def most_fuse_a(self) -> float | None:
        """The largest fuse that protects all of it [A]."""
        return None if self.ampacity_a is None else MOST_SHARE * self.ampacity_a

    @property
    def fuse_a(self) -> float | None:
        """The smallest standard fuse that holds what flows with everything in order and protects all of it [A]."""
        least, most = self.after_a / LOAD_SHARE, self.most_fuse_a
        return next((rating for rating in STANDARD if most is not None and least <= rating <= most), None)

    @property
    def overloaded(self) -> tuple[Strand, ...]:
        """Cables that carry more than they may with everything in order."""
        return tuple(s for s in self.strands if s.ampacity_a is not None and s.after_a > s.ampacity_a)

    @property
    def overloaded_alone(self) -> tuple[Strand, ...]:
        """Cables that would carry more than they may if one of the conversion's cables opened."""
        return tuple(s for s in self.strands if s.ampacity_a is not None and s.alone_a > s.ampacity_a)

    @property
    def verdict(self) -> str:
        """LEAVE if each end with a source has its fuse, REMOVE if no fuse can help, else FUSE."""
        if self.strands and not (self.overloaded or self.meter_is_fed) and all(s.protected for s in self.strands):
            return LEAVE
        if self.is_the_only_way:
            return FUSE
        known = bool(self.strands) and all(strand.ampacity_a is not None for strand in self.strands)
        return FUSE if known and self.fuse_a is not None and not self.overloaded else REMOVE


def old_loop(car: CarFile, loop: Loop | None) -> OldLoop:
    """The cables of the meter's loop, with those that the file calls so, and the most that they carry."""
    chain = {branch.name for branch in loop.chain} if loop else set()
    mine = [
        cable
        for cable in car.cables
        if cable.side == SUPPLY_SIDE and not cable.added and (cable.name in chain or LOOP in cable.carries)
    ]
    after = supply(car)
    lasting = [*(case for case in cases(car) if case.name != CRANKING), *extremes(car)]
    normal = _worst(after, lasting, car.bus)
    alone = {name: _worst(branches, lasting, car.bus) for name, branches in openings(car).items()}
    names = {cable.name for cable in mine} | {AMMETER}
    rest = [branch for branch in after if branch.name not in names]
    live = fed(after, names)
    strands = []
    for cable in mine:
        after_a = normal.get(cable.name, 0.0)
        opened, alone_a = "", after_a
        for name, worst in alone.items():
            if worst.get(cable.name, 0.0) > alone_a + 0.05:
                opened, alone_a = name, worst[cable.name]
        sources = (cable.start in live) + (cable.end in live)
        strands.append(Strand(cable, after_a, alone_a, opened, ampacity_a(cable), sources))
    meter_a = normal.get(AMMETER, 0.0)
    return OldLoop(
        loop=loop,
        strands=tuple(sorted(strands, key=lambda strand: -strand.alone_a / (strand.ampacity_a or 1.0))),
        meter_a=meter_a,
        meter_alone_a=max([meter_a, *(worst.get(AMMETER, 0.0) for worst in alone.values())]),
        meter_is_fed=car.ammeter is not None and bool({car.ammeter.start, car.ammeter.end} & live),
        is_the_only_way=not {ALTERNATOR, car.bus} <= reached(rest, BATTERY),
    )


def ampacity_a(cable: Cable) -> float | None:
    """What a cable may carry where it runs [A], by 33 CFR 183.425 Table 5; None if the file or the table can't say."""
    if cable.gauge is None:
        return None
    try:
        return allowed_a(cable.gauge.area_mm2, cable.insulation_c, cable.ambient_c, cable.bundle)
    except ValueError:
        return None


def _worst(branches: list[Branch], chosen: Iterable[Case], bus: str) -> dict[str, float]:
    """The most that flows in each branch over these cases, either way [A]; empty where nothing can flow."""
    worst: dict[str, float] = {}
    for case in chosen:
        for name, amps in (flows(branches, case, bus) or {}).items():
            worst[name] = max(worst.get(name, 0.0), abs(amps))
    return worst
