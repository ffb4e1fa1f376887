"""An engine that runs on while the volts stand still: its speed in the log tells; without it that is left open."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from dips import with_clamp

from underdash.review import review

DECAY = 12.35 + 1.55 * np.exp(-np.arange(600) / 8.0) - 0.0003 * np.arange(600)  # the surface charge goes, then charge


def log(path: Path, *stretches: tuple[Any, float], speed: bool = False, clamp: bool = False) -> Path:
    """A row a second of (volts, rpm); lively above 13 V and below 11.3 V, still else."""
    volts = np.concatenate([np.asarray(level, dtype=float) for level, _ in stretches])
    rpm = np.concatenate([np.full(len(level), turns) for level, turns in stretches])
    volts += np.where(volts > 13.0, np.where(np.arange(len(volts)) % 2, 0.02, -0.02), 0.0)
    columns = {"t_s": np.arange(len(volts)), "volts": np.round(volts, 3)}
    columns |= {"rpm": rpm} if speed else {}
    columns |= {"amps": np.zeros(len(volts))} if clamp else {}
    lines = (",".join(f"{value:g}" for value in row) for row in zip(*columns.values(), strict=True))
    path.write_text("\n".join([",".join(columns), *lines]) + "\n")
    return path


def still(level: float, seconds: int) -> np.ndarray:
    return np.full(seconds, level)


REST, CRANK, RUN, DEAD = (still(12.6, 60), 0.0), ([10.0, 10.1], 200.0), (still(13.9, 300), 1500.0), (DECAY, 1500.0)
# Parked after a drive: surface charge that goes over hours.
PARKED = (12.6 + 0.35 * np.exp(-np.arange(1200) / 3000.0), 0.0)


def told(report: dict[str, Any], words: str) -> list[dict[str, Any]]:
    return [finding for finding in report["findings"] if words in finding["text"]]


def test_with_the_engines_speed_nothing_is_open(tmp_path: Path) -> None:
    report, _ = review(log(tmp_path / "log.csv", REST, CRANK, RUN, DEAD, (still(12.5, 300), 0.0), speed=True))
    assert report["doubtful_rests"] == []
    (episode,) = report["drives"][0]["episodes"]
    assert episode["start_s"] + episode["length_s"] == pytest.approx(961, abs=1.1)


def test_without_it_the_report_says_either_or(tmp_path: Path) -> None:
    report, _ = review(log(tmp_path / "log.csv", REST, CRANK, RUN, DEAD, (still(12.5, 300), 0.0)))
    (rest,) = report["doubtful_rests"]
    assert rest["by"] == "volts"
    assert rest["start_s"] + rest["length_s"] == pytest.approx(961, abs=1.1)  # where the volts jump back
    (finding,) = told(report, "Either the engine was off and something was left on")
    assert finding["weight"] == "watch" and "below the 12.60 V before it" in finding["text"]
    assert not told(report, "With the engine off")


def test_charging_that_comes_back_without_a_crank_is_told(tmp_path: Path) -> None:
    report, _ = review(log(tmp_path / "log.csv", REST, CRANK, RUN, DEAD, RUN, PARKED))
    assert len(report["drives"]) == 2
    assert [rest["by"] for rest in report["doubtful_rests"]] == ["no crank"]
    assert told(report, "Charging came back without a crank.")


@pytest.mark.parametrize("speed", [True, False])
def test_a_parked_car_stays_parked(tmp_path: Path, speed: bool) -> None:
    """Also where the start of the next drive was missed, and after one that the battery alone carried."""
    fed = (np.where(np.arange(400) % 2, 12.2, 12.16), 1500.0)
    recovering = (12.3 + 0.2 * (1.0 - np.exp(-np.arange(1200) / 300.0)), 0.0)
    for stretches in ([RUN, PARKED, RUN, PARKED], [RUN, PARKED, CRANK, RUN], [RUN, fed, recovering]):
        report, _ = review(log(tmp_path / "log.csv", REST, CRANK, *stretches, speed=speed))
        assert report["doubtful_rests"] == []
        assert not told(report, "Either the engine was off")


def test_volts_that_are_gone_are_no_engine(tmp_path: Path) -> None:
    report, _ = review(log(tmp_path / "log.csv", REST, CRANK, RUN, (still(0.2, 300), 0.0)))
    assert report["doubtful_rests"] == []


def test_a_clamp_that_shows_no_current_tells_a_parked_car(tmp_path: Path) -> None:
    report, _ = review(log(tmp_path / "log.csv", REST, CRANK, RUN, DEAD, clamp=True))
    assert report["doubtful_rests"] == []


def test_the_answer_does_not_say_no_where_it_is_open(tmp_path: Path) -> None:
    """Volts that fall at once and stand still: not a second of deficit, by the verdicts."""
    low = (still(12.3, 600), 1500.0)
    report, _ = review(log(tmp_path / "log.csv", REST, CRANK, RUN, low))
    assert report["answers"][0]["answer"].startswith("Not that these rows show")


def test_a_load_before_any_crank_is_of_a_running_engine_where_its_speed_says_so(tmp_path: Path) -> None:
    """The rows begin on the road, the alternator dead and the volts lively."""
    fed = (np.where(np.arange(400) % 2, 12.2, 12.16), 1500.0)
    for speed, words in ((True, "With the engine running, by the log's"), (False, "Either the engine was off")):
        report, _ = review(log(tmp_path / "log.csv", fed, PARKED, speed=speed))
        assert report["drives"] == []
        (finding,) = told(report, words)
        assert finding["weight"] == "act"
        assert "current for" not in finding["text"] and ("the battery fed the car for" in finding["text"]) == speed


def test_a_lamp_in_the_night_is_of_a_parked_car_though_no_crank_ends_it(tmp_path: Path) -> None:
    path = with_clamp(
        tmp_path / "log.csv", (120, 12.65, 0.0), (1, 10.0, -180.0), (300, 14.1, 5.0), (300, 12.7, 0.0),
        (900, 12.3, -9.0), (300, 12.5, 0.0), (1, 10.0, -180.0), (300, 14.1, 5.0),
    )  # fmt: skip
    report, _ = review(path)
    assert [one["ran"] for one in report["parked_episodes"]] == [False, False]
    assert len(report["drives"]) == 2  # and the second that follows the load, of marginal volts, is none
    assert told(report, "With the engine off, something drew about 9 A")
    assert report["answers"][0]["answer"].startswith("No.")


def test_where_the_rows_begin_in_a_deficit_the_answer_is_open(tmp_path: Path) -> None:
    path = with_clamp(tmp_path / "log.csv", (120, 12.3, -20.0), (300, 14.1, 5.0), (300, 12.7, 0.0))
    report, _ = review(path)
    assert [episode["ran"] for episode in report["parked_episodes"]] == [None]
    assert report["answers"][0]["answer"].startswith("These rows leave it open")
