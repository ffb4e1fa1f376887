"""A scenario laid out on a uniform grid: everything that does not depend on the bus.

What the driver does is known beforehand, so it is computed for all steps at once; only battery,
alternator and coolant need stepping.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from underdash.car.loads import excess, siemens, watts
from underdash.car.scenario import Scenario
from underdash.carfile.model import ALWAYS, BRIEF, CONDITIONS

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

RUNNING_RPM = 500.0  # above any starter, below any idle


@dataclass(frozen=True)
class Timeline:
    """One value a step of every quantity the driver or the road sets."""

    t_s: Floats
    phase_index: NDArray[np.int64]
    engine_rpm: Floats
    running: Bools
    key: Bools
    speed_mps: Floats
    ambient_c: Floats
    starter_a: Floats
    load_s: Floats
    """Resistive loads [S], the fan excluded."""
    load_w: Floats
    """Constant-power loads [W]."""


def lay_out(scenario: Scenario, step_s: float, rng: np.random.Generator) -> Timeline:
    """Lay `scenario` on a grid of `step_s` [s]; `rng` gives the engine speed its wander.

    Raises ValueError for no phases, a phase without length or an unknown condition.
    """
    _check(scenario)
    phases = scenario.phases
    lengths = np.array([phase.length_s for phase in phases])
    starts = np.concatenate(([0.0], np.cumsum(lengths)[:-1]))
    t: Floats = np.arange(round(float(lengths.sum()) / step_s), dtype=np.float64) * step_s
    # Half a step of tolerance: a phase that starts on the grid must own that very sample.
    index = np.searchsorted(starts, t + step_s / 2.0, side="right") - 1
    since: Floats = np.maximum(t - starts[index], 0.0)

    cranking = np.array([phase.crank for phase in phases])[index]
    rpm = _engine_rpm(scenario, index, t, since, rng)
    load_s, load_w = _loads(scenario, index, t)
    middles = starts + lengths / 2.0
    return Timeline(
        t_s=t,
        phase_index=index.astype(np.int64),
        engine_rpm=rpm,
        running=(rpm > RUNNING_RPM) & ~cranking,
        key=np.array([ALWAYS in phase.on for phase in phases])[index],
        speed_mps=np.array([phase.speed_mps for phase in phases])[index],
        ambient_c=np.interp(t, middles, np.array([phase.ambient_c for phase in phases])),
        starter_a=np.where(cranking, scenario.car.starter.amps(since), 0.0),
        load_s=load_s,
        load_w=load_w,
    )


def _check(scenario: Scenario) -> None:
    if not scenario.phases:
        raise ValueError(f"scenario {scenario.name!r} has no phases")
    for phase in scenario.phases:
        if not phase.length_s > 0.0:
            raise ValueError(f"phase {phase.name!r} lasts {phase.length_s} s")
        for name in phase.on:
            if name not in CONDITIONS:
                raise ValueError(f"phase {phase.name!r} has the condition {name!r}: known are {CONDITIONS}")


def _engine_rpm(
    scenario: Scenario, index: NDArray[np.intp], t: Floats, since: Floats, rng: np.random.Generator
) -> Floats:
    """Engine speed [rev/min]: ramps between the phases, and an engine's own unrest (invented)."""
    target = np.array([phase.rpm for phase in scenario.phases])
    before = np.concatenate(([0.0], target[:-1]))
    ramp = np.array([phase.ramp_s for phase in scenario.phases])
    u = np.clip(since / ramp[index], 0.0, 1.0)
    rpm = before[index] + (target - before)[index] * u * u * (3.0 - 2.0 * u)
    hunt = wander(t, (2.3, 3.7, 9.1), rng)
    traffic = wander(t, (17.0, 41.0, 97.0), rng)
    unrest = 9.0 * hunt + 0.05 * np.maximum(rpm - 1000.0, 0.0) * traffic
    return np.asarray(np.where(rpm > RUNNING_RPM, rpm + unrest, rpm), dtype=np.float64)


def wander(t_s: Floats, periods_s: tuple[float, ...], rng: np.random.Generator) -> Floats:
    """A slow, bounded unrest with unit rms: sines of the given periods [s] at random phases."""
    total = np.zeros_like(t_s)
    for period_s in periods_s:
        total += np.sin(2.0 * np.pi * (t_s / period_s + rng.random()))
    return np.asarray(total * np.sqrt(2.0 / len(periods_s)), dtype=np.float64)


def _loads(scenario: Scenario, index: NDArray[np.intp], t: Floats) -> tuple[Floats, Floats]:
    """Conductance [S] and constant power [W] of all loads but the fan, inrush included.

    A load with a duty draws its mean, but a brief one: that is on in full while the driver's hand is on it.
    """
    conductance, power = np.zeros_like(t), np.zeros_like(t)
    for load in scenario.car.loads:
        on = np.array([not load.when.isdisjoint(phase.on) for phase in scenario.phases])[index]
        if load.coolant_switch or not on.any():
            continue
        switched = on & ~np.concatenate(([False], on[:-1]))
        last = np.maximum.accumulate(np.where(switched, np.arange(len(t)), 0))
        duty = 1.0 if BRIEF in load.when else load.duty
        draw = np.where(on, duty * excess(load, t - t[last]), 0.0)
        conductance += siemens(load) * draw
        power += watts(load) * draw
    return conductance, power
