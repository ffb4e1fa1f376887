"""What fails is recorded, tried again, and after three times replaced by a voltmeter that talks."""

import shutil
from pathlib import Path

import numpy as np
import pytest
import serial

import underdash
from conftest import PLAIN, clamp_settings, until
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.virtual.board import VirtualBoard
from underdash.virtual.signal_file import FrontEnd, write_signal


def broken(folder: Path, name: str, change: tuple[str, str]) -> Path:
    """A copy of the firmware with one thing wrong in it."""
    copy = folder / "firmware"
    shutil.copytree(underdash.firmware_dir(), copy, ignore=shutil.ignore_patterns("__pycache__"))
    file = copy / "lib" / "monitor" / name
    text = file.read_text()
    assert change[0] in text
    file.write_text(text.replace(change[0], change[1], 1))
    return copy


@pytest.fixture
def steady_signal(tmp_path: Path) -> Path:
    path = tmp_path / "pins.signal"
    write_signal(path, FrontEnd().fractions(np.full(5000, 14.0), np.zeros(5000)), period_ms=20)
    return path


def voltmeter(board: VirtualBoard) -> bool:
    with Board(board.port) as link:
        return link.hello["mode"] == "voltmeter"


@pytest.mark.parametrize(
    ("name", "change", "told"),
    [
        ("monitor.py", ("class Monitor:", "class Monitor(:"), "SyntaxError"),
        ("rest.py", ("self.sleeping = 0", "raise ValueError('rest is broken')"), "rest is broken"),
        ("journal.py", ("class Journal:", "class Journal(:"), "SyntaxError"),
    ],
)
def test_three_failed_starts_leave_a_voltmeter_that_talks(
    tmp_path: Path, steady_signal: Path, name: str, change: tuple[str, str], told: str
) -> None:
    firmware = broken(tmp_path, name, change)
    with VirtualBoard(tmp_path / "board", settings=clamp_settings(), converter=PLAIN, firmware=firmware) as board:
        board.start(steady_signal, fast=True)
        board.wait_for_end(60.0)
        with Board(board.port) as link:
            assert link.hello["mode"] == "voltmeter"
            assert not link.hello["monitoring"]
            errors = "\n".join(link.errors())
            assert told in errors
            assert errors.count("s after start") == 3
            link.segments()
        picture = board.display.picture()
        assert picture.sum() > 200
        assert b">>>" in _typed(board, b"\x03"), "Ctrl-C"


def _typed(board: VirtualBoard, keys: bytes) -> bytes:
    with serial.Serial(board.port, timeout=1.5) as port:
        port.write(keys)
        return port.read(4000)


def test_a_monitor_that_hangs_is_ended_by_the_watchdog_and_replaced_at_the_fourth_start(
    tmp_path: Path, steady_signal: Path
) -> None:
    samples = "        sampler.sample(not self.face.is_due(dt_ms))\n"
    hang = (samples, samples + "        import time\n\n        time.sleep(9)\n")
    firmware = broken(tmp_path, "monitor.py", hang)
    with VirtualBoard(tmp_path / "board", settings=clamp_settings(), converter=PLAIN, firmware=firmware) as board:
        board.start(steady_signal, fast=True)
        until(lambda: len(board.resets) >= 3)
        board.wait_for_end(60.0)
        assert [reset.reason for reset in board.resets] == ["watchdog"] * 3
        assert voltmeter(board)
        # Loss of power is a new beginning.
        board.kill()
        board.resets.clear()
        board.start(steady_signal, fast=True)
        until(lambda: board.resets)


def test_an_error_after_a_good_start_is_no_failed_start(tmp_path: Path, steady_signal: Path) -> None:
    """It fails at every hundredth second: recorded each time, and the monitor made anew."""
    line = "        view.seconds = self.seconds\n"
    fault = "        if self.seconds % 100 == 99:\n            raise ValueError('now and then')\n"
    once = (line, line + fault)
    firmware = broken(tmp_path, "monitor.py", once)
    write_signal(steady_signal, FrontEnd().fractions(np.full(25_000, 14.0), np.zeros(25_000)), period_ms=20)
    with VirtualBoard(tmp_path / "board", settings=clamp_settings(), converter=PLAIN, firmware=firmware) as board:
        board.start(steady_signal, fast=True)
        board.wait_for_end(60.0)
        with Board(board.port) as link:
            assert link.hello["mode"] == "monitor"
            assert "\n".join(link.errors()).count("now and then") >= 3
            pulled = pull(link, tmp_path / "archive")
    assert pulled.segments >= 4
