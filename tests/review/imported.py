"""Seasons as a user of a slow recorder has them: one CSV file a drive, the measured recordings' own lines.

Nothing of a line is changed but the volts, which get the fault, and in a dated season the time, which becomes the
clock's. A line holds its values until the recorder asked again; a fault's volts are held as long, and come in its steps
of 19.5 mV. So that no two files are alike each has a day's offset of 10 mV rms, and ends somewhere in its second half.
Numbers without a source are chosen here.
"""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch

import faults as f
import numpy as np

from underdash.car import build
from underdash.car.battery import Battery, BatteryState, rested_volts
from underdash.carfile import example
from underdash.review import review
from underdash.review.foreign import several
from underdash.review.foreign.several import from_logs
from underdash.review.season import assess
from underdash.review.season.load_steps import load_steps
from underdash.review.season.nights import early_drifts

STEP_V = 0.0195
DAY_V = 0.010
FAULTS = ("alternator dead", "set point -0.4 V", "set point -0.7 V", "bad ground", "battery ageing", "lamp")
_LOWER_V = {"set point -0.4 V": 0.4, "set point -0.7 V": 0.7}
_AGED_REST_V = 0.15  # how much lower the aged battery rests by the end: a fifth of its charge (BCI table)
_KEY_SAG_V = (0.12, 0.03)  # what the key's loads pull the volts down by, from day to day: 9 A at 13 mohm
_TURN_LINES = 4  # the recorder asks four things in turn, a line each
_EMPTIED = (0.2, 5.0)  # at a lower set point the battery rests lower by this part of it, in so many drives
_ALONE_V = 12.5  # running volts below do not follow the set point down any further: the battery carries the car


@dataclass(frozen=True)
class Recording:
    """The lines of a measured drive as they stand in its file. asked: the line at which each line's volts were read."""

    name: str
    columns: dict[str, Any]
    asked: Any

    def log(self) -> f.Log:
        """The lines as `faults` knows a drive."""
        names = ("engine_run_s", "volts", "engine_rpm", "speed_kmh", "coolant_c", "intake_air_c")
        return f.Log(*(self.columns[name] for name in names), low=self.columns["volts"])


@dataclass(frozen=True)
class Season:
    """Files, oldest first, and what was done to the car: the fault from file `onset` on."""

    files: list[Path]
    fault: str
    onset: int
    nights: bool
    hours: list[float]
    severity: list[float]


def recording(path: Path, rows: Sequence[dict[str, str]] | None = None) -> Recording:
    """A recording as it is; when its volts were read shows by their change, else a turn of the recorder later."""
    with path.open() as file:
        rows = rows or list(csv.DictReader(file))
    columns = {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}
    volts, asked = columns["volts"], np.zeros(len(rows), np.int64)
    for line in range(1, len(rows)):
        last = int(asked[line - 1])
        asked[line] = line if volts[line] != volts[line - 1] or line - last >= _TURN_LINES else last
    return Recording(path.stem, columns, asked)


def spoilt(one: Recording, fault: str, severity: float = 1.0, dies: float | None = None) -> Any:
    """The recording's volts with the fault [V], before they are rounded to steps.

    severity: of an ageing battery, 0..1. dies: the part of the drive after which the alternator gives nothing; None if
    it gave nothing from the start on.
    """
    volts, log = one.columns["volts"], one.log()
    charged = np.flatnonzero(volts > 13.0)
    if fault == "alternator dead":
        return _dead(log, one.asked, int(charged[0]) if dies is None else int(dies * len(volts)))
    if fault in _LOWER_V:
        lowered = np.maximum(volts - _LOWER_V[fault], np.minimum(volts, _ALONE_V))
        return np.where(volts > 13.0, lowered, volts)
    if fault == "bad ground":
        return volts - f.BAD_GROUND_OHM * log.load_a()[one.asked]
    if fault == "battery ageing":
        first = float(volts[0])
        before = _before(one)
        dips = np.where(before & (volts < first), severity * (volts - first), 0.0)
        return volts + dips - np.where(before, _AGED_REST_V * severity, 0.0)
    return volts


def _before(one: Recording) -> Any:
    """Which lines are from before the alternator took over."""
    volts = one.columns["volts"]
    return np.arange(len(volts)) < int(np.flatnonzero(volts > 13.0)[0])


def _dead(log: f.Log, asked: Any, begin: int) -> Any:
    """As `faults.with_dead_alternator`, in the recorder's lines: the virtual car's battery at 90 %, with the surface
    charge that its volts had, under the loads."""
    battery, load = Battery(), log.load_a()
    state = BatteryState(0.90, max(float(log.volts[begin - 1]) - rested_volts(0.90), 0.0))
    volts, steps = log.volts.copy(), np.diff(log.t_s, prepend=log.t_s[0])
    unrest = np.clip(np.diff(log.volts, prepend=log.volts[0]), -0.04, 0.04)
    for line in range(begin, len(volts)):
        if steps[line] > 0.0:
            state = battery.step(state, -float(load[line]), float(steps[line]))
        volts[line] = battery.emf(state) - load[line] * battery.internal_ohm + unrest[line]
    volts[begin:] = volts[np.maximum(asked[begin:], begin)]
    return volts


