"""Faults put into measured drives and into the virtual car, each an honest circuit, for tests and for the bench.

The virtual car's season is made of entries: a night and the drive that follows it, one start of the board each. An
entry is simulated once; a season draws them at random to suit its weather, so that hundreds of seasons cost little.
Numbers without a source are chosen here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property
from math import pi, sin
from typing import Any

import numpy as np

from chargecore import engine
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK
from underdash.car import Car, Phase, Scenario, build, simulate
from underdash.car.alternator import Alternator
from underdash.car.battery import Battery, BatteryState, rested_volts
from underdash.car.scenario import DAY, DUSK, STANDING
from underdash.carfile import example
from underdash.carfile.model import HOT_IDLE
from underdash.review.analysis import analyse
from underdash.review.rows import Account, Rows, in_si
from underdash.review.season.load_steps import load_steps
from underdash.review.stride import stride

BAD_GROUND_OHM = 0.050
WEAK_BY_V, HUNTING_V = 0.7, 0.1  # the set point too low, and its slow unrest (rms)
LAMP_W = 10.0  # two bulbs of 5 W, 0.8 A: tail or parking lamps
STANDBY_A = 0.030  # the shipped car file's
_LOSS = 0.5  # of the capacity by the end, while the resistance doubles


# -- rows ---------------------------------------------------------------------------------------------------------


def judged(samples: tuple[Any, Any, Any, Any, Any], boot: int = 1, temperature: Any = None, rpm: Any = None) -> Rows:
    """Rows of (t_s, low, volts, high, amps) with the engine's verdicts; amps nan without a clamp."""
    t_ms, *measured = (
        np.where(np.isfinite(column), np.round(column * 1000), ABSENT).astype(np.int64)
        for column in (np.asarray(one, dtype=np.float64) for one in samples)
    )
    state, warnings, since_ms = stride(engine.Engine(Thresholds()), t_ms & TICKS_MASK, *measured)
    columns = dict(zip(("t_ms", "low_mv", "bus_mv", "high_mv", "clamp_ma"), (t_ms, *measured), strict=True))
    rows = in_si(
        np.full(len(t_ms), boot, np.int64),
        {**columns, "state": state, "warnings": warnings},
        t_ms - ((t_ms - since_ms) & TICKS_MASK),
    )
    return rows if temperature is None else replace(rows, temperature=temperature, rpm=rpm)


def gathered(t_s: Any, volts: Any, amps: Any, crank_volts: float = 11.3) -> tuple[Any, Any, Any, Any, Any]:
    """Samples of a tenth of a second as a board's rows: a second each, a tenth around a crank."""
    count = len(t_s) // 10 * 10
    seconds = [np.asarray(column[:count]).reshape(-1, 10) for column in (t_s, volts, amps)]
    rows = []
    for t, v, a in zip(*seconds, strict=True):
        if v.min() < crank_volts:
            rows += [(t[i] + 0.1, v[i], v[i], v[i], a[i]) for i in range(10)]
        else:
            rows.append((t[-1] + 0.1, v.min(), v.mean(), v.max(), a.mean()))
    return tuple(np.array(rows).T)  # type: ignore[return-value]


