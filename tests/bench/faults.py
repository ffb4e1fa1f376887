"""How well a season tells faults: detected, named right, how soon, and how often it cries wolf. Prints tables.

Thresholds were chosen while looking at seeds 1 to 9, 1001 and 2001; this reports others (--seed). A virtual season is
40 to 90 drives over four to twelve months, drawn from a library of simulated nights and drives that suits its weather
(tests/review/faults.py); a measured one 30 to 60 drives, drawn from the ten recordings, cut at random. Each is looked
at after every drive at first, then more seldom; a healthy one after every eighth. Its measured drives are set on a grid
of a second, with a ripple, which no file of theirs has; `faults_imported.py`, whose tables come last, hands the
recordings' own lines to the public review as CSV files. Takes half an hour: --trials, --healthy, --only.
"""

import argparse
import csv
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[1] / "review")]

import faults as f
import faults_imported

from chargecore import engine
from conftest import measured_data
from underdash.review.season import assess, season
from underdash.review.season.events import not_charging

NAMES = {
    "alternator dead": "alternator",
    "weak regulator": "regulator",
    "bad ground": "connection",
    "charge path": "connection or regulator",
    "battery clamp": "battery",
    "battery ageing": "battery",
}
_LOOKS = (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20, 26, 34)  # drives with a fault, when looked at; and the last
_EVERY = 8  # healthy seasons are looked at after so many drives
Pick = Callable[[str, float, float], f.Entry]


@dataclass
class Trial:
    """What became of one fault: drives until anything was said, until it was named right; whether the last look was."""

    said: int | None = None
    named: int | None = None
    right: bool = False
    either: bool = False
    """The last look could not tell connection from regulator, and said so."""
    severity: float = 1.0


def causes(found: dict[str, Any]) -> set[str]:
    """What the verdicts that are not steady name; that a battery is undercharged follows from others."""
    named = {one["cause"] for one in found["verdicts"].values() if one["verdict"] in ("drifting", "act")}
    return named - {"undercharged"}


def run(fault: str, entries: Sequence[f.Entry], days: Any, onset: int) -> Trial:
    """Look again and again from the fault's first drive on."""
    trial = Trial()
    for count in range(onset + 1, len(entries) + 1):
        after = count - onset
        if after not in _LOOKS and count < len(entries):
            continue
        found = assess(*f.compose(entries[:count], None if days is None else days[:count]))
        if fault == "lamp":
            nights = {event["boot"] for event in found["events"] if event["kind"] == "left on"}
            trial.said = trial.named = after if nights == {onset + 1} else None
            trial.right = bool(trial.said) and not causes(found)
            return trial
        named = causes(found)
        if named and trial.said is None:
            trial.said = after
        trial.right = named == {NAMES[fault]}
        trial.either = not trial.right and named == {"connection or regulator"}
        if NAMES[fault] in named and trial.named is None:
            trial.named, trial.severity = after, entries[count - 1].severity
    return trial


