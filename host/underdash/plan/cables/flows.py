"""What flows in each cable of a car file: lastingly, when what it feeds is on, and at worst for a moment.

Stated amps and loads by name are as the file says. What it says in words, `charge`, `loads`, `crank` and `ammeter
loop`, is solved (`plan.cables.solved`) where the cable lies in the network; elsewhere the word counts in full.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import sqrt

from underdash.carfile.model import (
    ALL_LOADS,
    BRIEF,
    CHARGE,
    CRANK,
    LOOP,
    SUPPLY_SIDE,
    Cable,
    CarFile,
    Load,
)
from underdash.plan.cables.solved import LEAST_A, Solved, solve
from underdash.plan.most import full_demand_a, full_output_a

NOMINAL_12_V = 12.0
"""Volts that a load's drop limit is a share of [V]."""

MAIN_SHARE = 0.5
"""A cable that carries so much of the starter's current is a starter cable, whatever the file says of it."""

CLEARLY = 1.1, 1.0
"""By this factor and by so many amps [A] a solved current has to exceed the file's word to be told."""


@dataclass(frozen=True)
class Flow:
    """The currents of one cable [A]."""

    sustained_a: float = 0.0
    """What warms it."""
    steady_a: float = 0.0
    """With everything on that it feeds, each at its steady draw: what a fuse has to carry."""
    brief_a: float = 0.0
    """The most for a moment: with inrush, or while cranking."""
    drop_a: float = 0.0
    """The current of the drop test of its own [A]; 0 if there is none."""
    drop_limit_v: float = 0.0
    """And its limit [V]."""
    crank_a: float = 0.0
    """The starter's current in it, for the crank test [A]; 0 if it is no starter cable."""
    crank_limit_v: float = 0.0
    """And its limit [V]."""
    claimed_a: float = 0.0
    """The most that the file's own words amount to, lastingly [A]."""
    solved: Solved = field(default_factory=Solved)
    """By the network; all 0 outside it."""
    starts_motor: bool = False
    """True if a load on its own draws twice its amps or more at switch-on."""

    @property
    def unsaid_a(self) -> float:
        """What the network has flow in it, where that is clearly more than the file's words amount to; else 0 [A]."""
        factor, more_a = CLEARLY
        found = self.solved.lasting_a
        return found if found > max(factor * self.claimed_a, self.claimed_a + more_a) else 0.0


def lasting_a(load: Load) -> float:
    """What a load adds to its own cable, lastingly [A].

    In full: a fan that runs half of the time runs for minutes on end, as long as a cable takes to warm. A load that
    is on by the driver's hand alone counts with the root of its duty, for heat goes with the square of the current.
    """
    return load.amps * sqrt(load.duty) if load.when == {BRIEF} else load.amps


def with_inrush_a(loads: Iterable[Load]) -> float:
    """All of them on, and the worst single inrush on top [A]."""
    loads = tuple(loads)
    return sum(load.amps for load in loads) + max(((load.inrush - 1.0) * load.amps for load in loads), default=0.0)


def flows(car: CarFile) -> dict[str, Flow]:
    """The flow of every cable, by name."""
    output_a, demand_a = full_output_a(car), full_demand_a(car)
    solved = solve(car, output_a, demand_a)
    loads = {load.name: load for load in car.loads}
    found = {}
    for cable in car.cables:
        own = tuple(loads[name] for name in cable.carries if name in loads)
        one = _Cable(car, cable, own, solved.get(cable.name) or Solved(), output_a, demand_a)
        found[cable.name] = one.flow()
    return found


@dataclass(frozen=True)
class _Amps:
    """What one of the things that a cable carries brings with it [A]."""

    lasting: float = 0.0
    moment: float = 0.0
    claimed: float = 0.0
    """By the file's words alone, lastingly."""


