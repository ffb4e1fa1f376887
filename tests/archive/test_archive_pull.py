"""Pulls from the firmware itself on a virtual board: what they keep, what they refuse, what two of them make."""

import time
from pathlib import Path

import numpy as np
import pytest

from archive.journals import contents
from conftest import PLAIN, clamp_settings, short_drive
from underdash.archive import anchors, checksums, dates, merge, numbered
from underdash.archive.check import check_board
from underdash.archive.export import export
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.problems import DataError
from underdash.review import review
from underdash.virtual.board import VirtualBoard
from underdash.virtual.signal_file import FrontEnd, write_signal


def bring(board: VirtualBoard, into: Path) -> Path:
    with Board(board.port) as link:
        return pull(link, into).folder


def test_two_computers_two_boots_and_new_settings(board: VirtualBoard, drive_signal: Path, tmp_path: Path) -> None:
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    laptop = bring(board, tmp_path / "laptop")
    known, broken = checksums.read(laptop)
    assert broken == 0
    assert {number: one.length for number, one in known.items()} == {
        number: path.stat().st_size for number, path in numbered(laptop).items()
    }
    (first,) = anchors.read(laptop)[0]
    assert first.boot == 1 and first.uptime_s >= 300
    board.kill()

    before = time.time()
    board.start(drive_signal)
    with Board(board.port) as link:
        link.ready()
        after = time.time()
        home = pull(link, tmp_path / "home").folder
        found = dates.dates(home).boots
        assert [found[1].how, found[2].how] == ["bounded", "anchored"]
        assert found[2].unix_s is not None and found[2].uncertainty_s is not None
        assert before - found[2].uncertainty_s <= found[2].unix_s <= after + found[2].uncertainty_s
        link.store({"calibration": {"bus_zero": 5}})  # boot 3, and the clock goes on
        link.ready()
        pull(link, tmp_path / "home")
    told = dates.dates(home)
    assert told.contradictions == []
    assert told.boots[3].unix_s is not None and told.boots[3].uncertainty_s is not None
    assert abs(told.boots[3].unix_s - found[2].unix_s) <= told.boots[3].uncertainty_s + found[2].uncertainty_s

    merge.merge(tmp_path / "one", [tmp_path / "laptop", tmp_path / "home"])
    merge.merge(tmp_path / "two", [tmp_path / "home", tmp_path / "laptop"])
    assert contents(tmp_path / "one") == contents(tmp_path / "two")
    both = tmp_path / "one" / board.board_id
    assert [date.how for date in dates.dates(both).boots.values()] == ["anchored"] * 3
    assert not check_board(both).damaged
    report, rows = review(both)
    assert report["lost_rows"] == report["mismatches"] == 0
    done = export(both, tmp_path / "tables")
    assert sum(one.rows for one in done) == len(rows)
    # What was merged is what a pull goes on from.
    pulled = bring(board, tmp_path / "one")
    assert pulled == both and not check_board(both).damaged


def other_life(folder: Path) -> Path:
    """A longer drive with other volts."""
    volts, amps = short_drive()
    path = folder / "other.signal"
    write_signal(path, FrontEnd().fractions(np.tile(volts + 0.05, 2), np.tile(amps, 2)), period_ms=20)
    return path


def test_an_erased_board_is_not_added_to_its_former_life(
    board: VirtualBoard, drive_signal: Path, tmp_path: Path
) -> None:
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    place = bring(board, tmp_path / "archive")
    mine = (place / "00000001.seg").read_bytes()
    before = contents(tmp_path / "archive")
    with VirtualBoard(tmp_path / "erased", settings=clamp_settings(), converter=PLAIN) as erased:
        erased.start(other_life(tmp_path), fast=True)
        erased.wait_for_end(120.0)
        theirs = bring(erased, tmp_path / "new") / "00000001.seg"
        # Longer, and it opens with the very same header: only what was written last tells them apart.
        assert theirs.stat().st_size > len(mine)
        assert theirs.read_bytes()[:256] == mine[:256]
        with pytest.raises(
            DataError, match=r"holds another segment 1 than board.*nothing was changed.*another archive"
        ):
            bring(erased, tmp_path / "archive")
        assert contents(tmp_path / "archive") == before
        # Nothing in common: then its numbers are too low.
        (place / "00000001.seg").rename(place / "00000004.seg")
        before = contents(tmp_path / "archive")
        with pytest.raises(DataError, match=r"holds another segment 4 than board.*nothing was changed"):
            bring(erased, tmp_path / "archive")
        assert contents(tmp_path / "archive") == before
    assert merge.merge(tmp_path / "both", [tmp_path / "new"])[0].added == [1]


def test_nothing_is_added_to_a_segment_that_has_rotted(board: VirtualBoard, drive_signal: Path, tmp_path: Path) -> None:
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    place = bring(board, tmp_path / "archive")
    path = place / "00000001.seg"
    content = bytearray(path.read_bytes())
    content[-5] ^= 1  # in the last frame
    path.write_bytes(content)
    before = contents(place)
    with pytest.raises(DataError, match="is damaged in the archive; move it away and pull again"):
        bring(board, tmp_path / "archive")
    assert contents(place) == before
    path.unlink()
    bring(board, tmp_path / "archive")
    assert path.read_bytes()[: len(content) - 12] == content[:-12]
    assert not check_board(place).damaged