def glimpsed(t_s: Any, volts: Any, amps: Any, phase: int, every: int = 20) -> tuple[Any, Any, Any, Any, Any]:
    """The same as a slow recorder's: one sample in `every` tenths of a second from `phase` on, held until the next; a
    row a second, with neither lowest nor highest."""
    at = np.arange(9, len(t_s), 10)
    taken = np.maximum((at - phase) // every * every + phase, 0)
    return t_s[at] + 0.1, volts[taken], volts[taken], volts[taken], amps[taken]


# -- the virtual car ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class DyingAlternator(Alternator):
    """Gives nothing from sample `dies` of the drive on: a belt, a fuse, an exciter."""

    dies: int = 0

    def available(self, engine_rpm: Any, *, hot: bool) -> Any:
        amps = super().available(engine_rpm, hot=hot)
        amps[self.dies :] = 0.0
        return amps


@dataclass(frozen=True)
class WeakRegulator(Alternator):
    """Holds WEAK_BY_V too little, and wanders by HUNTING_V rms with 23 and 61 s, whatever the load."""

    step_s: float = 0.1
    steps: list[int] = field(default_factory=lambda: [0])

    def target_volts(self, regulator_c: float) -> float:
        self.steps[0] += 1
        t_s = self.steps[0] * self.step_s
        hunting = HUNTING_V * (sin(2 * pi * t_s / 23.0) + sin(2 * pi * t_s / 61.0))
        return super().target_volts(regulator_c) - WEAK_BY_V + hunting


def as_alternator(kind: type[Alternator], car: Car, **more: Any) -> Car:
    return replace(car, alternator=kind(**vars(car.alternator), **more))


def faulty(car: Car, fault: str, severity: float = 1.0, dies_s: float = 0.0) -> Car:
    """The car with a fault: `none`, `alternator dead`, `weak regulator`, `bad ground` (in what monitor and loads share
    on their way to the battery), `charge path` (the same 50 mohm between alternator and battery), `battery clamp`
    (10 mohm, for with 50 no starter turns), `battery ageing` (severity 0..1: capacity falls by half, resistance
    doubles). `lamp` is the night's business, not the car's.
    """
    wiring, battery = car.wiring, car.battery
    if fault == "alternator dead":
        return as_alternator(DyingAlternator, car, dies=round(dies_s * 10))
    if fault == "weak regulator":
        return as_alternator(WeakRegulator, car)
    if fault == "bad ground":
        return replace(car, wiring=replace(wiring, bus_ohm=wiring.bus_ohm + severity * BAD_GROUND_OHM))
    if fault == "charge path":
        return replace(car, wiring=replace(wiring, charge_cable_ohm=wiring.charge_cable_ohm + BAD_GROUND_OHM))
    if fault == "battery clamp":
        return replace(car, wiring=replace(wiring, battery_cable_ohm=wiring.battery_cable_ohm + 0.010))
    if fault == "battery ageing":
        left = 1.0 - _LOSS * severity
        return replace(
            car,
            battery=replace(
                battery,
                capacity_as=battery.capacity_as * left,
                surface_f=battery.surface_f * left,
                charge_exchange_a=battery.charge_exchange_a * left,
                discharge_exchange_a=battery.discharge_exchange_a * left,
                internal_ohm=battery.internal_ohm * (1.0 + severity),
            ),
        )
    return car


def weathered(car: Car, celsius: float, rng: np.random.Generator) -> Car:
    """Cold: the battery's resistance 0.8 %/K higher (half-CCA limits: 9.6 V at 20 C, 9.1 V at -1 C), the starter's
    current 0.5 %/K (stiff oil). Each start differs by 4 % anyway, each night leaves another charge."""
    cold = 20.0 - celsius
    battery = replace(car.battery, internal_ohm=car.battery.internal_ohm * (1.0 + 0.008 * cold))
    pull = (1.0 + 0.005 * cold) * rng.normal(1.0, 0.04)
    starter = replace(car.starter, turning_a=car.starter.turning_a * pull, inrush_a=car.starter.inrush_a * pull)
    return replace(car, battery=battery, starter=starter, charge=float(rng.uniform(0.90, 0.99)))


def night(car: Car, celsius: float, draw_a: float, hours: float, rng: np.random.Generator) -> tuple[Any, BatteryState]:
    """(samples as `judged` takes them, the battery at its end) of a night that begins with some surface charge.

    The air cools by 8 K and warms again; rested volts follow it with 0 to 4.3 mV/K, for published values differ so.
    """
    seconds = np.concatenate([np.arange(1.0, 91.0), np.arange(150.0, hours * 3600.0, 60.0)])
    steps = np.diff(seconds, prepend=0.0)
    battery, state = car.battery, BatteryState(car.charge, 0.25)
    volts = np.empty(len(seconds))
    for index, step_s in enumerate(steps.tolist()):
        state = battery.step(state, -draw_a, step_s)
        volts[index] = battery.emf(state) - draw_a * battery.internal_ohm
    volts -= rng.uniform(0.0, 0.0043) * 8.0 * np.sin(pi * seconds / seconds[-1])
    volts += rng.normal(0.0, 0.001, len(volts))
    amps = np.full(len(volts), -draw_a) + rng.normal(0.0, 0.02, len(volts))
    return (seconds, volts - 0.002, volts, volts + 0.002, amps), state


def journey(celsius: float, minutes: float, dark: bool, rng: np.random.Generator) -> tuple[Phase, ...]:
    """A drive of town and road, with the key on for three seconds before the crank."""
    on = DUSK if dark else DAY
    phases = [
        Phase("rest", 5.0, on=STANDING, ambient_c=celsius),
        Phase("key on", 3.0, on=DAY, ambient_c=celsius),
        Phase("crank", float(rng.uniform(0.6, 1.4)), 170.0, DAY, crank=True, ramp_s=0.2, ambient_c=celsius),
        Phase("fast idle", float(rng.uniform(20, 50)), 1250.0, on, ambient_c=celsius),
    ]
    left = minutes * 60.0
    while left > 0.0:
        driving, standing = float(rng.uniform(40, 200)), float(rng.uniform(20, 70))
        rpm = float(rng.choice([1900.0, 2300.0]))
        phases.append(Phase("road", driving, rpm, on, speed_mps=rpm / 160.0, ambient_c=celsius, ramp_s=2.0))
        phases.append(Phase("stop", standing, 800.0, (*on, HOT_IDLE), ambient_c=celsius))
        left -= driving + standing
    return tuple(phases)


@dataclass(frozen=True)
class Entry:
    """A night and the drive after it: rows with and without a clamp, and what the review makes of them."""

    celsius: float
    fault: str
    severity: float
    rows: Rows
    report: dict[str, Any]
    fault_s: float = 0.0
    """When in the board's time the fault began, where it began in this drive [s]."""

    @cached_property
    def steps(self) -> list[dict[str, float | None]]:
        return load_steps(self.rows, self.report["drives"])


def entry(rng: np.random.Generator, clamp: bool, fault: str = "none", **more: Any) -> Entry:
    """One night and drive, with or without a clamp; see `pair`."""
    return pair(rng, fault, **more)[0 if clamp else 1]


def pair(
    rng: np.random.Generator,
    fault: str = "none",
    celsius: float = 15.0,
    severity: float = 1.0,
    minutes: float | None = None,
    dies: bool = False,
    slow: bool = False,
) -> tuple[Entry, Entry]:
    """The same night and drive with a clamp and without.

    dies: the alternator gives up within this drive; else it was dead before. slow: the drive as a slow recorder has it.
    """
    car = weathered(faulty(build(example()), fault, severity), celsius, rng)
    draw_a = LAMP_W / 12.0 if fault == "lamp" else STANDBY_A
    rest, state = night(car, celsius, draw_a, float(rng.uniform(11.0, 14.0)), rng)
    minutes = float(rng.uniform(6.0, 30.0)) if minutes is None else minutes
    phases = journey(celsius, minutes, bool(rng.random() < 0.4), rng)
    dies_s = float(rng.uniform(0.2, 0.6)) * minutes * 60.0 + 60.0 if dies else 0.0
    if fault == "alternator dead":
        car = as_alternator(
            DyingAlternator, replace(car, alternator=build(example()).alternator), dies=round(dies_s * 10)
        )
    drive = simulate(Scenario("entry", phases, replace(car, charge=state.charge)), 0.1, int(rng.integers(1 << 30)))
    start_s = float(rest[0][-1]) + 1.0
    offset = float(rng.normal(0.0, 0.003))  # the monitor's own, from day to day
    driven = (drive.t_s + start_s, drive.volts + offset, drive.amps)
    driven = glimpsed(*driven, int(rng.integers(20))) if slow else gathered(*driven)
    samples = [np.concatenate(pair) for pair in zip(rest, driven, strict=True)]
    return (
        _entry(celsius, fault, severity, samples, start_s + dies_s),
        _entry(celsius, fault, severity, [*samples[:4], np.full(len(samples[4]), np.nan)], start_s + dies_s),
    )


def _entry(celsius: float, fault: str, severity: float, samples: list[Any], fault_s: float, **more: Any) -> Entry:
    rows = judged(tuple(samples), **more)  # type: ignore[arg-type]
    return Entry(celsius, fault, severity, rows, analyse("entry", rows, Account()), fault_s)


# -- a season of entries ------------------------------------------------------------------------------------------


def compose(entries: Sequence[Entry], days: Sequence[float] | None = None) -> tuple[dict[str, Any], list[Any]]:
    """(report, load steps) as if the entries were successive starts of one board, on these days or undated."""
    drives, rests, parked, steps, offset = [], [], [], [], 0
    for number, one in enumerate(entries, 1):
        for drive in one.report["drives"]:
            moved = {**drive, "boot": number, "number": len(drives) + 1}
            moved["first_row"], moved["last_row"] = drive["first_row"] + offset, drive["last_row"] + offset
            moved["cranks"] = [{**crank, "first_row": crank["first_row"] + offset} for crank in drive["cranks"]]
            if days is not None:
                begins = datetime(2025, 1, 1) + timedelta(days=days[number - 1], seconds=drive["start_s"])
                moved["dated"] = begins.isoformat(timespec="seconds")
            drives.append(moved)
        rests += [{**rest, "boot": number, "first_row": rest["first_row"] + offset} for rest in one.report["rests"]]
        parked += [{**episode, "boot": number, "first_row": episode["first_row"] + offset}
                   for episode in one.report["parked_episodes"]]  # fmt: skip
        steps += one.steps
        offset += len(one.rows)
    report = {**entries[0].report, "drives": drives, "rests": rests, "parked_episodes": parked, "rows": offset}
    return report, steps


def joined(entries: Sequence[Entry]) -> Rows:
    """The rows of `compose`."""
    parts = [replace(one.rows, boot=np.full(len(one.rows), number)) for number, one in enumerate(entries, 1)]
    return Rows(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in vars(parts[0])})