def library(rng: np.random.Generator, size: int, only: str | None = None) -> dict[str, list[tuple[f.Entry, f.Entry]]]:
    """Pairs (with a clamp, without) of each fault, at any temperature."""
    found: dict[str, list[tuple[f.Entry, f.Entry]]] = {}
    for fault in ("none",) if only == "healthy" else ("none", "lamp", *NAMES):
        many = {"none": 4 * size, "battery ageing": 2 * size, "lamp": size // 2}.get(fault, size)
        found[fault] = [
            f.pair(rng, fault, celsius=float(rng.uniform(-4.0, 28.0)), severity=float(rng.uniform(0.0, 1.0)))
            if fault == "battery ageing"
            else f.pair(rng, fault, celsius=float(rng.uniform(-4.0, 28.0)))
            for _ in range(many)
        ]
    if only != "healthy":
        found["dying"] = [
            f.pair(rng, "alternator dead", celsius=float(rng.uniform(-4.0, 28.0)), dies=True) for _ in range(size)
        ]
    return found


def slow_library(rng: np.random.Generator, size: int) -> dict[str, list[f.Entry]]:
    """Healthy and ageing, without a clamp, as a recorder of a sample in two seconds has them. Many: of a few the same
    deep dips would come again with the same weather, as chance has it in no car."""

    def one(fault: str) -> f.Entry:
        celsius, severity = float(rng.uniform(-4.0, 28.0)), float(rng.uniform(0.0, 1.0))
        return f.pair(rng, fault, celsius=celsius, severity=severity, slow=True)[1]

    return {fault: [one(fault) for _ in range(20 * size)] for fault in ("none", "battery ageing")}


def picker(pool: dict[str, list[f.Entry]], rng: np.random.Generator) -> Pick:
    """Draw an entry of a fault that suits temperature [C] and severity."""

    def pick(fault: str, celsius: float, severity: float) -> f.Entry:
        def apart(one: f.Entry) -> float:
            return abs(one.celsius - celsius) / 4.0 + (
                abs(one.severity - severity) / 0.08 if fault == "battery ageing" else 0.0
            )

        near = sorted(pool[fault], key=apart)[:8]
        return near[int(rng.integers(len(near)))]

    return pick


def virtual(fault: str, pick: Pick, rng: np.random.Generator) -> tuple[list[f.Entry], Any, int]:
    count = int(rng.integers(40, 91))
    days = np.sort(rng.uniform(0.0, rng.uniform(120.0, 365.0), count)) + rng.uniform(0.0, 365.0)
    air = f.weather(days, rng)
    onset = int(rng.uniform(0.4, 0.7) * count)
    entries = []
    for index in range(count):
        bad = fault != "none" and (index == onset if fault == "lamp" else index >= onset)
        severity = (index - onset) / (count - onset) if fault == "battery ageing" else 1.0
        kind = "dying" if fault == "alternator dead" and index == onset else fault
        entries.append(pick(kind if bad else "none", float(air[index]), severity))
    return entries, days - days[0], onset


def measured(fault: str, logs: list[list[dict[str, str]]], rng: np.random.Generator) -> tuple[list[f.Entry], Any, int]:
    count = int(rng.integers(30, 61))
    onset = int(rng.uniform(0.4, 0.7) * count)
    entries = []
    for index in range(count):
        log = f.measured_log(logs[int(rng.integers(len(logs)))], float(rng.uniform(0.5, 1.0)))
        log = replace(log, volts=log.volts + rng.normal(0.0, 0.01))
        bad = fault != "none" and (index == onset if fault == "lamp" else index >= onset)
        severity = (index - onset) / (count - onset) if fault == "battery ageing" else 1.0
        entries.append(spoilt(log, fault if bad else "none", severity, rng, index == onset))
    return entries, None, onset


def spoilt(log: f.Log, fault: str, severity: float, rng: np.random.Generator, first: bool) -> f.Entry:
    volts = log.volts
    if fault == "alternator dead":
        volts = f.with_dead_alternator(log, float(rng.uniform(0.2, 0.5)) * log.t_s[-1] if first else 10.0)
    elif fault == "weak regulator":
        volts = f.with_weak_regulator(log, rng)
    elif fault == "bad ground":
        volts = f.with_bad_ground(log)
    elif fault == "battery ageing":
        log = f.with_aged_battery(log, severity)
        volts = log.volts
    return log.entry(volts, fault, rng, severity=severity)


def row(title: str, trials: list[Trial], drives: bool = True) -> str:
    count = len(trials)
    delays = [trial.named for trial in trials if trial.named is not None]
    shown = f"{np.median(delays):.0f} / {np.percentile(delays, 95):.0f}" if delays else "-"
    said = sum(trial.said is not None for trial in trials)
    right, either = sum(trial.right for trial in trials), sum(trial.either for trial in trials)
    return f"| {title} | {count} | {said} | {len(delays)} | {right} | {either} | {shown} |"


def false_alarms(title: str, seasons: list[tuple[list[f.Entry], Any]]) -> str:
    last = ever = looks = nights = drives = 0
    for entries, days in seasons:
        wrong = False
        for count in [*range(10, len(entries), _EVERY), len(entries)]:
            found = assess(*f.compose(entries[:count], None if days is None else days[:count]))
            bad = bool(causes(found)) or any(
                one["verdict"] in ("drifting", "act") for one in found["verdicts"].values()
            )
            wrong, looks = wrong or bad, looks + 1
        last += bad
        ever += wrong
        nights += len(found["events"])
        drives += len(entries)
    return f"| {title} | {len(seasons)} | {drives} | {last} | {ever} ({looks} looks) | {nights} |"


def dying_drives(logs: list[list[dict[str, str]]]) -> None:
    """Alternator dead from a moment on, drive by drive."""
    shown, named, delays, crying, count = 0, 0, [], 0, 0
    for table in logs:
        log = f.measured_log(table)
        healthy = log.entry(log.volts)
        crying += bool((healthy.rows.warnings & engine.WARN_DISCHARGING).any())
        for part in (0.15, 0.3, 0.45):
            at_s = part * float(log.t_s[-1])
            one = log.entry(f.with_dead_alternator(log, at_s), "alternator dead")
            count += 1
            late = one.rows.t_s[(one.rows.warnings & engine.WARN_DISCHARGING > 0) & (one.rows.t_s >= at_s)]
            if len(late):
                shown += 1
                delays.append(float(late[0]) - at_s)
            named += not_charging(one.report) is not None
    print(
        f"| measured, in the drive itself | {count} | {shown} | {named} | "
        f"{np.median(delays):.0f} s / {np.percentile(delays, 95):.0f} s | {crying} of {len(logs)} |"
    )


def faults(pairs: dict[str, list[tuple[f.Entry, f.Entry]]], slow: Any, logs: Any, seed: int, count: int) -> None:
    print("| fault | N | said | named | right at the end | not told apart | drives until named, median / 95 % |")
    print("|---|---|---|---|---|---|---|")
    lost: dict[str, list[float]] = {}
    for kind, clamp in enumerate(("clamp", "no clamp")):
        pool = {fault: [both[kind] for both in many] for fault, many in pairs.items()}
        for fault in (*NAMES, "lamp"):
            rng = np.random.default_rng(seed + 1)
            pick = picker(pool, rng)
            trials = [run(fault, *virtual(fault, pick, rng)) for _ in range(count)]
            print(row(f"{fault}, {clamp}", trials), flush=True)
            if fault == "battery ageing":
                lost[clamp] = named_at(trials)
    rng = np.random.default_rng(seed + 6)
    pick = picker(slow, rng)
    trials = [run("battery ageing", *virtual("battery ageing", pick, rng)) for _ in range(count)]
    lost["slow log"] = named_at(trials)
    print(row("battery ageing, slow log", trials), flush=True)
    for fault in ("alternator dead", "weak regulator", "bad ground", "battery ageing", "lamp"):
        rng = np.random.default_rng(seed + 2)
        trials = [run(fault, *measured(fault, logs, rng)) for _ in range(count)]
        print(row(f"{fault}, measured drives", trials), flush=True)
        if fault == "battery ageing":
            lost["measured drives"] = named_at(trials)
    for title, shares in lost.items():
        many = (
            f"{100 * np.median(shares):.0f} %, 95 % of them by {100 * np.percentile(shares, 95):.0f} %"
            if shares
            else "-"
        )
        print(f"{title}: resistance risen when the ageing was named, median {many}; of the capacity, half as much gone")


def named_at(trials: list[Trial]) -> list[float]:
    """How far the ageing was, 0..1, when it was named."""
    return [trial.severity for trial in trials if trial.named is not None]


def healthy(pairs: dict[str, list[tuple[f.Entry, f.Entry]]], slow: Any, logs: Any, seed: int, count: int) -> None:
    print("\n| healthy seasons | seasons | drives | alarm at the end | at any look | nights called |")
    print("|---|---|---|---|---|---|")
    for kind, clamp in enumerate(("clamp", "no clamp")):
        rng = np.random.default_rng(seed + 3 + kind)
        pick = picker({"none": [both[kind] for both in pairs["none"]]}, rng)
        made = [virtual("none", pick, rng)[:2] for _ in range(count // 2)]
        print(false_alarms(f"virtual car, {clamp}", made), flush=True)
    rng = np.random.default_rng(seed + 7)
    pick = picker(slow, rng)
    made = [virtual("none", pick, rng)[:2] for _ in range(count // 2)]
    print(false_alarms("virtual car, slow log", made), flush=True)
    rng = np.random.default_rng(seed + 5)
    made = [measured("none", logs, rng)[:2] for _ in range(count // 5)]
    print(false_alarms("measured drives", made), flush=True)


def speed(pairs: dict[str, list[tuple[f.Entry, f.Entry]]]) -> None:
    many = [both[0] for both in pairs["none"]]
    chosen = (many * (500 // len(many) + 1))[:500]
    report, _ = f.compose(chosen, np.arange(500) * 0.73)
    rows = f.joined(chosen)
    print(f"\n500 drives, {len(rows)} rows:")
    for title, work in (
        ("season(report)", lambda: season(report)),
        ("season(report, rows)", lambda: season(report, rows)),
    ):
        spent = []
        for _ in range(5):
            started = time.process_time()
            work()
            spent.append(time.process_time() - started)
        print(f"{title}: {np.median(spent):.2f} s of the processor")


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--seed", type=int, default=3001)
    words.add_argument("--trials", type=int, default=12)
    words.add_argument("--healthy", type=int, default=200)
    words.add_argument("--size", type=int, default=16)
    words.add_argument("--only", choices=("faults", "healthy", "imported"))
    asked = words.parse_args()
    if asked.only == "imported":
        faults_imported.tables(asked.seed, asked.trials, max(asked.healthy // 5, 1))
        return
    logs = [list(csv.DictReader(path.open())) for path in sorted(measured_data("measured-drives").glob("*.csv"))]
    started = time.perf_counter()
    pairs = library(np.random.default_rng(asked.seed), asked.size, asked.only)
    slow = slow_library(np.random.default_rng(asked.seed + 8), asked.size)
    print(f"library: {sum(map(len, pairs.values()))} nights and drives in {time.perf_counter() - started:.0f} s\n")
    if asked.only != "healthy":
        print("| alternator dead from a moment on | N | shown | named | delay median / 95 % | false alarms |")
        print("|---|---|---|---|---|---|")
        dying_drives(logs)
        print()
        faults(pairs, slow, logs, asked.seed, asked.trials)
    if asked.only != "faults":
        healthy(pairs, slow, logs, asked.seed, asked.healthy)
        speed(pairs)
    if asked.only is None:
        print()
        faults_imported.tables(asked.seed, asked.trials, max(asked.healthy // 5, 1))


if __name__ == "__main__":
    main()
