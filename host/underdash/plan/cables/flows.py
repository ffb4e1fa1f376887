"""What flows in each cable of a car file: lastingly, when what it feeds is on, and at worst for a moment."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import sqrt

from underdash.carfile import paths
from underdash.carfile.model import (
    ALL_LOADS,
    ALTERNATOR,
    BATTERY,
    BRIEF,
    CHARGE,
    CRANK,
    LOOP,
    SUPPLY_SIDE,
    Cable,
    CarFile,
    Load,
)
from underdash.wire.network import Unconnected, currents

NOMINAL_12_V = 12.0
"""Volts that a load's drop limit is a share of [V]."""


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
    """The current of the hardest drop test."""
    drop_limit_v: float = 0.0
    """And its limit [V]; 0 if there is no test."""


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
    """The largest sustained demand [A].

    It is that of a hot idle in night and rain, where every condition holds, so that every load counts with its duty.
    """
    return sum(load.amps * load.duty for load in car.loads)


def flows(car: CarFile) -> dict[str, Flow]:
    """The flow of every cable, by name."""
    loop = _loop(car) if any(LOOP in cable.carries for cable in car.cables) else {}
    loads = {load.name: load for load in car.loads}
    return {cable.name: _flow(car, cable, loop, loads) for cable in car.cables}


def _flow(car: CarFile, cable: Cable, loop: dict[str, float], loads: dict[str, Load]) -> Flow:
    # The largest of what it carries, not their sum: charge, loads and loop are the same amps on different ways.
    own = [loads[name] for name in cable.carries if name in loads]
    lasting = [cable.stated_a or 0.0, sum(lasting_a(load) for load in own)]
    moment = [cable.stated_a or 0.0, with_inrush_a(own)]
    limits = car.limits
    share_v = limits.load_share * NOMINAL_12_V
    on_a = sum(load.amps for load in own)
    tests = [(cable.stated_a or 0.0, share_v), (on_a, share_v)]
    if ALL_LOADS in cable.carries:
        lasting.append(full_demand_a(car))
        moment.append(with_inrush_a(car.loads))
        tests.append((lasting[-1], share_v))
    if CHARGE in cable.carries:
        lasting.append(full_output_a(car))
        tests.append((lasting[-1], limits.charge_supply_v if cable.side == SUPPLY_SIDE else limits.charge_ground_v))
    if LOOP in cable.carries:
        lasting.append(loop.get(cable.name, full_output_a(car)))
        tests.append((lasting[-1], share_v))
    if cable.drop_limit_v is not None:
        tests = [(amps, cable.drop_limit_v) for amps, _ in tests]
    if CRANK in cable.carries:
        moment.append(car.starter_a)
        # A limit that the file states is for what flows lastingly, unless nothing does.
        own_v = cable.drop_limit_v if max(lasting) <= 0.0 else None
        tests.append((car.starter_a, limits.crank_v if own_v is None else own_v))
    amps, limit_v = max(tests, key=lambda test: test[0] / test[1] if test[1] > 0.0 else float("inf"))
    return Flow(
        sustained_a=max(lasting),
        steady_a=max(*lasting, on_a),
        brief_a=max(*lasting, *moment),
        drop_a=amps,
        drop_limit_v=limit_v if amps > 0.0 else 0.0,
    )


def _loop(car: CarFile) -> dict[str, float]:
    """Amps in each branch of the supply side [A], the worst of three: full output into the battery with no loads,
    full output with all loads on, and all loads on with no output. Empty where the network does not connect.
    """
    branches = paths.supply(car)
    output, demand = full_output_a(car), full_demand_a(car)
    worst: dict[str, float] = {}
    for given, taken in ((output, 0.0), (output, demand), (0.0, demand)):
        injected = {ALTERNATOR: given}
        injected[car.bus] = injected.get(car.bus, 0.0) - taken
        try:
            found = currents(branches, injected, BATTERY)
        except Unconnected:
            return {}
        for name, amps in found.items():
            worst[name] = max(worst.get(name, 0.0), abs(amps))
    return worst