def weather(days: Any, rng: np.random.Generator, mean_c: float = 11.0, swing_k: float = 24.0) -> Any:
    """The air at each drive [C]: a year's sine, days that remember each other (3.5 K rms), and the hour (2 K rms)."""
    days = np.asarray(days, dtype=np.float64)
    spell = np.zeros(len(days))
    for index in range(1, len(days)):
        kept = 0.75 ** min(days[index] - days[index - 1], 30.0)
        spell[index] = kept * spell[index - 1] + 3.5 * np.sqrt(1.0 - kept**2) * rng.standard_normal()
    season = -swing_k / 2.0 * np.cos(2.0 * pi * (days - 15.0) / 365.25)
    return mean_c + season + spell + rng.normal(0.0, 2.0, len(days))


# -- measured drives ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Log:
    """A measured drive in rows of a second: t_s [s], volts and low [V], rpm, speed_kmh, coolant_c, air_c."""

    t_s: Any
    volts: Any
    rpm: Any
    speed_kmh: Any
    coolant_c: Any
    air_c: Any
    low: Any

    def load_a(self) -> Any:
        """What the car's loads may have drawn [A]; the recordings do not tell. The virtual car's: 9 A with the key on,
        19 A running, 4 A of brake lamps standing, and a fan of 16 A for 40 s in each 120 s once the coolant is at
        90 C and the car slow."""
        running, slow = self.rpm > 500.0, self.speed_kmh < 20.0
        fan = (self.coolant_c >= 90.0) & slow & (self.t_s % 120.0 < 40.0)
        return np.where(running, 19.0, 9.0) + 4.0 * (running & (self.speed_kmh < 1.0)) + 16.0 * (running & fan)

    def entry(self, volts: Any, fault: str = "none", rng: np.random.Generator | None = None, **more: Any) -> Entry:
        """The drive with other volts; with `rng` after a night of the virtual car's battery (`lamp`: one left on)."""
        column = np.full(len(volts), np.nan)
        unrest = np.where(self.rpm > 500.0, 0.02, 0.002)  # the ignition's, which the recordings are too coarse for
        low = np.where(self.low < self.volts - 0.5, self.low + volts - self.volts, volts)  # a crank between two seconds
        samples: list[Any] = [self.t_s, low - unrest, volts, volts + unrest, column]
        extra = {"temperature": self.air_c, "rpm": self.rpm}
        if rng is not None:
            car = replace(build(example()), charge=float(rng.uniform(0.90, 0.99)))
            draw_a = LAMP_W / 12.0 if fault == "lamp" else STANDBY_A
            rest, _ = night(car, 15.0, draw_a, float(rng.uniform(11.0, 14.0)), rng)
            before = np.full(len(rest[0]), np.nan)
            samples[0] = self.t_s + rest[0][-1]
            samples = [np.concatenate(pair) for pair in zip((*rest[:4], before), samples, strict=True)]
            extra = {name: np.concatenate([before, column]) for name, column in extra.items()}
        return _entry(15.0, fault, more.get("severity", 1.0), samples, more.get("fault_s", 0.0), **extra)


