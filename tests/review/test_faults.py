"""Faults put into the virtual car and into one car's measured drives: found, named, and nothing else named.

A few seasons with fixed seeds; tests/bench/faults.py runs many and prints the rates (docs/performance.md).
"""

from dataclasses import replace
from pathlib import Path

import faults as f
import numpy as np
import pytest

from chargecore import engine
from conftest import last_run, measured_drives
from underdash.car import build
from underdash.carfile import example
from underdash.review.season import assess, season
from underdash.review.season.events import not_charging
from underdash.review.season.words import findings

BEFORE, AFTER = 16, 10
CAUSES = {
    "alternator dead": ("regulator", "alternator"),
    "weak regulator": ("regulator", "regulator"),
    "bad ground": ("connection", "connection"),
    "charge path": ("connection", "connection or regulator"),
    "battery clamp": ("battery", "battery"),
    "battery ageing": ("battery", "battery"),
}


def drives(fault: str, count: int, seed: int) -> list[tuple[f.Entry, f.Entry]]:
    rng = np.random.default_rng(seed)
    return [f.pair(rng, fault, celsius=float(rng.uniform(5.0, 25.0)), minutes=float(rng.uniform(6.0, 10.0)))
            for _ in range(count)]  # fmt: skip


@pytest.fixture(scope="module")
def healthy() -> list[tuple[f.Entry, f.Entry]]:
    return drives("none", BEFORE, 11)


@pytest.mark.parametrize("fault", CAUSES)
def test_a_fault_is_named_with_a_clamp_and_without(fault: str, healthy: list[tuple[f.Entry, f.Entry]]) -> None:
    bad = drives(fault, AFTER, 12)
    for kind in (0, 1):
        entries = [both[kind] for both in (*healthy, *bad)]
        found = assess(*f.compose(entries, np.arange(len(entries)) * 3.0))
        about, cause = CAUSES[fault]
        verdict = found["verdicts"][about]
        assert verdict["verdict"] in ("drifting", "act")
        assert verdict["cause"] == cause
        for name, other in found["verdicts"].items():
            assert other["verdict"] in ("steady", "unknown") or other["cause"] == cause, name
        if verdict["drive"] is not None:
            assert abs(verdict["drive"] - (BEFORE + 1)) <= 2
        assert findings(found)[0]["weight"] in ("act", "watch")


def test_a_healthy_season_is_steady(healthy: list[tuple[f.Entry, f.Entry]]) -> None:
    for kind in (0, 1):
        report, steps = f.compose([both[kind] for both in healthy], np.arange(BEFORE) * 20.0)
        found = assess(report, steps)
        assert {one["verdict"] for one in found["verdicts"].values()} == {"steady"}
        assert found["events"] == []


def test_season_reads_the_same_steps_from_the_rows(healthy: list[tuple[f.Entry, f.Entry]]) -> None:
    entries = [both[0] for both in healthy]
    report, steps = f.compose(entries)
    assert season(report, f.joined(entries)) == assess(report, steps)


def test_the_key_tells_the_resistance_that_was_put_in(healthy: list[tuple[f.Entry, f.Entry]]) -> None:
    """Kirchhoff: 50 mohm more in the bus's arm is 50 mohm more between rested volts and the key's."""
    bad = drives("bad ground", 4, 13)
    before = np.median([both[0].steps[0]["key_ohm"] for both in healthy])
    after = np.median([both[0].steps[0]["key_ohm"] for both in bad])
    assert after - before == pytest.approx(f.BAD_GROUND_OHM, rel=0.05)


def test_a_lamp_left_on_overnight_is_told_and_blames_nobody(healthy: list[tuple[f.Entry, f.Entry]]) -> None:
    lamp = f.pair(np.random.default_rng(14), "lamp", minutes=7.0)
    for kind in (0, 1):
        entries = [both[kind] for both in healthy]
        found = assess(*f.compose([*entries[:10], lamp[kind], *entries[10:]], np.arange(BEFORE + 1) * 3.0))
        (event,) = found["events"]
        assert event["boot"] == 11
        assert {one["verdict"] for one in found["verdicts"].values()} == {"steady"}


