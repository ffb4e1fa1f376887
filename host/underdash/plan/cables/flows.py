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


def full_output_a(car: CarFile) -> float:
    """The most that the alternator gives [A]: a cold machine gives more than its rating, which is hot."""
    machine = car.alternator
    return max(machine.rated_a, *machine.hot_a, *machine.cold_a)


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


def full_demand_a(car: CarFile) -> float:
    """The largest demand that lasts as long as a cable takes to warm [A].

    It is that of a hot idle in night and rain, where every condition holds. Each load counts in full, as on its own
    cable, for what a thermal switch turns on stays on for minutes; what is on by the driver's hand alone counts with
    its duty, for beside the others its heat is as its mean.
    """
    return sum(load.amps * (load.duty if load.when == {BRIEF} else 1.0) for load in car.loads)


def flows(car: CarFile) -> dict[str, Flow]:
    """The flow of every cable, by name."""
    solved = solve(car, full_output_a(car), full_demand_a(car))
    loads = {load.name: load for load in car.loads}
    return {cable.name: _flow(car, cable, solved.get(cable.name), loads) for cable in car.cables}


def _flow(car: CarFile, cable: Cable, solved: Solved | None, loads: dict[str, Load]) -> Flow:
    # The largest of what it carries, not their sum: charge, loads and loop are the same amps on different ways.
    own = [loads[name] for name in cable.carries if name in loads]
    limits, output, demand = car.limits, full_output_a(car), full_demand_a(car)
    share_v = limits.load_share * NOMINAL_12_V
    stated, on_a = cable.stated_a or 0.0, sum(load.amps for load in own)
    said = [stated, sum(lasting_a(load) for load in own)]
    claimed = list(said)
    found = solved or Solved()
    inrush_a = with_inrush_a(car.loads)
    moment = [stated, with_inrush_a(own), inrush_a * found.loads_a / demand if demand else 0.0]
    tests = [(stated, share_v), (on_a, share_v)]
    known = bool(cable.carries) or cable.stated_a is not None
    said.append(found.lasting_a)
    if ALL_LOADS in cable.carries:
        claimed.append(demand)
        if found.loads_a <= LEAST_A:
            said.append(demand)
            moment.append(inrush_a)
    if CHARGE in cable.carries:
        claimed.append(output)
        if found.charge_a <= LEAST_A:  # where the network has the charge flow, the whole path is tested
            said.append(output)
            side_v = limits.charge_supply_v if cable.side == SUPPLY_SIDE else limits.charge_ground_v
            tests.append((output, side_v))
    if LOOP in cable.carries:
        claimed.append(float("inf"))
        said.append(0.0 if found.joined else output)
        tests.append((max(said), share_v))
    if known and (ALL_LOADS in cable.carries or not {CHARGE, CRANK} & {*cable.carries}):
        tests.append((max(said), share_v) if ALL_LOADS in cable.carries else (found.lasting_a, share_v))
    if cable.drop_limit_v is not None:
        tests = [(amps, cable.drop_limit_v) for amps in (stated, on_a, max(said)) if known]
    cranks = CRANK in cable.carries or found.crank_a >= MAIN_SHARE * car.starter_a > 0.0
    crank_a = (found.crank_a if found.crank_a > LEAST_A else car.starter_a) if cranks else 0.0
    moment.append(max(found.crank_a, crank_a))
    # A limit that the file states is for what flows lastingly, unless nothing does.
    own_v = cable.drop_limit_v if max(said) <= 0.0 else None
    amps, limit_v = max(
        tests, key=lambda test: test[0] / test[1] if test[1] > 0.0 else float("inf"), default=(0.0, 0.0)
    )
    return Flow(
        sustained_a=max(said),
        steady_a=max(*said, on_a),
        brief_a=max(*said, *moment),
        drop_a=amps,
        drop_limit_v=limit_v if amps > 0.0 else 0.0,
        crank_a=crank_a,
        crank_limit_v=limits.crank_v if own_v is None else own_v,
        claimed_a=max(claimed) if known else float("inf"),
        solved=found,
        starts_motor=any(load.inrush >= 2.0 for load in own),
    )