def measured_log(table: Sequence[dict[str, str]], part: float = 1.0) -> Log:
    """The first `part` of a recording, in rows of a second; lowest and last of its samples.

    About two rows a second share a time, and before the start, starter included, all have time 0: they are set half a
    second apart.
    """
    names = ("engine_run_s", "volts", "engine_rpm", "speed_kmh", "coolant_c", "intake_air_c")
    run_s, *columns = (np.array([float(row[name]) for row in table]) for name in names)
    before = int((run_s == 0.0).sum())
    first = np.searchsorted(run_s, run_s)
    spread = run_s + (np.arange(len(run_s)) - first) * 0.25 + before * 0.5
    spread[:before] = np.arange(before) * 0.5
    ends = np.arange(1.0, np.floor(spread[-1] * part))
    at = np.searchsorted(spread, ends, side="left") - 1
    start = np.minimum(np.searchsorted(spread, ends - 1.0, side="left"), at)
    low = np.minimum.reduceat(columns[0], np.stack([start, at + 1], axis=1).ravel())[::2]
    return Log(ends, *(column[at] for column in columns), low=np.minimum(low, columns[0][at]))


def with_dead_alternator(log: Log, at_s: float) -> Any:
    """Volts if the alternator gave nothing from `at_s` on: the virtual car's battery at 90 %, with the surface charge
    that its volts had then, under the loads; read in the recording's steps of 19.5 mV with its own unrest."""
    dead = np.flatnonzero(log.t_s >= at_s)
    battery, load = Battery(), log.load_a()
    charge = 0.90
    state = BatteryState(charge, max(float(log.volts[dead[0] - 1]) - rested_volts(charge), 0.0))
    volts = log.volts.copy()
    for index in dead.tolist():
        volts[index] = battery.emf(state) - load[index] * battery.internal_ohm
        state = battery.step(state, -float(load[index]), 1.0)
    unrest = np.diff(log.volts, prepend=log.volts[0])[dead]
    volts[dead] = np.round((volts[dead] + np.clip(unrest, -0.04, 0.04)) / 0.0195) * 0.0195
    return volts


