"""The one change that would close a shortfall: a faster idle, another pulley, a larger machine, less load.

Each is worked out alone, with the rest of the car as it is, at 13.5 V and hot, the wanted margin included.
"""

from math import ceil

import numpy as np

from underdash.carfile.model import ALWAYS, HOT_IDLE, NIGHT, PARKED, Alternator, CarFile, Load
from underdash.curve import monotone
from underdash.plan.budget.words import amps, told_apart
from underdash.plan.results import Balance, Remedy

IDLE_MOST_RPM = 1500.0  # common practice, no source: a faster idle is no idle
RATIO_MOST = 3.5  # street cars: 3:1 to 3.5:1 (a page on pulleys, secondary)
RATED_MOST_A = 250.0  # from memory: about the largest machine that is built for cars
MACHINE_MOST_RPM = 15_000.0  # from memory: machines are made for 15,000 to 18,000 rpm


def remedies(car: CarFile, short: Balance) -> tuple[Remedy, ...]:
    """What alone would close the balance `short`, `limits.margin_share` left over: four remedies, possible or not."""
    needed_a = short.sustained_a * (1.0 + car.limits.margin_share)
    machine_rpm = machine_speed(car.alternator, needed_a)
    return (
        _idle(car, short, needed_a, machine_rpm),
        _pulley(car, short, needed_a, machine_rpm),
        _rating(car, short, needed_a),
        _shedding(car, short),
    )


def machine_speed(machine: Alternator, needed_a: float) -> float | None:
    """The least speed of the machine itself at which it gives `needed_a` hot [rev/min]; None if it never does.

    Bisection: the curve never falls with speed, so the upper end always gives enough.
    """
    points, hot_a = np.array(machine.curve_rpm), np.array(machine.hot_a)
    low, high = float(points[0]), float(points[-1])
    if hot_a[-1] < needed_a:
        return None
    if hot_a[0] >= needed_a:
        return low
    while high - low > 0.01:
        middle = 0.5 * (low + high)
        enough = monotone(points, hot_a, np.array([middle]))[0] >= needed_a
        low, high = (low, middle) if enough else (middle, high)
    return high


def _up(value: float, step: float) -> float:
    """`value` rounded up to a multiple of `step`; not a whole step further for the rounding of floats."""
    return round(ceil(value / step - 1e-9) * step, 6)


def _tops_out(car: CarFile, needed_a: float) -> str:
    best, wanted = told_apart(car.alternator.hot_a[-1], needed_a)
    return f"hot, the machine gives {best} at its best, and {wanted} are wanted, margin included."


def _idle(car: CarFile, short: Balance, needed_a: float, machine_rpm: float | None) -> Remedy:
    def remedy(needed: float | None, text: str) -> Remedy:
        return Remedy("idle speed", short.engine_rpm, needed, "rpm", text)

    if short.speed != HOT_IDLE:
        return remedy(None, f"The car is short at {short.speed} too: no idle speed mends that.")
    bare_rpm = machine_speed(car.alternator, short.sustained_a)
    just = ""
    if bare_rpm is not None:
        at_rpm = _up(bare_rpm / car.alternator.pulley_ratio, 10.0)
        just = f" {at_rpm:,.0f} rpm carries it with nothing left over"
        just += ", but that is no idle." if at_rpm > IDLE_MOST_RPM else "."
    if machine_rpm is None:
        return remedy(None, f"No idle speed closes it: {_tops_out(car, needed_a)}{just}")
    rpm = _up(machine_rpm / car.alternator.pulley_ratio, 10.0)
    if rpm > IDLE_MOST_RPM:
        return remedy(
            None, f"It would take an idle of {rpm:,.0f} rpm, margin included, and that is no idle any more.{just}"
        )
    return remedy(
        rpm,
        f"Idle at {rpm:,.0f} rpm instead of {short.engine_rpm:,.0f}, hot, with everything on. Not beyond what the "
        "engine's manual allows; an automatic gearbox then pulls harder against the brake.",
    )


