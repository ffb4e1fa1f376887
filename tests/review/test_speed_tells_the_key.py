"""A log's engine speed is to its verdicts what the ignition sense is to a board's; and long holes end drives."""

from pathlib import Path

import numpy as np
import pytest

from underdash.review import review
from underdash.review.foreign import Options
from underdash.review.what_if.judged import judge, read


def log(path: Path, rpm: bool, volts: np.ndarray, speed: np.ndarray) -> Path:
    """A row a second."""
    rows = zip(range(len(volts)), volts.tolist(), speed.tolist(), strict=True)
    lines = [f"{t},{v:.4f}" + (f",{n:.0f}" if rpm else "") for t, v, n in rows]
    path.write_text("\n".join(["t_s,volts" + (",rpm" if rpm else ""), *lines]) + "\n")
    return path


def still_and_dead() -> tuple[np.ndarray, np.ndarray]:
    """A start whose alternator gives nothing: volts that glide, with hardly any unrest, while the engine turns."""
    unrest = np.random.default_rng(3).normal(0.0, 0.005, 900)
    volts = np.concatenate(
        [np.full(120, 12.60), np.full(3, 10.2), 12.4 - np.arange(900) * 0.0006 + unrest, np.full(300, 12.2)]
    )
    return volts, np.where((np.arange(len(volts)) >= 121) & (np.arange(len(volts)) < 1023), 800, 0)


def test_an_engine_that_turns_is_not_parked_however_still_its_volts_are(tmp_path: Path) -> None:
    with_speed, _ = review(log(tmp_path / "speed.csv", True, *still_and_dead()))
    (drive,) = with_speed["drives"]
    (episode,) = drive["episodes"]
    assert episode["kind"] == "discharging"
    assert episode["length_s"] > 850
    # The volts alone do not tell: to the engine, such stillness is rest.
    without, _ = review(log(tmp_path / "volts.csv", False, *still_and_dead()))
    assert sum(episode["length_s"] for one in without["drives"] for episode in one["episodes"]) < 100


def test_a_parked_car_whose_volts_jump_by_coarse_steps_is_not_discharged_by_its_engine(tmp_path: Path) -> None:
    """Steps of 19.5 mV, as the measured drives have them, are more than `still_mv`: such volts are never still."""
    chance = np.random.default_rng(5)
    driving = np.where(np.arange(600) % 2, 14.0, 13.98)
    parked = 12.70 + 0.0195 * (chance.random(1800) < 0.5)
    volts = np.concatenate([np.full(60, 12.6), np.full(3, 10.0), driving, parked])
    speed = np.concatenate([np.zeros(61), np.full(602, 900.0), np.zeros(1800)])
    report, _ = review(log(tmp_path / "speed.csv", True, volts, speed))
    (drive,) = report["drives"]
    assert not drive["episodes"] and not report["parked_episodes"]
    assert drive["length_s"] == pytest.approx(605, abs=10)
    without, _ = review(log(tmp_path / "volts.csv", False, volts, speed))
    assert [episode["kind"] for episode in without["drives"][0]["episodes"]] == ["discharging"]


def test_what_if_judges_such_a_log_alike(tmp_path: Path) -> None:
    rows = read(log(tmp_path / "speed.csv", True, *still_and_dead()), Options())
    assert rows.key_known
    assert len(rows.drives) == 1
    again = judge(rows, rows.thresholds, lambda done, of: None)
    assert np.array_equal(again.state, rows.state) and np.array_equal(again.warnings, rows.warnings)


@pytest.mark.parametrize(("hole_s", "drives"), [(30, 1), (590, 1), (3600, 2), (172_800, 2)])
def test_a_long_hole_ends_a_drive(tmp_path: Path, hole_s: int, drives: int) -> None:
    """A recorder that is switched with the ignition sees no rest: its drives follow one another."""
    lines = ["t_s,volts"]
    for began in (0, 605 + hole_s):
        lines += [f"{began + t},{12.5 if t < 3 else 10.1 if t < 5 else 14.0 + 0.02 * (t % 2):.2f}" for t in range(606)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n")
    report, rows = review(path)
    assert [one["number"] for one in report["drives"]] == list(range(1, drives + 1))
    assert report["drives"][-1]["last_row"] == len(rows) - 1
    assert len(report["gaps"]) == 1
    assert len(read(path, Options()).drives) == drives
    if drives == 2:
        assert all(one["length_s"] < 610 and one["started_by"] == "crank" for one in report["drives"])