def test_the_injectors_do_what_they_say() -> None:
    car, rng = build(example()), np.random.default_rng(1)
    assert f.faulty(car, "bad ground").wiring.bus_ohm == pytest.approx(car.wiring.bus_ohm + 0.050)
    aged = f.faulty(car, "battery ageing", 1.0).battery
    assert aged.capacity_as == car.battery.capacity_as / 2 and aged.internal_ohm == 2 * car.battery.internal_ohm
    dead = f.as_alternator(f.DyingAlternator, car, dies=5).alternator.available(np.full(9, 2000.0), hot=True)
    assert (dead[:5] > 0).all() and (dead[5:] == 0).all()
    (t_s, _, volts, _, _), _ = f.night(replace(car, charge=0.95), 15.0, f.LAMP_W / 12.0, 12.0, rng)
    late = t_s > 7 * 3600
    slope = np.polyfit(t_s[late] / 3600, volts[late] * 1000, 1)[0]
    # 0.83 A of 60 Ah is 1.4 % an hour, and the BCI table has 8.0 mV a percent there: 11.2 mV/h, weather aside
    assert slope == pytest.approx(-11.2, abs=4.5)


def whole_drive(path: Path) -> f.Log | None:
    """A recording as a drive to put faults into: it must begin before the start, and last for five minutes."""
    lines = last_run(path)
    first_s, last_s = (float(lines[at]["engine_run_s"]) for at in (0, -1))
    return f.measured_log(lines) if first_s == 0.0 and last_s >= 300.0 else None


def test_an_alternator_that_dies_in_a_measured_drive_is_shown_within_a_quarter_of_a_minute(
    measured_drive: Path,
) -> None:
    """The surface charge holds the volts up for some seconds, and the dwell is five."""
    log = whole_drive(measured_drive)
    if log is None:
        pytest.skip(f"{measured_drive.name}: begins with the engine running, or is shorter than five minutes")
    healthy = log.entry(log.volts)
    assert not (healthy.rows.warnings & engine.WARN_DISCHARGING).any()
    assert not_charging(healthy.report) is None
    at_s = 0.3 * float(log.t_s[-1])
    one = log.entry(f.with_dead_alternator(log, at_s), "alternator dead")
    warned = one.rows.t_s[(one.rows.warnings & engine.WARN_DISCHARGING) > 0]
    assert at_s < warned[0] <= at_s + 15.0
    assert not_charging(one.report) is not None


@pytest.mark.parametrize(("fault", "cause"), [("none", None), ("weak regulator", "regulator"),
                                              ("bad ground", "connection")])  # fmt: skip
def test_a_season_of_measured_drives(fault: str, cause: str | None) -> None:
    rng = np.random.default_rng(15)
    logs = [log for path in measured_drives() if (log := whole_drive(path))]
    change = {"none": lambda log: log.volts, "weak regulator": lambda log: f.with_weak_regulator(log, rng),
              "bad ground": f.with_bad_ground}[fault]  # fmt: skip
    entries = [log.entry(log.volts, rng=rng) for log in logs + logs]
    entries += [log.entry(change(log), fault, rng) for log in logs + logs]
    found = assess(*f.compose(entries))
    named = {one["cause"] for one in found["verdicts"].values() if one["verdict"] in ("drifting", "act")}
    assert named == (set() if cause is None else {cause})


def test_a_measured_battery_is_aged_once() -> None:
    """So much more resistance is so much more of each dip, and no crank where there was none; the key's volts are those
    before the engine turned, which a start that no row caught does not pull down."""
    missed = 0
    for path in measured_drives():
        log = whole_drive(path)
        if log is None:
            continue
        rng = [np.random.default_rng(16), np.random.default_rng(16)]
        old = f.with_aged_battery(log, 0.7)
        fresh, aged = log.entry(log.volts, rng=rng[0]), old.entry(old.volts, rng=rng[1])
        (one,), (other,) = fresh.report["drives"], aged.report["drives"]
        assert len(one["cranks"]) == len(other["cranks"]), path.name
        first = float(log.volts[0])
        if one["cranks"]:
            dips = [first - drive["cranks"][0]["lowest_volts"] for drive in (one, other)]
            assert dips[1] == pytest.approx(1.7 * dips[0], abs=0.05), path.name
        else:
            missed += 1
            before = fresh.steps[0]["key_volts"]
            assert before is not None and first - before <= 0.03, path.name
    assert missed >= 4


def test_a_battery_that_ages_in_measured_drives_is_named() -> None:
    rng = np.random.default_rng(17)
    logs = [log for path in measured_drives() if (log := whole_drive(path))]
    shuffled = [logs[int(place) % len(logs)] for place in rng.permutation(50)]
    entries = []
    for index, log in enumerate(shuffled):
        old = f.with_aged_battery(log, max(index - 20, 0) / 30)
        entries.append(old.entry(old.volts, rng=rng))
    found = assess(*f.compose(entries))
    named = {one["cause"] for one in found["verdicts"].values() if one["verdict"] in ("drifting", "act")}
    assert named == {"battery"}