@dataclass(frozen=True)
class _Cable:
    """One cable, and what there is to know of what it carries."""

    car: CarFile
    cable: Cable
    own: tuple[Load, ...]
    """The loads that it names."""
    solved: Solved
    output_a: float
    demand_a: float

    def flow(self) -> Flow:
        # The largest of what it carries, not their sum: charge, loads and loop are the same amps on different ways.
        kinds = (self._own(), self._network(), self._all_loads(), self._charge(), self._loop())
        sustained_a = max(kind.lasting for kind in kinds)
        crank_a = self._crank_a()
        drop_a, drop_limit_v = self._drop_test(sustained_a)
        # A limit that the file states is for what flows lastingly, unless nothing does.
        own_v = self.cable.drop_limit_v if sustained_a <= 0.0 else None
        return Flow(
            sustained_a=sustained_a,
            steady_a=max(sustained_a, self._on_a),
            brief_a=max(sustained_a, *(kind.moment for kind in kinds), self.solved.crank_a, crank_a),
            drop_a=drop_a,
            drop_limit_v=drop_limit_v,
            crank_a=crank_a,
            crank_limit_v=self.car.limits.crank_v if own_v is None else own_v,
            claimed_a=max(kind.claimed for kind in kinds) if self._known else float("inf"),
            solved=self.solved,
            starts_motor=any(load.inrush >= 2.0 for load in self.own),
        )

    @property
    def _known(self) -> bool:
        """Does the file say at all what it carries?"""
        return bool(self.cable.carries) or self.cable.stated_a is not None

    @property
    def _stated_a(self) -> float:
        return self.cable.stated_a or 0.0

    @property
    def _on_a(self) -> float:
        """Its own loads, all on, each at its steady draw [A]."""
        return sum((load.amps for load in self.own), 0.0)

    def _own(self) -> _Amps:
        """Stated amps, and loads by name."""
        lasting = max(self._stated_a, sum(lasting_a(load) for load in self.own))
        return _Amps(lasting, max(self._stated_a, with_inrush_a(self.own)), lasting)

    def _network(self) -> _Amps:
        """What the network has flow in it, whatever the file says. Of all loads' inrush it has the share that it has of
        the loads."""
        if not self.demand_a:
            return _Amps(self.solved.lasting_a)
        return _Amps(self.solved.lasting_a, with_inrush_a(self.car.loads) * self.solved.loads_a / self.demand_a)

    def _all_loads(self) -> _Amps:
        """The word `loads`: in full where the network has none of them flow in it."""
        if ALL_LOADS not in self.cable.carries:
            return _Amps()
        if self.solved.loads_a > LEAST_A:
            return _Amps(claimed=self.demand_a)
        return _Amps(self.demand_a, with_inrush_a(self.car.loads), self.demand_a)

    def _charge(self) -> _Amps:
        """The word `charge`, likewise."""
        if CHARGE not in self.cable.carries:
            return _Amps()
        return _Amps(self.output_a if self._charged_by_word else 0.0, claimed=self.output_a)

    @property
    def _charged_by_word(self) -> bool:
        return CHARGE in self.cable.carries and self.solved.charge_a <= LEAST_A

    def _loop(self) -> _Amps:
        """The words `ammeter loop` name no amps: whatever the network finds, else the full output."""
        if LOOP not in self.cable.carries:
            return _Amps()
        return _Amps(0.0 if self.solved.joined else self.output_a, claimed=float("inf"))

    def _crank_a(self) -> float:
        """The starter's current in it [A]; 0 if it is no starter cable."""
        if CRANK in self.cable.carries or self.solved.crank_a >= MAIN_SHARE * self.car.starter_a > 0.0:
            return self.solved.crank_a if self.solved.crank_a > LEAST_A else self.car.starter_a
        return 0.0

    def _drop_test(self, sustained_a: float) -> tuple[float, float]:
        """(current [A], limit [V]) of the severest drop test of its own; (0, 0) if there is none."""
        tests = self._tests_by_kind(sustained_a)
        if (limit_v := self.cable.drop_limit_v) is not None:
            tests = [(amps, limit_v) for amps in (self._stated_a, self._on_a, sustained_a) if self._known]
        amps, limit_v = max(tests, key=_severity, default=(0.0, 0.0))
        return (amps, limit_v) if amps > 0.0 else (amps, 0.0)

    def _tests_by_kind(self, sustained_a: float) -> list[tuple[float, float]]:
        limits, words = self.car.limits, {*self.cable.carries}
        share_v = limits.load_share * NOMINAL_12_V
        tests = [(self._stated_a, share_v), (self._on_a, share_v)]
        if self._charged_by_word:  # where the network has the charge flow, the whole path is tested
            side_v = limits.charge_supply_v if self.cable.side == SUPPLY_SIDE else limits.charge_ground_v
            tests.append((self.output_a, side_v))
        if words & {ALL_LOADS, LOOP}:
            tests.append((sustained_a, share_v))
        elif self._known and not words & {CHARGE, CRANK}:
            tests.append((self.solved.lasting_a, share_v))
        return tests


def _severity(test: tuple[float, float]) -> float:
    amps, limit_v = test
    return amps / limit_v if limit_v > 0.0 else float("inf")
