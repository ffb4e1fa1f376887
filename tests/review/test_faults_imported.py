"""Faults in seasons as a user has them: CSV files of the recordings' own lines, through the public review.

A few seeds; tests/bench/faults_imported.py runs many and prints the rates (docs/performance.md).
"""

import csv
from pathlib import Path
from typing import Any

import imported as im
import numpy as np
import pytest
from season_reports import report as report_of

from conftest import last_run, measured_drives
from underdash.review import review
from underdash.review.season import season
from underdash.review.season.words import findings

EITHER = "connection or regulator"


@pytest.fixture(scope="module")
def recordings() -> list[im.Recording]:
    """Those that begin before the start and last for five minutes."""
    runs = [(path, last_run(path)) for path in measured_drives()]
    return [
        im.recording(path, lines)
        for path, lines in runs
        if float(lines[0]["engine_run_s"]) == 0.0 and float(lines[-1]["engine_run_s"]) >= 300.0
    ]


def reviewed(folder: Path, known: list[im.Recording], fault: str, **more: Any) -> tuple[im.Season, im.Reviewed]:
    speed = more.pop("speed", True)
    made = im.write_season(folder, known, fault, more.pop("seed", 201), count=26, onset=14, **more)
    return made, im.reviewed(made, speed=speed)


def named(found: dict[str, Any]) -> set[str]:
    return {one["cause"] for one in found["verdicts"].values() if one["verdict"] in ("drifting", "act")}


@pytest.mark.parametrize("nights", [True, False])
@pytest.mark.parametrize("speed", [True, False])
@pytest.mark.parametrize(("fault", "cause"), [("none", None), ("alternator dead", "alternator"),
                                              ("set point -0.7 V", EITHER), ("bad ground", "connection")])  # fmt: skip
def test_a_fault_is_named_and_nothing_else(
    fault: str, cause: str | None, speed: bool, nights: bool, recordings: list[im.Recording], tmp_path: Path
) -> None:
    _, seen = reviewed(tmp_path, recordings, fault, nights=nights, dated=nights, speed=speed)
    assert named(seen.report["season"]) == (set() if cause is None else {cause})


def test_the_last_look_is_what_the_review_says(recordings: list[im.Recording], tmp_path: Path) -> None:
    """The delays are of seasons cut short, which are those of the files cut short."""
    made, seen = reviewed(tmp_path, recordings, "bad ground", nights=True, dated=True)
    assert seen.after(len(made.files)) == seen.report["season"]
    again, _ = review(made.files[:18], columns={"t_s": "time", "rpm": "engine_rpm"})
    cut = seen.after(18)
    assert cut is not None and cut["verdicts"] == again["season"]["verdicts"]


@pytest.mark.parametrize("seed", [202, 204])
def test_a_battery_that_ages_is_named(seed: int, recordings: list[im.Recording], tmp_path: Path) -> None:
    made = im.write_season(tmp_path, recordings, "battery ageing", seed, nights=False, dated=True, count=40, onset=16)
    assert named(im.reviewed(made, speed=True).report["season"]) == {"battery"}


@pytest.mark.parametrize("seed", [205, 206, 207])
def test_a_lamp_left_on_is_told_in_a_night_of_nine_hours(
    seed: int, recordings: list[im.Recording], tmp_path: Path
) -> None:
    made = im.write_season(tmp_path, recordings, "lamp", seed, nights=True, dated=True, count=20, onset=11, hours=9.0)
    found = im.reviewed(made, speed=True).report["season"]
    assert [event["boot"] for event in found["events"]] == [12]
    assert named(found) == set()


def test_what_a_dead_alternators_engine_draws_is_no_lamp(recordings: list[im.Recording], tmp_path: Path) -> None:
    """A start that no line caught begins no drive; the engine's speed tells that it ran."""
    _, seen = reviewed(tmp_path, recordings, "alternator dead", nights=False, dated=True)
    assert any(episode["ran"] for episode in seen.report["parked_episodes"])
    assert seen.report["season"]["events"] == []


def test_words_ask_for_what_would_tell(recordings: list[im.Recording], tmp_path: Path) -> None:
    """Without nights the battery's rest is not known; without speed a running engine may pass for a parked car."""
    _, seen = reviewed(tmp_path, recordings, "none", nights=False, dated=False, speed=False)
    told = seen.report["season"]["verdicts"]["battery"]["reason"]
    assert "overnight" in told and "--column rpm=NAME" in told
    assert findings(seen.report["season"])


def test_a_season_that_begins_with_the_engine_shows_no_connection(
    recordings: list[im.Recording], tmp_path: Path
) -> None:
    """Two seconds a row show no sharp step: without the key's volts nothing could have shown a bad ground."""
    made = im.write_season(tmp_path, recordings, "none", 203, nights=False, dated=False, count=20, onset=11)
    for path in made.files:
        with path.open() as file:
            head, *lines = list(csv.reader(file))
        running = [line for line in lines if float(line[2]) > 500.0]
        path.write_text("\n".join(",".join(line) for line in [head, *running]))
    verdict = im.reviewed(made, speed=True).report["season"]["verdicts"]["connection"]
    assert verdict["verdict"] == "unknown"
    assert "begin with the key" in verdict["reason"]


def test_the_keys_volts_are_those_of_the_lines(recordings: list[im.Recording], tmp_path: Path) -> None:
    """Row by row they would be mixed with the starter's: all lines before the start are of one second."""
    made, seen = reviewed(tmp_path, recordings, "none", nights=False, dated=False)
    for path, steps in zip(made.files, seen.steps, strict=True):
        with path.open() as file:
            first = float(next(csv.DictReader(file))["volts"])
        assert steps["key_volts"] == pytest.approx(first, abs=0.06)


def test_only_the_volts_of_a_line_are_changed(recordings: list[im.Recording], tmp_path: Path) -> None:
    made = im.write_season(tmp_path, recordings[:1], "none", 208, nights=False, dated=False, count=2, onset=1)
    with made.files[0].open() as file:
        rows = list(csv.DictReader(file))
    one = recordings[0].columns
    assert [float(row["engine_run_s"]) for row in rows] == one["engine_run_s"][: len(rows)].tolist()
    assert [float(row["engine_rpm"]) for row in rows] == one["engine_rpm"][: len(rows)].tolist()
    volts = np.array([float(row["volts"]) for row in rows])
    assert np.abs(volts - one["volts"][: len(rows)]).max() <= 0.06


def test_a_night_in_rows_of_a_minute_and_a_short_drive_are_a_log(
    recordings: list[im.Recording], tmp_path: Path
) -> None:
    """Most of its rows are a minute apart; those of the drive are not."""
    made = im.write_season(tmp_path, recordings, "none", 209, nights=True, dated=True, count=1, onset=1, hours=13.0)
    lines = made.files[0].read_text().splitlines()
    at = next(line for line, text in enumerate(lines) if not text.endswith((",0", "rpm")))
    made.files[0].write_text("\n".join(lines[: at + 500]))
    report, _ = review(made.files, columns={"t_s": "time", "rpm": "engine_rpm"})
    assert len(report["drives"]) == 1 and len(report["rests"]) == 1


def test_a_fall_that_may_be_chance_is_not_called_steady() -> None:
    """Two levels 0.5 V apart, but eight values are too few for as many quantities."""
    found = season(report_of({"set_point": [14.2, 14.25, 14.15, 14.2, 13.7, 14.2, 13.65, 13.75]}))
    assert found is not None
    verdict = found["verdicts"]["regulator"]
    assert verdict["verdict"] == "unknown" and "may be chance" in verdict["reason"]
