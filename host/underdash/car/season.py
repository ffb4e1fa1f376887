"""Ten weeks of the virtual car: short drives, evenings that grow dark, a ground that goes bad. All invented."""

import csv
import io
import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from underdash.car.drive import simulate
from underdash.car.from_file import Car
from underdash.car.record import Drive
from underdash.car.scenario import DAY, EVERYTHING, STANDING, STOPPED, WET, Phase, Scenario

FIRST = datetime(2026, 9, 7, 18, 40)
DRIVES, DAYS_APART = 30, (2, 2, 3)
DARK_FROM = 13  # the number of the first drive that ends in the dark, with everything on
BAD_FROM, BAD_OHM = 19, 0.020  # the first with the bad joint, and what it adds between the loads and the battery [ohm]
STEP_S = 0.1


@dataclass(frozen=True)
class Evening:
    """One drive of the season: its number from 1, the local time at its t = 0, and the drive."""

    number: int
    began: datetime
    drive: Drive


def evenings(car: Car, progress: Callable[[int, int], None] | None = None) -> list[Evening]:
    """The season of `car`, the same each time. progress: called with (drives done, drives in all)."""
    chance = np.random.default_rng(11)
    found, day = [], FIRST
    for number, apart in zip(range(1, DRIVES + 1), itertools.cycle(DAYS_APART), strict=False):
        air_c = 21.0 - 0.45 * number + float(chance.normal(0.0, 2.0))
        began = day + timedelta(minutes=int(chance.integers(0, 40)))
        # Each night leaves another charge, each start is another turn of the engine.
        tonight = replace(car, charge=float(chance.uniform(0.92, 0.97)))
        if number >= BAD_FROM:
            tonight = replace(tonight, wiring=replace(car.wiring, bus_ohm=car.wiring.bus_ohm + BAD_OHM))
        way = Scenario(f"evening {number}", _way(air_c, number >= DARK_FROM, chance), tonight)
        found.append(Evening(number, began, simulate(way, STEP_S, seed=number)))
        if progress is not None:
            progress(number, DRIVES)
        day += timedelta(days=apart)
    return found


def _way(air_c: float, dark: bool, chance: np.random.Generator) -> tuple[Phase, ...]:
    """Home through town and over a road, and a wait with the engine idling."""
    road, wait = (WET, EVERYTHING) if dark else (DAY, STOPPED)
    phases = [
        Phase("rest", 150.0, on=STANDING),
        Phase("key on", 4.0, on=DAY),
        Phase("crank", float(chance.uniform(0.7, 1.2)), 170.0, DAY, crank=True, ramp_s=0.2),
        Phase("fast idle", 40.0, 1250.0, DAY, ramp_s=0.9),
    ]
    for _ in range(4):
        phases.append(Phase("town", float(chance.uniform(40, 90)), 1900.0, road, speed_mps=11.0, ramp_s=2.0))
        phases.append(Phase("town stop", float(chance.uniform(15, 35)), 800.0, (*road, *STOPPED[-1:]), ramp_s=0.6))
    phases += [
        Phase("road", float(chance.uniform(240, 420)), 2300.0, road, speed_mps=24.0, ramp_s=4.0),
        Phase("wait", float(chance.uniform(150, 240)), 800.0, wait, ramp_s=0.6),
        Phase("home", 120.0, 1900.0, road, speed_mps=11.0, ramp_s=2.0),
        Phase("parked", 120.0, on=STANDING),
    ]
    return tuple(replace(phase, ambient_c=air_c) for phase in phases)


def log(season: list[Evening]) -> str:
    """The season as a log: time (local, ISO 8601), volts [V], amps [A], positive when the battery is charged."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("time", "volts", "amps"))
    for evening in season:
        drive = evening.drive
        for t_s, volts, amps in zip(drive.t_s.tolist(), drive.volts.tolist(), drive.amps.tolist(), strict=True):
            at = evening.began + timedelta(seconds=t_s)
            writer.writerow((at.isoformat(timespec="milliseconds"), f"{volts:.3f}", f"{amps:.2f}"))
    return text.getvalue()
