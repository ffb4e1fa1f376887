"""`underdash watch` and `underdash board`, against a board that runs."""

import json
import re
import signal
import subprocess
import sys
import sysconfig
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from rich.console import Console

from conftest import PLAIN, clamp_settings
from link.long_drive import write_drive
from link.tools import mpremote
from underdash.cli.app import main
from underdash.cli.watch import Picture, line
from underdash.link.checkup import checkup, lines
from underdash.link.client import Board
from underdash.virtual.board import VirtualBoard

UNDERDASH = str(Path(sysconfig.get_path("scripts")) / "underdash")

STATUS = {"t_s": 3725, "bus_mv": 12438, "clamp_ma": -15040, "state": "discharging", "warnings": 1 | 16, "boot": 4,
          "low_s": 31, "out_as": 7200, "in_as": 360, "deficit_as": 6840}  # fmt: skip


def drawn(picture: Picture, width: int = 80) -> str:
    console = Console(width=width, record=True, file=open("/dev/null", "w"))  # noqa: SIM115
    with console.capture() as caught:
        console.print(picture.draw(width))
    console.file.close()
    return caught.get()


def test_a_line_says_the_moment() -> None:
    assert line(STATUS) == "    3725 s  12.44 V   -15.0 A  discharging  discharging, weak crank"
    bare = {**STATUS, "bus_mv": None, "clamp_ma": None, "state": "no verdict", "warnings": 0}
    assert line(bare) == "    3725 s      - V       - A  no verdict"
    assert "+0.0 A" in line({**STATUS, "clamp_ma": -3})


def test_the_picture_shows_figures_words_and_a_trace() -> None:
    picture = Picture("board x", 13000)
    assert "waiting for the first row" in drawn(picture)
    for second in range(3600, 3700):
        picture.add({**STATUS, "t_s": second, "bus_mv": 14200})
    high = drawn(picture)
    for second in range(3700, 3726):
        picture.add({**STATUS, "t_s": second})
    shown = drawn(picture)
    for words in ("╺━┓", "out of the battery", "-15.0 A", "WARNING: discharging, weak crank", "13.0 ┤", "15.5 ┤",
                  "1:02:05 since start 4", "in 0.10", "not put back 1.90 Ah", "31 s below 13.0 V"):  # fmt: skip
        assert words in shown, words
    assert max(map(len, shown.splitlines())) == 80
    rows = [index for index, text in enumerate(shown.splitlines()) if re.search("[\u2801-\u28ff]", text)]
    before = [index for index, text in enumerate(high.splitlines()) if re.search("[\u2801-\u28ff]", text)]
    assert len(before) == 1, "steady volts are one line"
    assert len(rows) >= 4, "a fall of 1.8 V is a joined line across the trace"
    picture.add({**STATUS, "t_s": 3726, "bus_mv": None, "clamp_ma": None})
    assert "no clamp" in drawn(picture)


def test_watch_in_a_pipe_is_a_line_a_row_and_ends_by_itself(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    done = CliRunner().invoke(main, ["watch", "--port", board.port, "--seconds", "3"])
    assert done.exit_code == 0, done.output
    told = done.stdout.splitlines()
    assert 3 <= len(told) <= 6
    assert all(re.fullmatch(r" +\d+ s +\d+\.\d\d V +[+-]\d+\.\d A  rest", text) for text in told)
    seconds = [int(text.split()[0]) for text in told]
    assert seconds == sorted(seconds)
    assert len(set(seconds)) >= 3


def test_watch_ends_cleanly_with_ctrl_c(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal)
    process = subprocess.Popen([sys.executable, UNDERDASH, "watch", "--port", board.port], stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True)  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline()
    process.send_signal(signal.SIGINT)
    said, wrong = process.communicate(timeout=20)
    assert (process.returncode, wrong) == (0, "")
    assert "Traceback" not in said
    with Board(board.port) as link:  # and the board was told to be quiet
        time.sleep(1.5)
        assert b"live" not in link._serial.read(link._serial.in_waiting)


def test_watch_tells_of_a_board_that_went_away(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal)
    process = subprocess.Popen([sys.executable, UNDERDASH, "watch", "--port", board.port], stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True)  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline()
    board.kill()
    _, wrong = process.communicate(timeout=30)
    assert process.returncode == 1
    assert len(wrong.splitlines()) == 1
    assert "no answer" in wrong


def test_board_tells_health_room_and_the_last_errors(tmp_path: Path) -> None:
    write_drive(tmp_path / "long.signal", 0.5)
    with VirtualBoard(tmp_path / "b", settings=clamp_settings(), converter=PLAIN) as board:
        board.start(tmp_path / "long.signal", fast=True)
        board.wait_for_end(120.0)
        with Board(board.port) as link:
            told = checkup(link)
        assert told["board"] == board.board_id
        assert (told["mode"], told["skipped"], told["errors"], told["rows_dropped"]) == ("monitor", 0, [], 0)
        assert told["uptime_s"] >= 1800
        assert told["free_bytes"] < told["flash_bytes"] == 352 * 4096
        # Half an hour's journal, so the rate is known: what is left lasts as long as it takes to fill.
        assert told["rate_bytes_s"] == pytest.approx(told["journal_bytes"] / 1800, rel=0.15)
        assert told["hours_left"] == pytest.approx(told["room_bytes"] / told["rate_bytes_s"] / 3600)
        assert 50 < told["hours_left"] < 200
        text = "\n".join(lines(told))
        for words in ("monitor running", "30 min", "start 1", "0 skipped", "as stored", "none recorded", "KiB free",
                      "before the oldest rows are given up"):  # fmt: skip
            assert words in text, words
        with Board(board.port) as link:
            link.ask("stop", "stopping")
        mpremote(board.port, "resume", "exec",
                 "from monitor import errors\ntry:\n 1 / 0\nexcept Exception as e:\n errors.record(e, 77)")  # fmt: skip
        mpremote(board.port, "resume", "reset")
        done = CliRunner().invoke(main, ["board", "--port", board.port])
        assert done.exit_code == 0, done.output
        assert "77 s after start" in done.stdout
        assert "ZeroDivisionError" in done.stdout
        as_json = CliRunner().invoke(main, ["board", "--json", "--port", board.port])
        assert json.loads(as_json.stdout)["boot"] == 2


def test_a_full_ring_and_a_voltmeter_are_told_in_words() -> None:
    told = {"board": "aa", "port": "COM3", "firmware": "0.1.0", "protocol": 1, "format": 1, "monitoring": False,
            "mode": "voltmeter", "segments": 30, "journal_bytes": 983040, "rate_bytes_s": 3.5, "room_bytes": 0,
            "hours_left": 0.0, "errors": ["x"]}  # fmt: skip
    text = "\n".join(lines(told))
    assert "VOLTMETER ONLY" in text
    assert "each new segment takes the place of the oldest, at the present 3.5 bytes a second" in text
