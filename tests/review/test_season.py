"""The season of small reports whose truth is known: shape, verdicts, dates, words; what weather may do."""

import json
import re
import subprocess
import sys
from datetime import datetime, timedelta
from math import cos, pi
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from season_reports import report

from underdash.review.season import season
from underdash.review.season.words import findings

NAMES = ("battery", "regulator", "connection")


def noise(count: int, size: float, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, size, count)


def dated(count: int, step_days: float = 4.0) -> list[str]:
    return [(datetime(2025, 1, 1, 8) + timedelta(days=step_days * index)).isoformat() for index in range(count)]


def test_two_drives_are_no_season() -> None:
    assert season(report({"set_point": [14.2, 14.2]})) is None
    assert findings(None) == []


def test_the_shape_is_the_documented_one() -> None:
    found = season(report({"set_point": (14.2 + noise(20, 0.02)).tolist()}, dated(20)))
    assert found is not None
    json.dumps(found, allow_nan=False)
    assert set(found) == {"drives", "quantities", "verdicts", "events"}
    assert tuple(found["verdicts"]) == NAMES
    for quantity in found["quantities"]:
        assert set(quantity) == {
            "name", "unit", "points", "slope", "slope_low", "slope_high", "per", "change",
        }  # fmt: skip
        assert quantity["per"] == "month"
        assert [set(point) for point in quantity["points"]] == [{"drive", "date", "value"}] * 20
        assert quantity["slope_low"] <= quantity["slope"] <= quantity["slope_high"]
    for verdict in found["verdicts"].values():
        assert verdict["verdict"] in ("steady", "drifting", "act", "unknown")
        assert verdict["reason"] and verdict["evidence"]


def test_few_drives_are_not_judged() -> None:
    found = season(report({"set_point": [14.2, 14.1, 14.2, 14.1]}))
    assert found is not None
    assert {verdict["verdict"] for verdict in found["verdicts"].values()} == {"unknown"}
    assert "8" in found["verdicts"]["battery"]["reason"]
    for finding in findings(found):
        assert finding["weight"] == "note"


def test_a_step_of_the_set_point_is_dated() -> None:
    volts = 14.2 + noise(30, 0.03)
    volts[20:] -= 0.6
    found = season(report({"set_point": volts.tolist()}, dated(30)))
    assert found is not None
    change = next(one for one in found["quantities"] if one["name"] == "set point")["change"]
    assert change["drive"] == 21
    assert change["date"] == "2025-03-22T08:00:00"
    assert change["after"] - change["before"] == pytest.approx(-0.6, abs=0.04)
    assert change["confidence"] >= 0.95
    assert found["verdicts"]["regulator"]["verdict"] == "drifting"
    said = findings(found)
    assert said[0]["drive"] == 21 and said[0]["weight"] == "watch" and "Regulator" in said[0]["text"]
    assert "2025-03-22" in said[0]["evidence"]


def test_undated_drives_have_numbers_only() -> None:
    volts = 14.2 + noise(30, 0.03)
    volts[20:] -= 0.9
    dates: list[str | None] = [None, *dated(29)]
    found = season(report({"set_point": volts.tolist()}, dates))
    assert found is not None
    quantity = next(one for one in found["quantities"] if one["name"] == "set point")
    assert quantity["per"] == "drive" and quantity["change"]["drive"] == 21


def test_a_year_of_weather_is_no_fault() -> None:
    """-10 mV/K over a swing of 24 K: 0.24 V, far beyond chance, and nothing to act on."""
    days = np.arange(60) * 6.0
    volts = 14.2 + 0.12 * np.array([cos(2 * pi * day / 365) for day in days]) + noise(60, 0.03)
    for part in (slice(0, 30), slice(15, 45), slice(0, 60)):
        found = season(report({"set_point": volts[part].tolist()}, dated(60, 6.0)[part]))
        assert found is not None
        assert found["verdicts"]["regulator"]["verdict"] == "steady"


def test_the_same_fall_within_a_fortnight_is_one() -> None:
    volts = 14.2 + noise(40, 0.02)
    volts[30:] -= 0.24
    found = season(report({"set_point": volts.tolist()}, dated(40, 0.5)))
    assert found is not None
    assert found["verdicts"]["regulator"]["verdict"] == "drifting"


