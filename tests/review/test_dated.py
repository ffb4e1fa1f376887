"""When a drive was: told by a clock, bounded by the order of the board's starts, or said to be unknown."""

import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from archive.journals import season
from conftest import short_drive
from underdash.archive import anchors, dates, segments
from underdash.archive.anchors import Anchor
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.review import review
from underdash.review.foreign import Options
from underdash.review.rows import from_segments
from underdash.review.text import summary
from underdash.virtual.board import VirtualBoard

NOON = datetime(2026, 5, 3, 12, tzinfo=UTC)


def test_a_pulled_drive_is_dated_within_what_its_anchor_may_be_off(
    board: VirtualBoard, drive_signal: Path, tmp_path: Path
) -> None:
    """The board plays a drive faster than time: what it counts as seconds before the pull is the truth here."""
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    before = time.time()
    with Board(board.port) as link:
        folder = pull(link, tmp_path / "archive").folder
    after = time.time()
    (anchor,) = anchors.read(folder)[0]
    report, _ = review(folder)
    (drive,) = report["drives"]
    start = datetime.fromisoformat(drive["dated"])
    assert start.utcoffset() == datetime.fromtimestamp(before).astimezone().utcoffset()
    ago_s = anchor.uptime_s - drive["start_s"]
    off_s = anchor.uncertainty_s + 1.0 + 1e-4 * anchor.uptime_s  # dated to the whole second below
    assert before - ago_s - off_s <= start.timestamp() <= after - ago_s + off_s
    assert drive["dated_between"] is None
    assert f"Drive 1, {start:%Y-%m-%d}: {start:%H:%M:%S} to " in summary(report)
    assert f"into the drive on {start:%Y-%m-%d}." in report["answers"][1]["answer"]
    (fed,) = [one for one in report["findings"] if "fed the car" in one["text"]]
    assert fed["evidence"].startswith(f"on {start:%Y-%m-%d}, ")


def test_of_two_starts_the_anchored_is_dated_and_the_other_bounded(tmp_path: Path) -> None:
    folder = season(2).pull(tmp_path / "board")
    anchors.append(folder, Anchor(2, 422.0, NOON.timestamp(), 1.0, 7200))
    report, _ = review(folder)
    first, second = report["drives"]
    start = NOON + timedelta(seconds=second["start_s"] - 422.0)
    assert datetime.fromisoformat(second["dated"]) == start.replace(microsecond=0)
    assert second["dated"].endswith("+02:00") and second["dated_between"] is None
    # The first start had 420 s of its own before the second's could begin.
    assert first["dated"] is None
    earliest, latest = first["dated_between"]
    assert earliest is None
    truth = NOON - timedelta(seconds=422.0 + 422.0 - 3.0 - first["start_s"])
    assert timedelta() <= datetime.fromisoformat(latest) - truth <= timedelta(seconds=3)
    words = summary(report)
    assert f"Drive 1, undated, before {latest[:10]} {latest[11:16]}: " in words
    assert f"Drive 2, {second['dated'][:10]}: {second['dated'][11:19]} to " in words
    evidence = [one["evidence"] for one in report["findings"] if one["drive"]]
    assert any(one.startswith("drive 2 on 2026-05-03, ") for one in evidence)
    assert any(one.startswith("drive 1, ") for one in evidence)
    assert "Since the first of these drives (undated)" in report["answers"][1]["answer"]


def test_without_an_anchor_nothing_is_dated(tmp_path: Path) -> None:
    report, _ = review(season(2).pull(tmp_path / "board"))
    assert [(drive["dated"], drive["dated_between"]) for drive in report["drives"]] == [(None, None)] * 2
    assert "Drive 1, undated: " in summary(report)


def test_a_segment_beside_another_boards_is_not_dated_by_an_anchor_of_either(tmp_path: Path) -> None:
    folder = season(1).pull(tmp_path / "board")
    anchors.append(folder, Anchor(1, 422.0, NOON.timestamp(), 1.0, 0))
    alone, _ = review(folder / "00000001.seg")
    assert alone["drives"][0]["dated"] is not None
    other = season(1, board="00000000000000b2").pull(tmp_path / "other")
    (folder / "00000007.seg").write_bytes((other / "00000001.seg").read_bytes())
    mixed, _ = review(folder / "00000001.seg")
    assert mixed["drives"][0]["dated"] is None


def write(path: Path, stamp: str, zone: str = "") -> Path:
    """A drive's log that begins in the last minute of a day."""
    volts, _ = short_drive()
    begins = datetime(2026, 5, 31, 23, 59)
    lines = [f"{begins + timedelta(seconds=at / 50):{stamp}}{zone},{volts[at]:.3f}" if stamp else
             f"{at / 50},{volts[at]:.3f}" for at in range(0, len(volts), 10)]  # fmt: skip
    path.write_text("\n".join(["t_s,volts", *lines]) + "\n")
    return path


@pytest.mark.parametrize("zone", ["", "Z", "+02:00", "-0930"])
def test_a_log_with_dates_dates_its_drive_by_its_own_clock(tmp_path: Path, zone: str) -> None:
    report, rows = review(write(tmp_path / "log.csv", "%Y-%m-%dT%H:%M:%S.%f", zone))
    (drive,) = report["drives"]
    local = datetime(2026, 5, 31, 23, 59) + timedelta(seconds=int(drive["start_s"]))
    start = datetime.fromisoformat(drive["dated"])
    assert start.replace(tzinfo=None) == local
    assert (start.tzinfo is None) == (not zone)
    if zone:
        assert start == datetime.fromisoformat(f"{local.isoformat()}{zone}")
    assert rows.t_s[0] < 1.0


@pytest.mark.parametrize("kind", ["seconds", "hours"])
def test_a_log_of_seconds_or_hours_is_undated(tmp_path: Path, kind: str) -> None:
    report, _ = review(write(tmp_path / "log.csv", "" if kind == "seconds" else "%H:%M:%S.%f"), options=Options(
        time_back="restart"))  # fmt: skip
    assert report["drives"] and {drive["dated"] for drive in report["drives"]} == {None}
    assert "Drive 1, undated: " in summary(report)


@pytest.mark.parametrize("hurt", [None, 1, 3, 4])
@pytest.mark.parametrize("told", [0, 2])
def test_the_boots_of_a_review_are_those_of_the_archive(tmp_path: Path, hurt: int | None, told: int) -> None:
    """Reckoned from the rows read, or from the folder read once more: also where a header is hit, and
    where headers tell the time."""
    life = season(3)
    if told:
        life.start(unix_s=round(NOON.timestamp()) + 9000)
        life.run(30)
    folder = life.pull(tmp_path / "board")
    anchors.append(folder, Anchor(2, 422.0, NOON.timestamp(), 1.0, 7200))
    if hurt:
        path = folder / f"{hurt:08d}.seg"
        content = bytearray(path.read_bytes())
        content[9] ^= 16
        path.write_bytes(content)
    expected = dates.dates(folder).boots
    assert dict(from_segments(segments(folder))[1].origins) == expected
    assert {date.how for date in expected.values()} == {"anchored", "bounded"}
    (one, *_) = segments(folder)
    if hurt != 1:
        assert dict(from_segments([one])[1].origins) == expected