def with_weak_regulator(log: Log, rng: np.random.Generator) -> Any:
    """Running volts lower by WEAK_BY_V, with a slow unrest; not below what the battery alone would hold, 12.5 V."""
    phase = rng.random(2)
    hunting = HUNTING_V * (np.sin(2 * pi * (log.t_s / 23.0 + phase[0])) + np.sin(2 * pi * (log.t_s / 61.0 + phase[1])))
    running = log.volts > 13.0
    return np.where(running, np.maximum(log.volts - WEAK_BY_V + hunting, np.minimum(log.volts, 12.5)), log.volts)


def with_bad_ground(log: Log, ohm: float = BAD_GROUND_OHM) -> Any:
    """The loads' current through a resistance that they share with the monitor."""
    return log.volts - ohm * log.load_a()


def with_aged_battery(log: Log, severity: float) -> Log:
    """Until the alternator takes over, everything below the first volts is as much deeper as the resistance has risen:
    the starter is taken to draw what it drew. The lowest samples likewise."""
    first = float(log.volts[0])
    before = np.arange(len(log.volts)) < int(np.flatnonzero(log.volts > 13.0)[0])

    def aged(volts: Any, still: Any) -> Any:
        return np.where(still & (volts < first), first + (1.0 + severity) * (volts - first), volts)

    # The second in which the alternator takes over may begin with a sample from before.
    still = np.concatenate([[True], before[:-1]])
    return replace(log, volts=aged(log.volts, before), low=aged(log.low, still))
