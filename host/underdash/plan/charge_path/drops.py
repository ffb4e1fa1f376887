"""The charge path: what is lost from the alternator to the battery and back, and what the battery sees of the volts."""

from dataclasses import replace

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
from underdash.plan.charge_path.currents import Flow, flow
from underdash.plan.charge_path.findings import findings
from underdash.plan.results import ChargePath, Drop
from underdash.wire.network import Unconnected

AMBIENT_C = 20.0
HOT_RISE_K = machine.Alternator.rise_k  # the regulator above ambient when hot; invented there, for the demo's car


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
    return replace(result, findings=findings(car, result, there, back))


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


def _drop(name: str, start: str, end: str, amps: float, volts: float, limit_v: float) -> Drop:
    return Drop(name, start, end, amps, volts / amps if amps else 0.0, volts, limit_v)