def write_season(
    folder: Path, recordings: Sequence[Recording], fault: str, seed: int, *, nights: bool, dated: bool,
    count: int | None = None, onset: int | None = None, hours: float | None = None,
) -> Season:  # fmt: skip
    """Write the files of a season of 20 to 40 drives into `folder`; `fault` is one of FAULTS or `none`.

    nights: each drive has its night before it, 8 to 13 h (or `hours`) in a row a minute, speed 0. dated: the time is a
    clock's; else it is the recorder's seconds.
    """
    rng = np.random.default_rng([seed, *fault.encode(), nights, dated])
    count = count or int(rng.integers(20, 41))
    onset = int(rng.uniform(0.4, 0.7) * count) if onset is None else onset
    days = np.cumsum(rng.integers(1, 5, count))
    files, lengths, severities = [], [], []
    taken: set[tuple[str, int]] = set()
    for index in range(count):
        bad = fault != "none" and (index == onset if fault == "lamp" else index >= onset)
        severity = (index - onset + 1) / (count - onset) if fault == "battery ageing" and bad else float(bad)
        dies = float(rng.uniform(0.2, 0.5)) if index == onset else None
        one = recordings[int(rng.integers(len(recordings)))]
        end = int(len(one.asked) * rng.uniform(0.5, 1.0))
        while (one.name, end) in taken:  # two alike would be refused
            end = int(len(one.asked) * rng.uniform(0.5, 1.0))
        taken.add((one.name, end))
        volts = spoilt(one, fault if bad else "none", severity, dies) + rng.normal(0.0, DAY_V)
        t_s, rpm = one.columns["engine_run_s"], one.columns["engine_rpm"]
        if bad and fault in _LOWER_V:
            emptied = _EMPTIED[0] * _LOWER_V[fault] * (1.0 - np.exp(-(index - onset) / _EMPTIED[1]))
            volts = volts - np.where(_before(one), emptied, 0.0)
        if nights:
            lengths.append(float(rng.uniform(8.0, 13.0)) if hours is None else hours)
            night_s, night_v, fell = _night(one, volts, bad and fault == "lamp", lengths[-1], rng)
            if bad and fault == "lamp":
                volts = volts - np.where(_before(one), fell, 0.0)
            if bad and fault == "battery ageing":
                night_v = night_v - _AGED_REST_V * severity
            if bad and fault in _LOWER_V:
                night_v = night_v - emptied
            t_s = np.concatenate([night_s, night_s[-1] + 1.0 + t_s])
            volts, rpm = np.concatenate([night_v, volts]), np.concatenate([np.zeros(len(night_s)), rpm])
            end += len(night_s)
        begin = datetime(2025, 3, 1, 8) + timedelta(days=int(days[index]), minutes=int(rng.integers(-60, 60)))
        path = folder / f"drive-{index + 1:03d}.csv"
        _write(path, begin if dated else None, t_s[:end], volts[:end], rpm[:end])
        files.append(path)
        severities.append(severity)
    return Season(files, fault, onset, nights, lengths, severities)


def _night(one: Recording, volts: Any, lamp: bool, hours: float, rng: np.random.Generator) -> tuple[Any, Any, float]:
    """(seconds, volts, what a lamp lowered its end by) of the virtual car's battery, moved so that a healthy night ends
    where this recording begins, its key's loads taken off."""
    car, seed = build(example()), int(rng.integers(1 << 30))
    car = f.replace(car, charge=float(rng.uniform(0.90, 0.99)))
    found = []
    for draw_a in (f.STANDBY_A, f.LAMP_W / 12.0):
        samples, _ = f.night(car, 15.0, draw_a, hours, np.random.default_rng(seed))
        found.append((samples[0], samples[2]))
        if not lamp:
            break
    seconds, healthy = found[0]
    moved = float(one.columns["volts"][0]) + float(rng.normal(*_KEY_SAG_V)) - float(np.median(healthy[-20:]))
    fell = float(np.median(healthy[-20:]) - np.median(found[-1][1][-20:]))
    return seconds, found[-1][1] + moved, fell


def _write(path: Path, begin: datetime | None, t_s: Any, volts: Any, rpm: Any) -> None:
    volts = np.round(np.round(volts / STEP_V) * STEP_V, 3)
    with path.open("w") as file:
        file.write("time,volts,engine_rpm\n" if begin else "engine_run_s,volts,engine_rpm\n")
        for at, level, speed in zip(t_s.tolist(), volts.tolist(), rpm.tolist(), strict=True):
            when = (begin + timedelta(seconds=at)).isoformat(" ", "seconds") if begin else f"{at:.0f}"
            file.write(f"{when},{level:g},{speed:g}\n")


@dataclass(frozen=True)
class Reviewed:
    """What the public review made of all files, and the season after each of them."""

    report: dict[str, Any]
    steps: list[Any]
    early: list[float | None]
    ends: list[int]
    """One past the last row of each file."""

    def after(self, files: int) -> dict[str, Any] | None:
        """The season as it stood after so many files; None for fewer than three drives."""
        kept = {name: [one for one in self.report[name] if one["first_row"] < self.ends[files - 1]]
                for name in ("drives", "rests", "parked_episodes", "doubtful_rests")}  # fmt: skip
        if len(kept["drives"]) < 3:
            return None
        return assess({**self.report, **kept}, self.steps[: len(kept["drives"])], self.early[: len(kept["rests"])])


def reviewed(season: Season, *, speed: bool) -> Reviewed:
    """The season's files through the public review, with the engine's speed mapped or without."""
    with season.files[0].open() as file:
        time = file.readline().split(",")[0]
    columns = {"t_s": time, **({"rpm": "engine_rpm"} if speed else {})}
    kept: dict[str, Any] = {}  # what the review read, for the looks before the last
    with patch.object(several, "from_logs", lambda *asked: kept.setdefault("read", from_logs(*asked))):
        report, _ = review(season.files, columns=columns)
    table, account = kept["read"]
    ends = np.searchsorted(table.boot, np.arange(len(season.files)) + 1, side="right")
    return Reviewed(
        report, load_steps(table, report["drives"], account.lines), early_drifts(table, report["rests"]), ends.tolist()
    )
