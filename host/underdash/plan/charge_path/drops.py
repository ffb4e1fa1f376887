"""The charge path: what is lost from the alternator to the battery and back, and what the battery sees of the volts."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from underdash.car import alternator as machine
from underdash.carfile.model import (
    ALTERNATOR,
    BATTERY,
    BODY,
    ENGINE,
    GROUND,
    GROUND_SIDE,
    SUPPLY_SIDE,
    CarFile,
)
from underdash.carfile.paths import cable_ohm, ground, supply
from underdash.plan.charge_path.findings import findings
from underdash.plan.results import ChargePath, Drop
from underdash.wire.ampacity import conductor_c
from underdash.wire.network import Branch, Unconnected, currents, potentials, reached

AMBIENT_C = 20.0
HOT_RISE_K = machine.Alternator.rise_k  # the regulator above ambient when hot; invented there, for the demo's car
_HOTTEST_C = 200.0  # copper is not followed beyond the hottest insulation of the table
_ROUNDS = 6  # of currents and temperatures in turn; the third changes less than a millivolt


@dataclass(frozen=True)
class Flow:
    """A current between two places of one side, its copper as warm as it makes it."""

    branches: tuple[Branch, ...]
    volts: Mapping[str, float]
    """At each place against the second one [V]."""
    amps: Mapping[str, float]
    """In each branch from its start to its end [A]."""
    drop_v: float
    """From the first place to the second [V]."""


def charge_path(car: CarFile) -> ChargePath:
    """Drops from alternator to battery and back at full hot output, all of it charging, and what comes of them.

    The regulator holds its set point between the place where it senses and its own case, at a regulator 50 K above
    20 C. Sensing at the battery is one wire to the positive post: it makes up for the supply side, not for ground.
    Copper is as warm as its current makes it (`wire.ampacity.conductor_c`).

    Raises Unconnected if nothing leads from alternator to battery, or from engine to ground.
    """
    amps = max(car.alternator.hot_a)
    there = flow(car, SUPPLY_SIDE, amps, ALTERNATOR, BATTERY)
    back = flow(car, GROUND_SIDE, amps, GROUND, ENGINE)
    set_point_v = car.alternator.set_point_v + car.alternator.slope_v_per_k * HOT_RISE_K
    limits = car.limits
    drops = [
        _drop("alternator to battery", ALTERNATOR, BATTERY, amps, there.drop_v, limits.charge_supply_v),
        _drop("engine to ground", ENGINE, GROUND, amps, back.drop_v, limits.charge_ground_v),
    ]
    try:
        loads = flow(car, GROUND_SIDE, amps, BODY, ENGINE)
        drops.append(_drop("engine to body", ENGINE, BODY, amps, loads.drop_v, limits.charge_ground_v))
    except Unconnected:
        pass  # a file that knows no body says nothing about it
    sensed_at_battery_v = set_point_v - back.drop_v
    at_own_post_v = sensed_at_battery_v - there.drop_v
    result = ChargePath(
        output_a=amps,
        drops=tuple(drops),
        set_point_v=set_point_v,
        battery_v=sensed_at_battery_v if car.alternator.senses == BATTERY else at_own_post_v,
        sensed_at_battery_v=sensed_at_battery_v,
        ground_without_added_v=without_added_v(car, amps),
        ground_shares=ground_shares(back, amps),
        findings=(),
        sensed_at_alternator_v=at_own_post_v,
        bus_over_battery_v=there.volts.get(car.bus, 0.0),
    )
    return replace(result, findings=findings(car, result, losses(there), losses(back)))


def flow(car: CarFile, side: str, amps: float, start: str, end: str, *, before: bool = False) -> Flow:
    """`amps` [A] from `start` to `end` through a side of the wiring, currents and copper's warmth in balance.

    Raises Unconnected if nothing leads from one to the other.
    """
    branches = supply(car, before=before) if side == SUPPLY_SIDE else ground(car, before=before)
    if end not in reached(branches, start):
        raise Unconnected(start, end)
    cables = {cable.name: cable for cable in car.cables if cable.side == side}
    found = currents(branches, {start: amps}, end)
    for _ in range(_ROUNDS):
        warm = []
        for branch in branches:
            cable = cables.get(branch.name)
            if cable is not None and cable.gauge is not None and cable.stated_ohm is None:
                area, through = cable.gauge.area_mm2, abs(found[branch.name])
                celsius = conductor_c(area, through, cable.ambient_c, cable.bundle)
                branch = branch._replace(ohm=cable_ohm(cable, min(celsius, max(_HOTTEST_C, cable.ambient_c))))
            warm.append(branch)
        branches = warm
        found = currents(branches, {start: amps}, end)
    volts = potentials(branches, {start: amps}, end)
    return Flow(tuple(branches), volts, found, volts[start])


def without_added_v(car: CarFile, amps: float) -> float | None:
    """The ground side's drop at `amps` [A] without the ground cables that the conversion adds [V]; None if nothing
    else leads from the battery's negative post to the engine."""
    try:
        return flow(car, GROUND_SIDE, amps, GROUND, ENGINE, before=True).drop_v
    except Unconnected:
        return None


def ground_shares(back: Flow, amps: float) -> tuple[tuple[str, float], ...]:
    """(ground cable, share of the returning `amps` in it), the largest first, those that carry nothing left out.

    Cables that follow one another carry the same share, so the shares may sum to more than one; over the cables that
    leave the battery's negative post they sum to one.
    """
    shares = ((name, abs(through) / amps) for name, through in back.amps.items())
    return tuple(sorted(((n, s) for n, s in shares if s > 1e-6), key=lambda pair: (-pair[1], pair[0])))


def losses(along: Flow) -> tuple[tuple[str, float], ...]:
    """(branch, volts lost in it [V]), the largest first."""
    lost = ((branch.name, abs(along.amps[branch.name]) * branch.ohm) for branch in along.branches)
    return tuple(sorted(lost, key=lambda pair: -pair[1]))


def _drop(name: str, start: str, end: str, amps: float, volts: float, limit_v: float) -> Drop:
    return Drop(name, start, end, amps, volts / amps if amps else 0.0, volts, limit_v)
