"""The unmodified firmware, parked: it sleeps, wakes, spares the battery, and minds key and button."""

import threading
from pathlib import Path

import numpy as np
import pytest

from chargecore import engine, frames, options, thresholds
from chargecore.calibration import Calibration
from conftest import PLAIN, read_flash
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.review import review
from underdash.review.rows import Rows
from underdash.virtual.bench import settings_file
from underdash.virtual.board import VirtualBoard
from underdash.virtual.signal_file import FrontEnd, write_signal

PINS = options.default_pins()


def watch(
    folder: Path, volts: np.ndarray, inputs: dict[int, list[tuple[float, int]]] | None = None, **chosen: int
) -> tuple[VirtualBoard, dict, Rows]:
    """Let a volts-only board live through `volts` (every 20 ms), pull its journal, and review it."""
    write_signal(folder / "pins.signal", FrontEnd().fractions(volts, np.zeros(len(volts))), period_ms=20)
    settings = settings_file(Calibration(), thresholds.Thresholds(), **chosen)
    with VirtualBoard(folder / "board", settings=settings, converter=PLAIN) as board:
        board.start(folder / "pins.signal", fast=True, inputs=inputs)
        board.wait_for_end(120.0)
        with Board(board.port) as link:
            pulled = pull(link, folder / "archive")
        report, rows = review(pulled.folder)
        assert report["mismatches"] == report["lost_rows"] == report["unchecked_rows"] == 0
        return board, report, rows


def still(seconds: float, volts: float) -> np.ndarray:
    count = int(seconds * 50)
    return volts + np.random.default_rng(3).normal(0, 0.0003, count)


def alive(seconds: float, volts: float) -> np.ndarray:
    count = int(seconds * 50)
    return volts + np.random.default_rng(4).normal(0, 0.02, count)


def test_a_parked_board_writes_a_row_a_minute_and_sees_the_starter(tmp_path: Path) -> None:
    crank_s = 1800.07
    volts = np.concatenate([still(crank_s, 12.6), np.full(40, 10.2), alive(120, 14.0)])
    _, report, rows = watch(tmp_path, volts)
    parked = rows.t_s < crank_s - 1
    periods = np.diff(rows.t_s[parked])
    assert np.median(periods[rows.t_s[parked][1:] > 70]) == pytest.approx(60.0, abs=0.01)
    assert parked.sum() < 100, "rows once a second for the first minute, then once a minute"
    (drive,) = report["drives"]
    (crank,) = drive["cranks"]
    assert crank["start_s"] == pytest.approx(crank_s, abs=0.4)
    assert crank["lowest_volts"] == pytest.approx(10.2, abs=0.01)
    assert drive["rested_volts"] is None or drive["rested_volts"] == pytest.approx(12.6, abs=0.01)


def test_below_the_cut_off_nothing_is_written_until_a_charger_comes(tmp_path: Path) -> None:
    volts = np.concatenate([still(900, 12.0), still(3600, 11.95), still(120, 13.0)])
    _, _, rows = watch(tmp_path, volts)
    quiet = (rows.t_s > 1000) & (rows.t_s < 4490)
    assert not quiet.any()
    assert (rows.t_s > 4510).sum() > 30, "until it sleeps again"
    assert (rows.warnings & engine.WARN_LOW_REST).any()


def test_without_a_cut_off_it_writes_on(tmp_path: Path) -> None:
    _, _, rows = watch(tmp_path, np.concatenate([still(900, 12.0), still(1200, 11.95)]), cutoff_mv=0)
    assert ((rows.t_s > 1000) & (rows.t_s < 2090)).sum() >= 15


def test_the_key_is_in_the_journal_and_tells_a_dead_alternator_from_a_parked_car(tmp_path: Path) -> None:
    """Volts that die to a still 12.4 V with the key on: nothing but the key tells it from rest."""
    volts = np.concatenate([still(60, 12.6), np.full(40, 10.2), alive(120, 14.0), still(120, 12.4), still(60, 12.5)])
    key = {PINS["ignition"]: [(0.0, 0), (58.0, 1), (302.0, 0)]}
    _, report, rows = watch(tmp_path, volts, key, ignition=1)
    (drive,) = report["drives"]
    (episode,) = [each for each in drive["episodes"] if each["kind"] == "discharging"]
    assert episode["start_s"] == pytest.approx(181.0, abs=1.5)
    assert episode["shown_s"] - 180.8 <= 6.5
    assert rows.state[-1] == engine.REST
    last_awake = rows.t_s[rows.state != engine.REST][-1]
    assert last_awake - 302.0 <= 6.0, "with the key off rest comes soon"


def test_unseen_until_the_button_is_pressed(tmp_path: Path) -> None:
    """Hidden: dark through a drive but for half a minute after the press; the lamp speaks."""
    volts = np.concatenate([still(10, 12.6), np.full(40, 10.2), alive(200, 14.0)])
    write_signal(tmp_path / "pins.signal", FrontEnd().fractions(volts, np.zeros(len(volts))), period_ms=20)
    settings = settings_file(Calibration(), thresholds.Thresholds(), hidden=1)
    with VirtualBoard(tmp_path / "board", settings=settings, converter=PLAIN) as board:
        for moment, name in ((60.0, "before"), (105.0, "pressed"), (150.0, "after")):
            board.snapshot_at(moment, name)
        board.start(tmp_path / "pins.signal", fast=True, inputs={PINS["button"]: [(0.0, 1), (100.0, 0), (100.4, 1)]})
        board.wait_for_end(60.0)
        lit = {name: int(picture.sum()) for name, picture in board.pictures.items()}
        lamp = [at_s for at_s, pin, level in board.outputs if pin == PINS["lamp"] and level == 1 and 40 < at_s < 200]
    assert lit["before"] == lit["after"] == 0
    assert lit["pressed"] > 300
    assert len(lamp) > 20, "the lamp says that it is charging"


@pytest.mark.parametrize(("supply_mv", "kept"), [(8000, True), (5000, False)])
def test_a_falling_supply_commits_before_the_board_goes(tmp_path: Path, supply_mv: int, kept: bool) -> None:
    """At 100 s the volts sink towards what the board needs; 1.3 s later it is gone. The last minute is there."""
    volts = np.concatenate([alive(100, 14.0), np.linspace(9.0, 6.0, 50), np.full(500, 6.0)])
    write_signal(tmp_path / "pins.signal", FrontEnd().fractions(volts, np.zeros(len(volts))), period_ms=20)
    settings = settings_file(Calibration(), thresholds.Thresholds(), supply_mv=supply_mv)
    gone = threading.Event()
    with VirtualBoard(tmp_path / "board", settings=settings, converter=PLAIN) as board:
        board.on_time = lambda seconds: gone.set() if seconds >= 101.3 else None
        board.start(tmp_path / "pins.signal", fast=True)
        assert gone.wait(60.0)
        board.kill()
    rows = []
    for data in read_flash(tmp_path / "board").values():
        for kind, payload, _ in frames.scan(data):
            if kind == frames.ROWS:
                rows += frames.decode_rows(payload)[1]
    assert (rows[-1][0] >= 100_000) is kept