def test_overcharge_now_is_acted_on_whatever_it_was() -> None:
    found = season(report({"set_point": [15.3] * 12}))
    assert found is not None
    assert found["verdicts"]["regulator"]["verdict"] == "act"
    assert "overcharges" in found["verdicts"]["regulator"]["reason"]
    assert findings(found)[0]["weight"] == "act"


def test_a_battery_that_gives_way_more_and_more() -> None:
    held = 10.8 - np.linspace(0.0, 1.0, 40) + noise(40, 0.08)
    found = season(report({"held": held.tolist()}, dated(40)))
    assert found is not None
    verdict = found["verdicts"]["battery"]
    assert verdict["verdict"] in ("drifting", "act") and verdict["cause"] == "battery"
    assert "load-tested" in verdict["reason"] and "crank dip" in verdict["evidence"]
    assert found["verdicts"]["regulator"]["verdict"] == "steady"


def slow(lowest: np.ndarray, caught: float = 0.6) -> dict[str, Any]:
    """A log too slow for a crank: what its rows held is known of some starts only, nothing at all of others."""
    rng = np.random.default_rng(21)
    plain = report({"held": lowest.tolist()}, dated(len(lowest)))
    for drive in plain["drives"]:
        drive["cranks"][0]["held_volts"] = None
        if rng.random() > caught:
            drive["cranks"] = []
    return plain


def test_a_slow_log_tells_an_ageing_battery_by_its_deep_dips() -> None:
    """Each dip is anything between a third and all of the true one, which doubles: the middle one would not do."""
    deep = 2.0 * np.r_[np.ones(30), np.linspace(1.0, 2.0, 40)]
    seen = deep * np.random.default_rng(22).uniform(0.33, 1.0, 70)
    found = season(slow(12.3 - seen))
    assert found is not None
    verdict = found["verdicts"]["battery"]
    assert verdict["cause"] == "battery" and "upper quartile" in verdict["evidence"]
    assert 25 <= verdict["drive"] <= 60


def test_a_slow_log_of_a_healthy_battery_is_steady_and_says_what_that_is_worth() -> None:
    for seed in range(20):
        seen = 2.0 * np.random.default_rng(seed).uniform(0.33, 1.0, 60)
        found = season(slow(12.3 - seen))
        assert found is not None
        verdict = found["verdicts"]["battery"]
        assert verdict["verdict"] == "steady" and "too slow for a crank" in verdict["reason"]


def test_few_charged_volts_are_not_called_less_than_they_were() -> None:
    """Three drives tell of now, not of then."""
    found = season(report({"rested": [12.1, 12.1, 12.1]}))
    assert found is not None
    reason = found["verdicts"]["battery"]["reason"]
    assert "12.10 V" in reason and "little charge" in reason and "than it was" not in reason


