"""Whatever a season holds, it is judged without an exception, and nothing is called that the numbers do not carry."""

import json
from datetime import datetime, timedelta
from math import inf, nan
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from season_reports import report

from underdash.review.season import assess
from underdash.review.season.evidence import LEAST_POINTS
from underdash.review.season.words import findings

STEPS = ("running_volts", "load_step_volts", "load_sag_volts", "load_step_amps", "key_volts", "key_ohm", "temperature")
BEGIN = datetime(2025, 1, 1, 8)


def values(usual: float, spread: float) -> st.SearchStrategy[float | None]:
    """Mostly near the usual; now and then none, not a number, or far beyond what can be."""
    near = st.floats(usual - spread, usual + spread)
    return st.one_of(near, near, near, st.sampled_from([None, nan, inf, -1e6, 1e6, usual, usual]))


@st.composite
def seasons(draw: st.DrawFn) -> tuple[dict[str, Any], list[dict[str, float | None]] | None]:
    count = draw(st.integers(3, 40))

    def many(usual: float, spread: float) -> list[float | None]:
        return draw(st.lists(values(usual, spread), min_size=count, max_size=count))

    clock = draw(st.sampled_from(["none", "some", "in order", "stands", "back", "two boards", "years"]))
    days = {"in order": range(count), "stands": [0] * count, "back": range(count, 0, -1), "some": range(count),
            "two boards": [day + 400 * (day % 2) for day in range(count)],
            "years": [day + 1500 * (day > count // 2) for day in range(count)]}.get(clock)  # fmt: skip
    dates = None if days is None else [(BEGIN + timedelta(days=day)).isoformat() for day in days]
    if dates and clock == "some":
        dates = [date if index % 3 else None for index, date in enumerate(dates)]  # type: ignore[misc]
    found = report({"set_point": many(14.2, 0.3), "rested": many(12.6, 0.3), "held": many(10.8, 1.5),
                    "spread": many(0.2, 0.2), "drift": many(0.0, 8.0), "ohm": many(0.01, 0.005)}, dates)  # fmt: skip
    length_s = draw(st.sampled_from([0.0, 60.0, 1800.0]))
    for drive in found["drives"]:
        drive["length_s"] = length_s
        drive["states"] = {"charging": length_s}
        if draw(st.integers(0, 4)) == 0:
            drive["cranks"] = []
        if draw(st.integers(0, 4)) == 0 and drive["cranks"]:
            drive["cranks"][0]["held_volts"] = None
        if draw(st.integers(0, 4)) == 0:
            drive["episodes"] = [{"kind": "discharging", "start_s": 40000.0, "length_s": length_s, "first_row": 0,
                                  "mean_volts": draw(values(12.2, 0.5))}]  # fmt: skip
    if draw(st.booleans()):
        return found, None
    columns = [many(*one) for one in ((14.0, 0.4), (0.1, 0.1), (0.05, 0.1), (8.0, 8.0), (12.3, 0.3), (0.02, 0.02),
                                      (15.0, 20.0))]  # fmt: skip
    steps = [dict(zip(STEPS, one, strict=True)) | {"running_s": length_s} for one in zip(*columns, strict=True)]
    return found, steps


@settings(max_examples=40, deadline=None)
@given(season=seasons())
def test_any_season_is_judged_and_an_unknown_says_why(season: Any) -> None:
    plain, steps = season
    found = assess(plain, steps)
    json.dumps(found, allow_nan=False)
    for verdict in found["verdicts"].values():
        assert verdict["reason"] and verdict["evidence"]
        if verdict["verdict"] == "unknown":
            whys = (f"it takes {LEAST_POINTS}", "mend that first", "may be chance", "no row shows a start")
            assert any(why in verdict["reason"] for why in whys)
        for text in (verdict["reason"], verdict["evidence"]):
            assert "nan" not in text.split() and "inf" not in text.split()
    for quantity in found["quantities"]:
        if quantity["change"] is not None:
            assert len(quantity["points"]) >= LEAST_POINTS and quantity["change"]["confidence"] >= 0.95
    assert findings(found)


@settings(max_examples=25, deadline=None)
@given(count=st.sampled_from([3, 4, 7, 8, 60, 500]), volts=st.floats(13.6, 14.8), at=st.integers(0, 499),
       outlier=st.sampled_from([None, 0.0, 1e6]))  # fmt: skip
def test_drives_all_alike_but_one_call_nothing(count: int, volts: float, at: int, outlier: float | None) -> None:
    points: list[float | None] = [volts] * count
    held: list[float | None] = [10.8] * count
    if outlier is not None:
        points[at % count] = held[at % count] = outlier
    found = assess(report({"set_point": points, "held": held}), None)
    expected = {"unknown"} if count < LEAST_POINTS - (outlier is not None) else {"steady", "unknown"}
    assert {verdict["verdict"] for verdict in found["verdicts"].values()} <= expected | {"steady"}
    assert all(quantity["change"] is None for quantity in found["quantities"])


@pytest.mark.parametrize("clock", ["stands", "back", "two boards"])
def test_a_clock_that_cannot_be_right_measures_no_time(clock: str) -> None:
    """The drives are counted instead: they come in the order in which they were driven."""
    days = {"stands": [0] * 40, "back": range(40, 0, -1), "two boards": [day % 2 * 400 + day for day in range(40)]}
    volts = 14.2 + np.random.default_rng(3).normal(0.0, 0.02, 40)
    volts[20:] -= 0.9
    dates = [(BEGIN + timedelta(days=day)).isoformat() for day in days[clock]]
    found = assess(report({"set_point": volts.tolist()}, dates), None)
    quantity = next(one for one in found["quantities"] if one["name"] == "set point")
    assert quantity["per"] == "drive" and quantity["slope"] < 0.0
    assert quantity["change"]["drive"] == 21


def test_dates_that_are_hours_out_still_measure_time() -> None:
    """Two drives of one day the wrong way round: a year's weather is still a year's, and no 80 days'."""
    days = np.arange(40) * 9.0
    volts = 14.2 - 0.12 * np.cos(2 * np.pi * days / 365) + np.random.default_rng(6).normal(0.0, 0.02, 40)
    days[20] = days[19] - 0.3
    dates = [(BEGIN + timedelta(days=day)).isoformat() for day in days]
    found = assess(report({"set_point": (28.4 - volts).tolist()}, dates), None)
    quantity = next(one for one in found["quantities"] if one["name"] == "set point")
    assert quantity["per"] == "month"
    assert found["verdicts"]["regulator"]["verdict"] == "steady"


def test_years_between_two_spells_are_only_a_years_weather() -> None:
    days = [*range(20), *(1500 + day for day in range(20))]
    volts = 14.2 + np.random.default_rng(4).normal(0.0, 0.02, 40)
    volts[20:] -= 0.9
    dates = [(BEGIN + timedelta(days=day)).isoformat() for day in days]
    found = assess(report({"set_point": volts.tolist()}, dates), None)
    change = next(one for one in found["quantities"] if one["name"] == "set point")["change"]
    assert change["drive"] == 21 and found["verdicts"]["regulator"]["verdict"] in ("drifting", "act")


def test_trips_of_a_minute_say_nothing_of_regulator_or_connection() -> None:
    plain = report({"set_point": [None] * 30})
    for drive in plain["drives"]:
        drive.update(length_s=55.0, states={"charging": 0.0, "discharging": 40.0})
    steps = [dict.fromkeys((*STEPS, "running_s")) for _ in range(30)]
    found = assess(plain, steps)
    told = found["verdicts"]
    assert told["regulator"]["verdict"] == told["connection"]["verdict"] == "unknown"
    assert "none does" in told["regulator"]["reason"] and "minute" in told["regulator"]["reason"]
    assert told["battery"]["verdict"] == "steady"


def test_nights_alone_do_not_say_how_it_cranks() -> None:
    plain = report({"drift": (0.5 + np.random.default_rng(5).normal(0.0, 0.3, 20)).tolist()})
    for drive in plain["drives"]:
        drive["cranks"] = []
    battery = assess(plain, None)["verdicts"]["battery"]
    assert battery["verdict"] == "steady"
    assert "cranks as" not in battery["reason"] and "strength is not known" in battery["reason"]
