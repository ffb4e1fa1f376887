"""One time to charging, and how far the rows' length lets it be known."""

from pathlib import Path
from typing import Any

import pytest
from dips import with_clamp
from hypothesis import given, settings
from hypothesis import strategies as some
from test_time_in_states import random_drives

from conftest import measured_data
from underdash.review import review
from underdash.review.text import summary

REST, CRANK, RUN = (120, 12.65, 0.0), (1, 10.0, -180.0), (300, 14.1, 5.0)


def only_drive(path: Path, *stretches: tuple[float, float, float]) -> dict[str, Any]:
    (one,) = review(with_clamp(path / "log.csv", *stretches))[0]["drives"]
    return one


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("idle20", "charging: within 2 s of the crank's end"),
        ("long2", "charging: 6 s after the crank's end, give or take 2 s"),
    ],
)
def test_a_log_of_two_seconds_tells_no_tenths(name: str, told: str) -> None:
    """By hand from the recordings' lines: 12.07 V from 0 to 2 s, then 13.6; 13.5 V from 4 s, 12.7 at 8, 13.6 from 9."""
    path = measured_data("measured-drives") / f"{name}.csv"
    report, _ = review(path, {"t_s": "engine_run_s"})
    words = summary(report)
    assert told in words and words.count("crank's end") == 1
    (drive,) = report["drives"]
    (crank,) = drive["cranks"]
    assert drive["charging_within_s"] == 2.0
    assert crank["recovery_s"] <= drive["charging_after_s"] <= crank["recovery_s"] + 6.0


def test_volts_that_do_not_hold_are_a_recovery_and_no_charging(tmp_path: Path) -> None:
    """13.6 V for a second, 12.9 V for six more, then held."""
    drive = only_drive(tmp_path, REST, CRANK, (2, 13.6, 1.0), (6, 13.0, 1.0), RUN)
    (crank,) = drive["cranks"]
    assert crank["recovery_s"] == 0.0
    assert drive["charging_after_s"] == pytest.approx(6.0, abs=1.1)
    assert drive["charging_within_s"] == pytest.approx(1.0, abs=0.11)


def test_where_no_crank_was_seen_there_is_no_time_to_charging(tmp_path: Path) -> None:
    drive = only_drive(tmp_path, REST, RUN)
    assert drive["started_by"] == "charging volts"
    assert drive["charging_after_s"] is None and drive["charging_within_s"] is None


def test_what_follows_the_next_crank_is_not_of_the_first(tmp_path: Path) -> None:
    drive = only_drive(tmp_path, REST, CRANK, (20, 12.3, -2.0), CRANK, RUN)
    first, second = drive["cranks"]
    assert first["recovery_s"] is None and second["recovery_s"] is not None
    assert drive["charging_after_s"] == pytest.approx(0.0, abs=1.1)


@settings(deadline=None, max_examples=100)
@given(some.integers(0, 1 << 30))
def test_charging_never_comes_before_its_volts(seed: int) -> None:
    for drive in random_drives(seed)["drives"]:
        if drive["charging_after_s"] is None:
            continue
        # A crank makes the engine begin anew: the last before the first such verdict is that which it is counted from.
        shown_s = next(one["t_s"] for one in drive["shown"] if one["state"] in ("charging", "overcharge"))
        crank = [one for one in drive["cranks"] if one["start_s"] < shown_s][-1]
        assert (crank["recovery_s"] or 0.0) <= drive["charging_after_s"] <= shown_s - crank["start_s"]
        assert drive["charging_within_s"] > 0.0
