"""Across a hole in the rows nothing is counted, and times in states are those between a drive's start and its end."""

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from dips import with_clamp
from pieces import header, rows_frame

from chargecore import engine
from underdash.review import review, stretches
from underdash.review.foreign import Options
from underdash.review.rows import Rows

REST, CRANK, RUN = (120, 12.65, 0.0), (1, 10.0, -180.0), (300, 14.1, 5.0)


def test_an_episode_ends_at_a_hole_and_no_charge_is_counted_across(tmp_path: Path) -> None:
    """25 A from 421 s to 1621 s; no rows from 800 s to 1100 s."""
    path = with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, (1200, 12.2, -25.0), RUN)
    head, *lines = path.read_text().splitlines()
    kept = [line for line in lines if not 800.0 < float(line.split(",")[0]) < 1100.0]
    path.write_text("\n".join([head, *kept]) + "\n")
    report, _ = review(path)
    (gap,) = report["gaps"]
    (drive,) = report["drives"]
    before, after = [one for one in drive["episodes"] if one["kind"] == "discharging"]
    assert before["start_s"] + before["length_s"] == pytest.approx(800, abs=1.1)
    assert after["start_s"] == pytest.approx(1100, abs=1.1)
    assert before["length_s"] == pytest.approx(379, abs=2.1)
    assert after["length_s"] == pytest.approx(521, abs=2.1)
    assert before["charge_ah"] == pytest.approx(-379 * 25 / 3600, rel=0.01)
    assert after["charge_ah"] == pytest.approx(-521 * 25 / 3600, rel=0.01)
    assert before["charge_ah"] + after["charge_ah"] >= -drive["out_ah"]
    assert sum(drive["states"].values()) == pytest.approx(drive["length_s"] - gap["length_s"], abs=0.2)


@pytest.mark.parametrize("after", [[], [(120, 12.6, 0.0)]], ids=["ends driving", "ends at rest"])
def test_times_in_states_add_to_the_drives_length(tmp_path: Path, after: list[tuple[float, float, float]]) -> None:
    path = with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, (100, 12.2, -25.0), RUN, *after)
    (drive,) = review(path)[0]["drives"]
    assert drive["length_s"] == pytest.approx(701, abs=2.1)
    assert sum(drive["states"].values()) == pytest.approx(drive["length_s"], abs=0.2)


@pytest.mark.parametrize(("lost", "why"), [(True, "rows are lost, 60 of them"), (False, "no rows were written")])
def test_what_the_numbering_says_of_a_hole(tmp_path: Path, lost: bool, why: str) -> None:
    """Three minutes of charging, a frame a minute: of the second the frame is damaged, or nothing was written."""
    frames = []
    for minute in range(3):
        rows = [(1000 * (60 * minute + s), 14095, 14100, 14105, 3000, 3, 0) for s in range(1, 61)]
        number = 60 * minute if lost or minute == 0 else 60
        if minute != 1:
            frames.append(rows_frame(number, rows))
        elif lost:
            frames.append(bytes(rows_frame(number, rows)[:-1]) + b"\x00")
    segment = tmp_path / "00000001.seg"
    segment.write_bytes(header(1, 1, 0) + b"".join(frames))
    (gap,) = review(segment)[0]["gaps"]
    assert (gap["length_s"], gap["why"]) == (61.0, why)


def _slow(path: Path, step_s: float) -> Path:
    """A dated log of rows `step_s` apart: a night, a crank, 100 rows of charging, 30 of 20 A out, 100 of charging."""
    levels = [(12.6, -0.2)] * 30 + [(9.8, -150.0)] + [(14.2, 6.0)] * 100 + [(12.2, -20.0)] * 30 + [(14.2, 6.0)] * 100
    levels += [(12.7, -0.2)] * 30
    begun = datetime(2026, 5, 2, 19)
    lines = [
        f"{begun + timedelta(seconds=at * step_s)},{volts + (0.03 if at % 2 and volts != 12.6 else 0.0):.3f},{amps}\n"
        for at, (volts, amps) in enumerate(levels)
    ]
    path.write_text("t_s,volts,amps\n" + "".join(lines))
    return path


