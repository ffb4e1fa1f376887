"""Charging in another state than charging, an engine that did not start, and sensors that cannot be right."""

from pathlib import Path
from typing import Any

import pytest
from dips import PLAIN, with_clamp

from underdash.review import review
from underdash.review.what_if.judged import read

REST, CRANK, RUN, PARKED = (120, 12.65, 0.0), (1, 10.0, -180.0), (300, 14.1, 5.0), (300, 12.7, 0.0)


def of(path: Path, *stretches: tuple[float, float, float]) -> dict[str, Any]:
    return review(with_clamp(path / "log.csv", *stretches))[0]


def said(report: dict[str, Any], words: str) -> list[dict[str, Any]]:
    return [finding for finding in report["findings"] if words in finding["text"]]


def reversed_(*stretches: tuple[float, float, float]) -> list[tuple[float, float, float]]:
    return [(seconds, volts, -amps) for seconds, volts, amps in stretches]


def test_overcharge_is_charging(tmp_path: Path) -> None:
    report = of(tmp_path, REST, CRANK, (900, 15.6, 20.0), PARKED)
    (drive,) = report["drives"]
    assert drive["set_point_volts"] is None and drive["charged"]
    assert said(report, "Overcharge") and not said(report, "never reached")
    assert report["answers"][0]["answer"] == "No, but it was overcharged: see the findings."


def test_an_alternator_that_never_charges_is_one(tmp_path: Path) -> None:
    report = of(tmp_path, REST, CRANK, (900, 12.2, -20.0), PARKED)
    (drive,) = report["drives"]
    assert drive["started"] and not drive["charged"]
    assert said(report, "never reached") and not said(report, "not to have started")
    assert report["answers"][0]["answer"].startswith("Yes")


@pytest.mark.parametrize("tries", [1, 3])
def test_a_starter_that_turns_for_nothing_accuses_no_alternator(tmp_path: Path, tries: int) -> None:
    report = of(tmp_path, (120, 11.9, 0.0), *[CRANK, (20, 11.7, -2.0)] * tries, (600, 11.9, 0.0))
    (drive,) = report["drives"]
    assert len(drive["cranks"]) == tries and not drive["started"]
    (finding,) = said(report, "seems not to have started")
    assert "rested at 11.90 V, below 12.24 V" in finding["text"]
    assert not said(report, "never reached") and not said(report, "fed the car")
    assert report["answers"][0]["answer"] == "The engine seems not to have started in this drive: see the findings."


def test_a_drive_whose_crank_was_missed_has_started(tmp_path: Path) -> None:
    """Marginal from the first row on, and never more."""
    report = of(tmp_path, (200, 13.1, 0.0), PARKED)
    assert [(drive["started"], drive["charged"]) for drive in report["drives"]] == [(True, False)]
    assert said(report, "never reached")


def test_an_engine_that_starts_at_the_second_try_has_started(tmp_path: Path) -> None:
    report = of(tmp_path, REST, CRANK, (20, 12.3, -2.0), CRANK, RUN, PARKED)
    assert [drive["started"] for drive in report["drives"]] == [True]
    assert not said(report, "not to have started")


def test_a_clamp_the_wrong_way_round_is_told(tmp_path: Path) -> None:
    report = of(tmp_path, *reversed_(REST, CRANK, RUN, PARKED))
    assert report["sensors"]["contradict"]["amps"] == pytest.approx(-5.0, abs=0.1)
    (finding,) = said(report, "contradict each other")
    assert finding["weight"] == "act" and "wrong way round" in finding["text"]
    assert report["drives"][0]["charged"] and not said(report, "never reached")
    assert report["answers"][0]["answer"].startswith("These rows cannot tell: volts and amps contradict")
    # Too short for the engine's warning: the starter's own current tells.
    report = of(tmp_path, *reversed_(REST, CRANK, (40, 14.1, 5.0), PARKED))
    assert report["sensors"]["contradict"] is None
    assert said(report, "By the clamp the battery was charged while the starter turned")


def test_a_clamp_that_sleeps_through_the_crank_is_told(tmp_path: Path) -> None:
    report = of(tmp_path, *[(seconds, volts, 0.0) for seconds, volts, _ in (REST, CRANK, RUN, PARKED)])
    assert report["drives"][0]["cranks"][0]["most_amps"] == 0.0
    assert said(report, "saw nothing while the starter turned") and not said(report, "carried the car")
    assert report["answers"][0]["answer"].startswith("These rows cannot tell: the clamp saw nothing")
    well = of(tmp_path, REST, CRANK, RUN, PARKED)
    assert well["sensors"] == {"gone": None, "contradict": None}
    assert well["drives"][0]["cranks"][0]["most_amps"] == -180.0
    assert well["answers"][0]["answer"].startswith("No.")


def test_volts_that_are_gone_are_no_crank(tmp_path: Path) -> None:
    report = of(tmp_path, REST, CRANK, RUN, (200, 0.0, 0.0))
    (drive,) = report["drives"]
    assert len(drive["cranks"]) == 1
    (finding,) = said(report, "volts were gone")
    assert finding["t_s"] == pytest.approx(422, abs=1.1)
    assert not said(report, "load-tested")
    # And by themselves they begin no drive, here or in what-if.
    path = with_clamp(tmp_path / "log.csv", REST, (10, 0.0, 0.0), PARKED)
    assert review(path)[0]["drives"] == [] and read(path, PLAIN).drives == []


def test_an_engine_that_stalls_accuses_no_alternator(tmp_path: Path) -> None:
    report = of(tmp_path, REST, CRANK, (30, 14.1, 5.0), (40, 12.2, -4.0), CRANK, RUN, PARKED)
    (episode,) = [one for one in report["drives"][0]["episodes"] if one["kind"] == "discharging"]
    assert episode["length_s"] == pytest.approx(40, abs=1.1)
    (finding,) = said(report, "seems to have stopped once")
    assert finding["weight"] == "note" and not said(report, "fed the car for 40 s. ")
    assert report["answers"][0]["answer"].startswith("No.")
    # But minutes of it are a deficit, whatever ended them.
    long = of(tmp_path, REST, CRANK, (30, 14.1, 5.0), (400, 12.2, -4.0), CRANK, RUN, PARKED)
    assert long["answers"][0]["answer"].startswith("Yes") and not said(long, "seems to have stopped")
