"""What a day of traffic lights costs the battery: the electrical model stands and drives, ASTM E1049 counts.

An estimate, and a coarse one (docs/budget.md, underdash.cycles).
"""

from math import ceil, floor, log10
from typing import NamedTuple

from underdash.car import circuit
from underdash.car.battery import BatteryState
from underdash.car.from_file import Car
from underdash.car.loads import draws
from underdash.carfile.model import BATTERY, HOT_IDLE, CarFile
from underdash.cycles import LEAST_DEPTH, LIFE_CYCLES, LIFE_DEPTH, count, life_share
from underdash.plan.budget.balance import IN_WORDS, loads_on, output_a
from underdash.plan.results import Cycling, Finding

START = 1.0  # full: from anything less, the morning's charging would be counted as wear
AMBIENT_C = 20.0
STEP_S = 1.0


class _Leg(NamedTuple):
    """Standing or driving: how long [s], what the alternator can give [A], what is on [S], [W]."""

    length_s: float
    limit_a: float
    siemens: float
    watts: float


class Day(NamedTuple):
    """A simulated day: a point each step."""

    t_s: list[float]
    charge: list[float]
    into_as: float
    """Into the battery [A s]."""
    out_as: float
    """Out of it [A s]."""
    gassed_as: float
    """Of what went in, what a full battery made gas of [A s]."""
    stops: int
    """Lights that it got to: fewer than the file's if the battery was flat before."""


def simulate(car: CarFile, built: Car, situation: str, step_s: float = STEP_S) -> Day:
    """A day of `car`'s traffic lights in `situation`: standing at hot idle, driving at cruise, machine hot.

    Loads draw their average. `built` is the same car's electrical model. Raises circuit.BusCollapseError if the loads
    cannot be fed.
    """
    battery, wiring = built.battery, built.wiring
    legs = (
        _leg(car, HOT_IDLE, situation, car.light_s),
        _leg(car, "cruise", situation, car.between_s),
    )
    target_v = built.alternator.target_volts(AMBIENT_C + built.alternator.rise_k)
    source_ohm = wiring.charge_cable_ohm + built.alternator.droop_ohm
    # The surface charge follows the volts through the battery's path: no step longer than half its time constant.
    path_ohm = battery.internal_ohm + wiring.battery_cable_ohm + wiring.feed_ohm
    step_s = min(step_s, 0.5 * battery.surface_f * path_ohm)

    state = BatteryState(START)
    now_s, into_as, out_as, stops = 0.0, 0.0, 0.0, 0
    t_s, charge = [now_s], [state.charge]
    while stops < car.lights_a_day and state.charge > 0.0:
        stops += 1
        for leg in legs:
            count = ceil(leg.length_s / step_s)
            for _ in range(count):
                dt_s = leg.length_s / count
                emf_v = battery.emf(state)
                net = circuit.network(wiring, emf_v, battery.internal_ohm, 0.0, leg.siemens, leg.watts)
                if built.alternator.senses == BATTERY:
                    alternator_a = circuit.battery_regulated_amps(net, target_v, battery.internal_ohm, leg.limit_a)
                else:
                    alternator_a = circuit.regulated_amps(net, target_v, source_ohm, leg.limit_a)
                amps = circuit.battery_amps(net, circuit.bus_volts(net, alternator_a))
                state = battery.step(state, amps, dt_s)
                if amps >= 0.0:
                    into_as += amps * dt_s
                else:
                    out_as -= amps * dt_s
                now_s += dt_s
                t_s.append(now_s)
                charge.append(state.charge)
    return Day(t_s, charge, into_as, out_as, state.gassed_as, stops)


def _leg(car: CarFile, speed: str, situation: str, length_s: float) -> _Leg:
    limit_a = float(output_a(car.alternator, [car.engine.speeds()[speed]], hot=True)[0])
    siemens, watts = draws([(load, load.duty) for load in loads_on(car, speed, situation)])
    return _Leg(length_s, limit_a, siemens, watts)


def cycling(car: CarFile, built: Car, situation: str) -> Cycling:
    """The day's cost. Times and charge are those at the turns, which is all that the counting looks at."""
    import rainflow

    day = simulate(car, built, situation)
    cycles = count(day.charge)
    turns = [index for index, _ in rainflow.reversals(day.charge)]
    return Cycling(
        situation=situation,
        stops=day.stops,
        t_s=tuple(day.t_s[index] for index in turns),
        charge=tuple(day.charge[index] for index in turns),
        cycles=cycles,
        discharged_ah=day.out_as / 3600.0,
        life_share=life_share(cycles),
    )


def finding(car: CarFile, cost: Cycling) -> Finding | None:
    """What the day costs, in words; None where the battery gives next to nothing."""
    if cost.discharged_ah < LEAST_DEPTH * car.battery.capacity_ah or not cost.cycles:
        return None
    first, last = cost.charge[0], cost.charge[-1]
    if last <= 0.0:
        back = f"and the battery is flat after {cost.stops} of them"
    elif last < first - 0.005:
        back = f"and the driving between puts only part of it back: the day ends at {last:.0%}, after {first:.0%}"
    else:
        back = "and the driving between puts it back"
    parts = _one_figure(1.0 / cost.life_share)
    return Finding(
        "note",
        f"A day of {car.lights_a_day} lights {IN_WORDS[cost.situation]} takes {_few(cost.discharged_ah)} Ah out of the "
        f"battery, {back}. That is about 1/{parts:,} of a starter battery's cycle life, by an estimate that may be out "
        "by two or more.",
        f"{car.light_s:.0f} s at hot idle, {car.between_s:.0f} s at cruise, simulated; cycles of up to "
        f"{_few(100.0 * cost.cycles[0][0])}%, counted after ASTM E1049; {LIFE_CYCLES:.0f} cycles of {LIFE_DEPTH:.0%} "
        "taken for a life",
    )


def _few(value: float) -> str:
    """With one decimal, or two where it is less than one."""
    return f"{value:.1f}" if value >= 0.95 else f"{value:.2f}"


def _one_figure(value: float) -> int:
    """Rounded to one significant figure: the estimate bears no more."""
    step = 10.0 ** floor(log10(max(value, 1.0)))
    return round(max(round(value / step) * step, 1.0))