SHAPES = {
    "regulator falls": ({"set_point": [14.2] * 20 + [13.4] * 12}, "regulator", "drive 21, 2025-03-22"),
    "regulator rises": ({"set_point": [14.2] * 20 + [14.8] * 12}, "regulator", "drive 21, 2025-03-22"),
    "overcharge": ({"set_point": [15.3] * 12}, "regulator", "15.30 V"),
    "too low": ({"set_point": [12.9] * 12}, "regulator", "12.90 V"),
    "unsteady": ({"spread": [0.2] * 20 + [0.7] * 12}, "regulator", "drive 21, 2025-03-22"),
    "battery gives way": ({"held": [10.8] * 20 + [9.9] * 12}, "battery", "drive 21, 2025-03-22"),
    "resistance": ({"ohm": [0.010] * 20 + [0.018] * 12}, "battery", "10.0 to 18.0 mohm"),
    "weak": ({"held": [9.3] * 10}, "battery", "9.30, 9.30, 9.30 V"),
    "undercharged": ({"rested": [12.6] * 20 + [12.3] * 12}, "battery", "12.60 to 12.30 V"),
    "falls overnight": ({"drift": [0.5] * 20 + [-9.0] * 12}, "battery", "0.50 to -9.00 mV/h"),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_a_reason_has_figures_units_a_date_and_what_to_measure(shape: str) -> None:
    values, about, figure = SHAPES[shape]
    count = len(next(iter(values.values())))
    wobble = noise(count, 1e-3)
    moving = {name: (np.array(one) * (1.0 + wobble)).tolist() if name != "ohm" else one for name, one in values.items()}
    found = season(report(moving, dated(count)))
    assert found is not None
    verdict = found["verdicts"][about]
    assert verdict["verdict"] in ("drifting", "act")
    about_figure = re.sub(r"\d+\.\d+", lambda one: f"{float(one[0]):.1f}", figure)
    assert about_figure in re.sub(r"\d+\.\d+", lambda one: f"{float(one[0]):.1f}", verdict["reason"])
    assert re.search(r"[Mm]easure|Watch|load-tested", verdict["reason"])
    assert verdict["evidence"]


def test_an_alternator_is_dead_since_the_first_drive_that_ended_so() -> None:
    """One of them rested high, so that its key seems to pull the volts down further: that is no connection yet."""
    plain = report({"set_point": [14.2] * 10 + [None] * 8, "rested": [12.6] * 14 + [13.1] + [12.6] * 3}, dated(18))
    for drive in plain["drives"][10:]:
        drive["episodes"] = [{"kind": "discharging", "start_s": 40010.0, "length_s": 1790.0, "mean_volts": 12.1,
                              "first_row": 0}]  # fmt: skip
    found = season(plain)
    assert found is not None
    verdict = found["verdicts"]["regulator"]
    assert (verdict["cause"], verdict["drive"]) == ("alternator", 11)
    assert "12.10 V on average since drive 11, 2025-02-10, 08:00:10" in verdict["reason"]
    for drive in plain["drives"][10:]:
        drive["cranks"][0]["before_volts"] = 11.6
    found = season(plain)
    assert found is not None and found["verdicts"]["regulator"]["cause"] != "alternator"


def test_a_review_loads_no_statistics_package() -> None:
    """It would take longer to load than a season of 1,000 hours takes to judge."""
    code = (
        "import sys, underdash.review.analysis, underdash.review.season.load_steps, underdash.review.season.verdicts; "
        "print(sorted(name for name in sys.modules if name.split('.')[0] == 'scipy'))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout == "[]\n"


def test_cranks_below_the_limit_now_are_acted_on() -> None:
    found = season(report({"held": [9.3] * 10}))
    assert found is not None
    assert found["verdicts"]["battery"]["verdict"] == "act"


def test_a_night_unlike_the_others_is_told_and_blames_nobody() -> None:
    drift, rested = (0.5 + noise(20, 0.5)).tolist(), (12.6 + noise(20, 0.01)).tolist()
    drift[12], rested[12] = -14.0, 12.42
    found = season(report({"drift": drift, "rested": rested}, dated(20)))
    assert found is not None
    (event,) = found["events"]
    assert event["boot"] == 13 and event["kind"] == "left on"
    assert found["verdicts"]["battery"]["verdict"] == "steady"
    told = [finding for finding in findings(found) if "left on" in finding["text"]]
    assert len(told) == 1 and told[0]["weight"] == "watch"


def test_many_such_nights_are_a_drain_and_no_lamp() -> None:
    drift = (0.5 + noise(30, 0.5)).tolist()
    drift[15:] = (-9.0 + noise(15, 0.5, 2)).tolist()
    found = season(report({"drift": drift}, dated(30)))
    assert found is not None
    assert found["events"] == []
    verdict = found["verdicts"]["battery"]
    assert verdict["verdict"] == "drifting" and "everything off" in verdict["reason"]


def test_a_clamp_tells_what_was_left_on_and_how_much() -> None:
    plain = report({"set_point": [14.2] * 9})
    plain["parked_episodes"] = [{"kind": "discharging", "dated": None, "start_s": 100.0, "length_s": 30000.0,
                                 "lowest_volts": 12.1, "mean_amps": -4.2, "first_row": 77}]  # fmt: skip
    found = season(plain)
    assert found is not None
    told = next(finding for finding in findings(found) if "left on" in finding["text"])
    assert "4.2 A" in told["text"] and told["row"] == 77 and "12.10 V" in told["evidence"]


def test_an_alternator_that_gives_nothing_needs_no_history() -> None:
    plain = report({"set_point": [14.2, 14.2, None]})
    plain["drives"][2]["first_row"] = 500
    plain["drives"][2]["episodes"] = [{"kind": "discharging", "start_s": 40010.0, "length_s": 1790.0,
                                       "mean_volts": 12.1, "first_row": 512}]  # fmt: skip
    found = season(plain)
    assert found is not None
    verdict = found["verdicts"]["regulator"]
    assert (verdict["verdict"], verdict["cause"], verdict["drive"], verdict["row"]) == ("act", "alternator", 3, 500)
    plain["drives"][2]["episodes"][0]["mean_volts"] = 12.9
    found = season(plain)
    assert found is not None and found["verdicts"]["regulator"]["verdict"] == "unknown"


@pytest.mark.parametrize(
    "dates", [["2025-01-01T08:00:00"] * 20, dated(20)[::-1], [f"{one}+02:00" for one in dated(20)]]
)
def test_clocks_that_stand_or_run_back_do_no_harm(dates: list[str]) -> None:
    volts = 14.2 + noise(20, 0.03)
    volts[12:] -= 0.9
    found = season(report({"set_point": volts.tolist()}, dates))
    assert found is not None
    json.dumps(found, allow_nan=False)


def test_nulls_everywhere_are_borne() -> None:
    empty: list[float | None] = [None] * 12
    plain = report({"set_point": empty, "rested": empty, "held": empty, "drift": empty})
    for drive in plain["drives"]:
        drive["cranks"] = []
    for rest in plain["rests"]:
        rest["volts"] = None
    found = season(plain)
    assert found is not None
    json.dumps(found, allow_nan=False)
    assert {verdict["verdict"] for verdict in found["verdicts"].values()} == {"unknown"}


def test_the_worked_example_of_the_documentation() -> None:
    """docs/season.md computes it by hand; the figures there are these."""
    volts = [
        14.21, 14.18, 14.20, 14.23, 14.19, 14.17, 14.22, 14.20, 14.21, 14.18,
        14.19, 14.22, 14.20, 14.17, 14.21, 14.23, 14.18, 14.20, 14.19, 14.22,
        13.62, 13.58, 13.60, 13.61, 13.59, 13.60, 13.63, 13.57, 13.61, 13.60,
    ]  # fmt: skip
    found = season(report({"set_point": volts}, dated(30, 2.0)))
    assert found is not None
    quantity = next(one for one in found["quantities"] if one["name"] == "set point")
    change = quantity["change"]
    text = (Path(__file__).resolve().parents[2] / "docs" / "season.md").read_text()
    assert all(f"{one:.2f}" in text for one in volts)
    assert f"drive {change['drive']}, {change['date'][:10]}" in text
    assert f"{change['before']:.2f} V before, {change['after']:.2f} V since" in text
    assert f"confidence {100 * change['confidence']:.2f} %" in text
    assert f"{quantity['slope']:+.3f} V a month" in text
    assert change["confidence"] == pytest.approx(1 - 14 * 45 / 5852925 * 2 * len(found["quantities"]), abs=1e-4)


def test_an_engine_that_never_started_accuses_no_alternator() -> None:
    """Charging as ever, then three mornings on which the starter turned and nothing came after it."""
    plain = report({"set_point": [14.2] * 12 + [None] * 3})
    for drive in plain["drives"][12:]:
        drive["started"] = False
        drive["episodes"] = [
            {"kind": "discharging", "start_s": 40010.0, "length_s": 1790.0, "mean_volts": 12.1, "first_row": 3}
        ]
    verdict = season(plain)["verdicts"]["regulator"]
    assert verdict["cause"] != "alternator"
    for drive in plain["drives"][12:]:
        drive["started"] = True
    assert season(plain)["verdicts"]["regulator"]["cause"] == "alternator"


def test_several_nights_left_on_are_not_each_the_only_one() -> None:
    plain = report({"rested": [12.6] * 20})
    plain["parked_episodes"] = [
        {"kind": "discharging", "dated": f"2025-02-{day:02d}T20:00:00", "start_s": 100.0, "length_s": 7200.0,
         "lowest_volts": 12.1, "mean_amps": -4.0, "first_row": 5, "ran": False}
        for day in (3, 9)
    ]  # fmt: skip
    told = [one for one in findings(season(plain)) if "left on" in one["text"]]
    assert len(told) == 2 and not any("this once" in one["text"] for one in told)
    assert told[0]["evidence"] == "on 2025-02-03, from 20:00:00, down to 12.10 V"
    plain["parked_episodes"] = plain["parked_episodes"][:1]
    (told_once,) = [one for one in findings(season(plain)) if "left on" in one["text"]]
    assert "parked, this once (4.0 A, for up to 2.0 h)" in told_once["text"]