def _quick(path: Path) -> Path:
    """A dated log of the evening before, a row a second, longer than the slow one."""
    log = with_clamp(path, REST, CRANK, (2000, 14.1, 5.0))
    head, *lines = log.read_text().splitlines()
    cells = [line.split(",", 1) for line in lines]
    begun = datetime(2026, 5, 1, 19)
    log.write_text("\n".join([head, *(f"{begun + timedelta(seconds=float(t))},{rest}" for t, rest in cells)]) + "\n")
    return log


@pytest.mark.parametrize("step_s", [6.0, 8.0])
def test_a_slow_log_is_the_same_beside_a_quick_one(tmp_path: Path, step_s: float) -> None:
    """Each log's rows stand for their own usual step, whatever the others' is."""
    slow, quick = _slow(tmp_path / "slow.csv", step_s), _quick(tmp_path / "quick.csv")
    (alone,) = review(slow)[0]["drives"]
    report = review([quick, slow])[0]
    beside = report["drives"][-1]
    assert [one["period_s"] for one in report["boots"]] == [1.0, step_s]
    assert alone["charged"] and alone["out_ah"] == pytest.approx((150 + 30 * 20) * step_s / 3600, rel=0.02)
    ours = ("number", "boot", "first_row", "last_row", "cranks", "episodes")
    assert {k: v for k, v in beside.items() if k not in ours} == {k: v for k, v in alone.items() if k not in ours}
    for key in ("charge_ah", "charge_low_ah", "length_s"):
        assert [one[key] for one in beside["episodes"]] == [one[key] for one in alone["episodes"]]
    assert report["gaps"] == []


def test_a_log_too_slow_for_a_verdict_denies_no_drive_of_another(tmp_path: Path) -> None:
    """A week of a row a minute, beside a drive."""
    drive, week = _quick(tmp_path / "drive.csv"), tmp_path / "week.csv"
    begun = datetime(2026, 5, 2)
    week.write_text("t_s,volts\n" + "".join(f"{begun + timedelta(minutes=t)},12.6\n" for t in range(10080)))
    options = Options(hold_s=0.0)
    assert any("no drive, episode or rest" in one["text"] for one in review(week, options=options)[0]["findings"])
    report, _ = review([drive, week], options=options)
    assert report["period_s"] == 60.0 and len(report["drives"]) == 1
    assert not any("no drive, episode or rest" in one["text"] for one in report["findings"])


def _rows(boot: list[int], t_s: list[float], state: list[int]) -> Rows:
    nothing = np.full(len(t_s), np.nan)
    codes, times = np.array(state), np.array(t_s)
    return Rows(np.array(boot), times, nothing, nothing, nothing, nothing, codes, np.zeros_like(codes), times)


def test_rows_twelve_seconds_apart_are_no_holes_beside_those_of_a_second() -> None:
    quick = [float(t) for t in range(200)]
    slow = [12.0 * t for t in range(50)]
    slow[30:] = [t + 60.0 for t in slow[30:]]
    rows = _rows([1] * 200 + [2] * 50, quick + slow, [engine.CHARGING] * 250)
    apart = stretches.apart_s(rows)
    assert np.flatnonzero(stretches.holes(rows, apart)).tolist() == [230]
    assert stretches.steps_s(rows, apart).sum() == pytest.approx(199 + 48 * 12)


def test_the_usual_distance_is_that_of_rows_awake_and_within_a_start() -> None:
    """A week's nights are a row a minute, and outnumber the driving; between two starts the clock tells nothing."""
    t_s = [float(t) for t in range(100)] + [100.0 + 60 * t for t in range(1000)]
    rows = _rows([1] * 1100, t_s, [engine.CHARGING] * 100 + [engine.REST] * 1000)
    assert stretches.period_s(rows) == 1.0
    assert stretches.period_s(_rows([1, 2, 3], [0.3, 0.2, 0.1], [engine.UNKNOWN] * 3)) == 0.0
