"""Run a scenario through the car and return what a monitor on its bus would have seen."""

from collections.abc import Callable
from math import exp

import numpy as np
from numpy.typing import NDArray

from underdash.car import circuit
from underdash.car.battery import BatteryState
from underdash.car.loads import excess, siemens, watts
from underdash.car.record import Crank, Deficit, Drive
from underdash.car.scenario import EVENING, Scenario
from underdash.car.timeline import Timeline, lay_out, wander
from underdash.carfile.model import BATTERY

__all__ = ["Crank", "Deficit", "Drive", "simulate"]

Floats = NDArray[np.float64]

# What a sample instant adds to the truth. Invented for the demo.
RUNNING_NOISE_V = 0.012
RESTING_NOISE_V = 0.0003
HUNTING_V = 0.003
RUNNING_NOISE_A = 0.15
RESTING_NOISE_A = 0.02


def simulate(
    scenario: Scenario = EVENING,
    step_s: float = 0.02,
    seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Drive:
    """Simulate `scenario` on a grid of `step_s` [s]; the same `seed` gives the same drive.

    `progress` is called about a hundred times with the fraction done [0..1].

    Raises ValueError for a bad scenario or step, circuit.BusCollapseError if the loads outgrow the car.
    """
    if not 0.0 < step_s <= 0.1:
        raise ValueError(f"step_s must be above 0 and at most 0.1 s, not {step_s}")
    rng = np.random.default_rng(seed)
    line = lay_out(scenario, step_s, rng)
    truth = _run(scenario, line, step_s, progress)
    noise_v, noise_a = _noise(line, rng)
    return Drive(
        t_s=line.t_s,
        volts=truth[:, 0] + noise_v,
        amps=truth[:, 1] + noise_a,
        true_volts=truth[:, 0].copy(),
        true_amps=truth[:, 1].copy(),
        engine_rpm=line.engine_rpm,
        alternator_a=truth[:, 2].copy(),
        load_a=truth[:, 3].copy(),
        starter_a=line.starter_a,
        charge=truth[:, 4].copy(),
        coolant_c=truth[:, 5].copy(),
        fan=truth[:, 6] > 0.5,
        running=line.running,
        phase_index=line.phase_index,
        phase_names=tuple(phase.name for phase in scenario.phases),
    )


def _run(scenario: Scenario, line: Timeline, step_s: float, progress: Callable[[float], None] | None) -> Floats:
    """Step what feeds back: battery, alternator, coolant and fan.

    Returns a row a step: bus [V], battery [A], alternator [A], loads [A], charge, coolant [C], fan.
    Each row is the instant before the states move on.
    """
    car = scenario.car
    battery, alternator, wiring, cooling = car.battery, car.alternator, car.wiring, car.cooling
    source_ohm = wiring.charge_cable_ohm + alternator.droop_ohm
    follow = 1.0 - exp(-step_s / alternator.field_s)
    waking = step_s / alternator.wake_s
    warming = 1.0 - exp(-step_s / alternator.warm_up_s)

    # Plain lists: a scalar loop over numpy elements is several times slower.
    rows = zip(
        line.engine_rpm.tolist(),
        line.running.tolist(),
        line.key.tolist(),
        line.speed_mps.tolist(),
        line.ambient_c.tolist(),
        line.starter_a.tolist(),
        line.load_s.tolist(),
        line.load_w.tolist(),
        alternator.available(line.engine_rpm, hot=False).tolist(),
        alternator.available(line.engine_rpm, hot=True).tolist(),
        strict=True,
    )
    state = BatteryState(car.charge)
    coolant_c = scenario.phases[0].ambient_c
    warm = 0.0  # alternator: 0 cold, 1 hot
    alternator_a = 0.0
    awake = 0.0  # share of the limit that the regulator allows so soon after a start
    fan, fan_since = False, 0
    # By step since the fans came on: the grid starts at zero.
    fan_s = sum((siemens(fan) * excess(fan, line.t_s) for fan in car.fans), np.zeros(len(line.t_s))).tolist()
    fan_w = sum((watts(fan) * excess(fan, line.t_s) for fan in car.fans), np.zeros(len(line.t_s))).tolist()
    count = len(line.t_s)
    report_every = max(count // 100, 1)
    out = np.empty((count, 7))

    for k, row in enumerate(rows):
        rpm, running, key, speed, ambient_c, starter_a, load_s, load_w, cold_a, hot_a = row
        wanted = bool(car.fans) and key and cooling.fan(coolant_c, fan)
        if wanted and not fan:
            fan_since = k
        fan = wanted
        if fan:
            load_s += fan_s[k - fan_since]
            load_w += fan_w[k - fan_since]

        emf_v = battery.emf(state)
        net = circuit.network(wiring, emf_v, battery.internal_ohm, starter_a, load_s, load_w)
        awake = min(awake + waking, 1.0) if running else 0.0
        limit_a = awake * (cold_a + warm * (hot_a - cold_a))
        target_v = alternator.target_volts(ambient_c + alternator.rise_k * warm)
        if alternator.senses == BATTERY:
            settled_a = circuit.battery_regulated_amps(net, target_v, battery.internal_ohm, limit_a)
        else:
            settled_a = circuit.regulated_amps(net, target_v, source_ohm, limit_a)
        alternator_a = min(alternator_a + follow * (settled_a - alternator_a), limit_a)
        bus_v = circuit.bus_volts(net, alternator_a)
        amps = circuit.battery_amps(net, bus_v)
        out[k] = (
            bus_v, amps, alternator_a, circuit.load_amps(net, bus_v), state.charge, coolant_c, fan,
        )  # fmt: skip

        state = battery.step(state, amps, step_s)
        coolant_c = cooling.step(coolant_c, rpm, speed, fan, ambient_c, step_s)
        warm += warming * ((1.0 if running else 0.0) - warm)
        if progress is not None and k % report_every == 0:
            progress(k / count)
    if progress is not None:
        progress(1.0)
    return out


def _noise(line: Timeline, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """What the tap and the clamp pick up beside the truth [V], [A]."""
    count = len(line.t_s)
    hunting = np.where(line.running, HUNTING_V, 0.0) * wander(line.t_s, (0.7, 4.3, 13.0), rng)
    turning = line.engine_rpm > 0.0
    volts = np.where(turning, RUNNING_NOISE_V, RESTING_NOISE_V) * rng.standard_normal(count) + hunting
    amps = np.where(turning, RUNNING_NOISE_A, RESTING_NOISE_A) * rng.standard_normal(count)
    return volts, amps
