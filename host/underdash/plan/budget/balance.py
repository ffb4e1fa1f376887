"""Output against demand, by arithmetic: what the alternator can give at a speed, what is on in a situation.

All amps are at 13.5 V, the volts at which curves and loads are stated. What becomes of a shortfall at the volts
that then establish themselves is for `plan.budget` and the electrical model.
"""

from collections.abc import Sequence

import numpy as np

from underdash.car.alternator import Floats
from underdash.carfile.model import ALWAYS, BRIEF, HOT_IDLE, NIGHT, PARKED, RAIN, Alternator, CarFile, Load
from underdash.curve import monotone
from underdash.plan.results import Balance

SITUATIONS = {
    "day": frozenset({ALWAYS}),
    "night": frozenset({ALWAYS, NIGHT}),
    "night and rain": frozenset({ALWAYS, NIGHT, RAIN}),
}
"""What holds in each situation with the engine running, beside PARKED and BRIEF, which always do."""
IN_WORDS = {"day": "by day", "night": "by night", "night and rain": "by night and in rain"}
"""The situations as a sentence says them."""


def conditions(speed: str, situation: str) -> frozenset[str]:
    """Every condition that holds at `speed` in `situation`; `hot idle` is both a speed and a condition."""
    held = SITUATIONS[situation] | {PARKED, BRIEF}
    return held | {HOT_IDLE} if speed == HOT_IDLE else held


def loads_on(car: CarFile, speed: str, situation: str) -> tuple[Load, ...]:
    """What is on at `speed` in `situation`: each load of which any condition holds."""
    held = conditions(speed, situation)
    return tuple(load for load in car.loads if load.when & held)


def output_a(machine: Alternator, engine_rpm: Sequence[float] | Floats, *, hot: bool) -> Floats:
    """Output available at engine speeds [rev/min], at 13.5 V [A].

    The file's points, joined by the monotone cubic of `curve`: nothing below the first, flat beyond the last. The two
    cubics may cross by a hair where hot and cold points touch; a cold machine gives no less than a hot one, so cold
    is then hot.
    """
    speed = np.asarray(engine_rpm, dtype=np.float64) * machine.pulley_ratio
    points = np.array(machine.curve_rpm)

    def joined(amps: tuple[float, ...]) -> Floats:
        return np.where(speed < points[0], 0.0, monotone(points, np.array(amps), speed))

    warm = joined(machine.hot_a)
    return warm if hot else np.maximum(warm, joined(machine.cold_a))


def sustained(loads: Sequence[Load]) -> float:
    """Demand on average: each load's amps times its duty [A]."""
    return sum(load.amps * load.duty for load in loads)


def balance(car: CarFile, speed: str, situation: str) -> Balance:
    """Output against demand at one speed in one situation."""
    rpm = car.engine.speeds()[speed]
    on = loads_on(car, speed, situation)
    peak_a = sum(load.amps for load in on)
    worst = max(on, key=_extra, default=None)
    extra_a = _extra(worst) if worst is not None else 0.0
    shares = sorted(((load, load.amps * load.duty) for load in on), key=lambda pair: -pair[1])
    return Balance(
        speed=speed,
        engine_rpm=rpm,
        situation=situation,
        hot_a=float(output_a(car.alternator, [rpm], hot=True)[0]),
        cold_a=float(output_a(car.alternator, [rpm], hot=False)[0]),
        sustained_a=sustained(on),
        peak_a=peak_a,
        inrush_a=peak_a + extra_a,
        inrush_of=worst.name if worst is not None and extra_a > 0.0 else "",
        loads=tuple(shares),
    )


def balances(car: CarFile) -> tuple[Balance, ...]:
    """Each speed in each situation, speeds outermost."""
    return tuple(balance(car, speed, situation) for speed in car.engine.speeds() for situation in SITUATIONS)


def _extra(load: Load) -> float:
    """What its inrush adds to its steady draw [A]."""
    return (load.inrush - 1.0) * load.amps
