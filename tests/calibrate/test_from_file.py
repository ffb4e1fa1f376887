"""Calibrations from a file, and what is found out before anything is measured."""

import os
import time
from dataclasses import replace
from pathlib import Path

import pytest

from calibrate.make_believe import METER, FakeBoard, Player
from calibrate.sitting import error_mv, no_time, points_file, wishes
from chargecore.calibration import Calibration
from underdash.calibrate import meter, work
from underdash.calibrate.desk import Left
from underdash.calibrate.work import Wishes
from underdash.problems import DataError, UnderdashError, UsageError
from underdash.virtual.signal_file import FrontEnd

__all__ = ["no_time"]  # a fixture, found by its name

pytestmark = pytest.mark.usefixtures("no_time")


@pytest.mark.parametrize("header", ["meter_volts,bus_code", "meter_volts,shown_volts"])
def test_a_file_is_stored_and_proven_at_its_last_point(header: str, tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv", header)
    told = work.volts(board, Wishes(None, lambda text: None, meter.parse(METER), path, yes=True, out=tmp_path / "out"))
    assert told["stored"] and told["proof"]["meter"] == 15.4
    assert max(error_mv(board, volts) for volts in (11.65, 13.0, 15.55)) < 2.0


def test_a_supply_that_was_turned_off_is_not_called_a_proof(tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv")
    board.volts = 12.0
    heard: list[str] = []
    told = work.volts(board, Wishes(None, heard.append, meter.parse(METER), path, yes=True))
    assert told["stored"] and told["proof"] is None and "arithmetic" in told["cautions"][-1]
    assert "no reading after the store was compared with a meter" in heard[-1] and "kept bus_zero" in heard[-1]
    board.volts = 15.4
    work.volts(board, Wishes(None, heard.append, meter.parse(METER), path, yes=True))
    assert "compared" not in heard[-1]


def test_shown_volts_are_not_used_twice(tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv", "meter_volts,shown_volts")
    heard: list[str] = []
    asked = Wishes(None, heard.append, meter.parse(METER), path, yes=True, out=tmp_path / "out")
    nominal = board.values["bus_gain_nv"]
    work.volts(board, asked)
    assert any("WRONG" in text and f"bus_gain_nv {nominal}" in text for text in heard)
    kept = board.settings()
    with pytest.raises(DataError, match=r"before the board got the calibration.*volts-.*json"):
        work.volts(board, asked)
    assert board.settings() == kept
    # Given back what it had, the file is right again; so is a younger one.
    board.values["bus_gain_nv"], board.values["bus_zero"] = nominal, Calibration().bus_zero
    assert work.volts(board, asked)["stored"] and board.settings() == kept
    os.utime(path, (time.time() + 60, time.time() + 60))
    work.volts(board, replace(asked, dry_run=True))


@pytest.mark.parametrize("how", ["volts", "amps"])
def test_a_folder_that_cannot_be_written_is_found_at_once(
    how: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path, data: bytes) -> int:
        raise PermissionError(13, "Permission denied", str(path))

    board = FakeBoard()
    player = Player(board)
    monkeypatch.setattr(Path, "write_bytes", refuse)
    with pytest.raises(UnderdashError, match="permission denied") as refused:
        {"volts": work.volts, "amps": work.clamp}[how](board, wishes(player, out=tmp_path / "out"))
    assert refused.value.exit_code == 1
    assert player.asked == [] and board.stores == [] and player.heard == []


def test_who_leaves_finds_no_empty_folder(tmp_path: Path) -> None:
    board = FakeBoard()
    with pytest.raises(Left):
        work.volts(board, wishes(Player(board, [("meter reads", "q")]), out=tmp_path / "out"))
    assert not (tmp_path / "out").exists()


def test_digits_left_out_are_told_at_once() -> None:
    board = FakeBoard()
    player = Player(board, [("meter reads [V]", "11.8"), ("meter reads [V]", "q")])
    with pytest.raises(Left):
        work.volts(board, wishes(player, meter=meter.parse(METER)))
    (said,) = [index for index, text in enumerate(player.heard) if "11.8 has 1 decimals, the meter shows 3" in text]
    assert said < next(index for index, text in enumerate(player.heard) if "Point 2" in text)


def test_a_trial_stores_nothing_and_needs_no_board(tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv")
    asked = Wishes(None, lambda text: None, meter.parse(METER), path, dry_run=True, out=tmp_path / "out")
    assert work.volts(board, asked)["found"] == work.volts(None, asked)["found"]
    assert board.stores == []
    path = points_file(board, tmp_path / "p.csv", "meter_volts,shown_volts")
    with pytest.raises(UsageError, match="--port"):
        work.volts(None, asked)


def test_what_a_file_needs(tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv")
    before = board.settings()
    with pytest.raises(UsageError, match="--meter"):
        work.volts(board, Wishes(None, print, None, path, yes=True))
    with pytest.raises(UsageError, match="--yes"):
        work.volts(board, Wishes(None, print, meter.parse(METER), path))
    with pytest.raises(UsageError, match="--points"):
        work.volts(board, Wishes(None, print, meter.parse(METER)))
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="part of this name"):
        work.volts(board, Wishes(None, print, meter.parse(METER), path, yes=True, out=tmp_path / "file" / "out"))
    assert board.settings() == before and board.stores == []


def test_ones_own_parts(tmp_path: Path) -> None:
    import underdash.frontend.parts as parts

    own = tmp_path / "mine.toml"
    # A divider of other resistors: 8 % more full scale, which the shipped parts would have refused.
    text = parts.shipped().read_text().replace("ohms = 7870.0", "ohms = 8764.0")
    assert text != parts.shipped().read_text()
    own.write_text(text)
    board = FakeBoard(FrontEnd(bus_full_scale=18.29 * 1.08))
    path = points_file(board, tmp_path / "p.csv")
    with pytest.raises(DataError, match="--values"):
        work.volts(None, Wishes(None, print, meter.parse(METER), path, dry_run=True))
    told = work.volts(None, Wishes(None, print, meter.parse(METER), path, dry_run=True, values=own))
    assert told["line"]["gain"] == pytest.approx(18.29 * 1.08 / 66072, rel=2e-3)