def _pulley(car: CarFile, short: Balance, needed_a: float, machine_rpm: float | None) -> Remedy:
    now = car.alternator.pulley_ratio

    def remedy(needed: float | None, text: str) -> Remedy:
        return Remedy("pulley ratio", now, needed, "to 1", text)

    bare_rpm = machine_speed(car.alternator, short.sustained_a)
    just = ""
    if bare_rpm is not None:
        bare = _up(bare_rpm / short.engine_rpm, 0.05)
        just = f" {bare:.2f} to 1 carries it with nothing left over"
        if bare <= RATIO_MOST:
            just += "."
        elif machine_rpm is None:
            just += f", but a car's belt drive ends at about {RATIO_MOST:.1f} to 1."
        else:
            just += ", which is beyond that too."
    if machine_rpm is None:
        return remedy(None, f"No pulley closes it: {_tops_out(car, needed_a)}{just}")
    ratio = _up(machine_rpm / short.engine_rpm, 0.05)
    if ratio > RATIO_MOST:
        return remedy(
            None,
            f"It would take a ratio of {ratio:.2f} to 1, margin included; a car's belt drive ends at about "
            f"{RATIO_MOST:.1f} to 1.{just}",
        )
    return remedy(
        ratio,
        f"A pulley ratio of {ratio:.2f} to 1 instead of {now:.2f}: a smaller pulley on the alternator. It then turns "
        f"at {MACHINE_MOST_RPM:,.0f} rpm when the engine does {MACHINE_MOST_RPM / ratio:,.0f}; alternators are made "
        "for 15,000 to 18,000 rpm (from memory), so look yours up. A small pulley slips sooner: check the belt.",
    )


def _rating(car: CarFile, short: Balance, needed_a: float) -> Remedy:
    machine = car.alternator
    speed = short.engine_rpm * machine.pulley_ratio

    def remedy(needed: float | None, text: str) -> Remedy:
        return Remedy("rated output", machine.rated_a, needed, "A", text)

    gives = amps(short.hot_a) if short.hot_a > 0.0 else "nothing"
    rated_a = _up(machine.rated_a * needed_a / short.hot_a, 1.0) if short.hot_a > 0.0 else float("inf")
    if rated_a > RATED_MOST_A:
        return remedy(
            None,
            f"At {speed:,.0f} rpm of its own this machine gives {gives} hot; no larger one of the same "
            f"curve makes that {amps(needed_a)}. It has to turn faster.",
        )
    return remedy(
        rated_a,
        f"A machine of {rated_a:.0f} A instead of {amps(machine.rated_a)}, if its curve has the same shape. Many "
        f"large ones give no more at idle than small ones: ask for its hot output at {speed:,.0f} rpm, and choose one "
        f"that gives {amps(needed_a)} there. Charge cable, its fuse and the belt have to suit it.",
    )


def sheddable(loads: list[Load]) -> list[Load]:
    """What may be switched off to spare the alternator, the largest draw on average first.

    Not what the engine needs (always on), not what comes on by itself at a stop (brake lamps), not what cools the
    engine (fans), not what is on by night: one has to be seen.
    """
    spared = (ALWAYS, PARKED, HOT_IDLE, NIGHT)
    free = [load for load in loads if not load.coolant_switch and not any(name in load.when for name in spared)]
    return sorted(free, key=lambda load: -load.amps * load.duty)


def _shedding(car: CarFile, short: Balance) -> Remedy:
    may_draw_a = short.hot_a / (1.0 + car.limits.margin_share)
    too_much_a = short.sustained_a - may_draw_a
    found: list[Load] = []
    shed_a = 0.0
    for load in sheddable([load for load, _ in short.loads]):
        if shed_a >= too_much_a or load.amps * load.duty <= 0.0:
            break
        found.append(load)
        shed_a += load.amps * load.duty
    lamps_a = sum(share for load, share in short.loads if NIGHT in load.when and ALWAYS not in load.when)
    lamps = (
        f" What is on by night draws {lamps_a:.1f} A; lamps of lower wattage, LED for one, free part of it if they are "
        "approved for the road."
        if lamps_a > 0.0
        else ""
    )
    much, shed = told_apart(too_much_a, shed_a)
    if shed_a < too_much_a:
        may = f"what may go comes to {shed}" if shed_a > 0.0 else "nothing of it may go"
        text = f"Switching off is not enough: {much} too much is on, and {may}.{lamps}"
        return Remedy("load", short.sustained_a, None, "A", text)
    names = " and ".join(load.name for load in found)
    return Remedy(
        "load",
        short.sustained_a,
        may_draw_a,
        "A",
        f"At idle, do without {names} ({shed} on average; {much} is too much). Whatever keeps the "
        f"glass clear stays on while it is needed: then choose something else.{lamps}",
    )
