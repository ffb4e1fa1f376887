"""The virtual board, talked to by the very programs that talk to a real one."""

import os
import subprocess
import sys
import sysconfig
import time
from pathlib import Path

import pytest
import serial

from conftest import PLAIN, clamp_settings, until
from underdash.link.client import Board
from underdash.virtual.board import VirtualBoard
from underdash.virtual.display import save_picture

MPREMOTE = str(Path(sysconfig.get_path("scripts")) / "mpremote")


def mpremote(port: str, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, MPREMOTE, "connect", port, *words], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_the_whole_drive_on_display_and_console(board: VirtualBoard, drive_signal: Path, tmp_path: Path) -> None:
    board.snapshot_at(100.0, "charging")
    board.snapshot_at(160.0, "deficit")
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    with Board(board.port) as link:
        status = link.status()
        assert link.board_id == "7d5e0000c0ffee01"
    assert status["state"] == "rest"
    # 80 s at 15 A are 1,200 A s; one row at each edge, and the converter's step, are uncertain.
    assert status["out_as"] == pytest.approx(1200 + 120, abs=40)
    # The deficit's 80 s, and the 20 s of stillness that it takes to call the parked car at rest.
    assert status["low_s"] == pytest.approx(100, abs=4)
    lit = {name: picture.sum() for name, picture in board.pictures.items()}
    assert lit["charging"] > 300
    charging, deficit = board.pictures["charging"], board.pictures["deficit"]
    assert (charging[:32, 20:70] != deficit[:32, 20:70]).any(), "the figures did not change"
    save_picture(deficit, tmp_path / "panel.png")
    assert (tmp_path / "panel.png").read_bytes().startswith(b"\x89PNG")


def test_real_clock_keeps_real_time(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal)
    with Board(board.port) as link:
        link.ready()
        first, began = link.status()["t_s"], time.monotonic()
        time.sleep(3.0)
        assert link.status()["t_s"] - first == pytest.approx(time.monotonic() - began, abs=1.5)


def test_live_rows_stream(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal)
    with Board(board.port) as link:
        link.ready()
        link.ask("live on", "live-on")
        time.sleep(3.5)
        assert link._serial.read(100000).count(b"live {") >= 3


def test_mpremote_copies_and_runs(board: VirtualBoard, drive_signal: Path, tmp_path: Path) -> None:
    board.start(drive_signal)
    assert "main.py" in mpremote(board.port, "resume", "fs", "ls")
    source = tmp_path / "note.txt"
    source.write_text("kept\n" * 200)
    mpremote(board.port, "resume", "fs", "cp", str(source), ":note.txt")
    assert mpremote(board.port, "resume", "fs", "cat", ":note.txt") == source.read_text()
    # Without `resume` a soft reset comes first, as on a board.
    assert mpremote(board.port, "exec", "import framebuf; print(6 * 7)").strip() == "42"


def test_ctrl_c_stops_the_monitor_and_a_soft_reset_starts_it(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal)
    with Board(board.port):
        pass
    with serial.Serial(board.port, timeout=0.2) as port:
        port.write(b"\x03")
        seen = b""

        def prompt() -> bool:
            nonlocal seen
            seen += port.read(1000)
            return b">>> " in seen

        until(prompt)
        port.write(b"\x04")
    with Board(board.port) as link:
        assert link.hello["firmware"]


def test_stop_in_the_start_window_leaves_the_prompt(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal)
    with Board(board.port) as link:
        assert not link.hello["monitoring"], "hello within the window must find no monitor yet"
        link.ask("stop", "stopping")
    assert mpremote(board.port, "resume", "eval", "1+1").strip() == "2"


def test_a_starved_watchdog_resets_the_board(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal)
    mpremote(board.port, "resume", "exec", "import machine,time\nw=machine.WDT(timeout=500)", "exec", "--no-follow",
             "time.sleep_ms(600)")  # fmt: skip
    until(lambda: [reset.reason for reset in board.resets] == ["watchdog"])
    with Board(board.port) as link:
        assert link.hello["firmware"]


def test_an_unhandled_error_is_recorded_and_the_monitor_begins_anew(tmp_path: Path, drive_signal: Path) -> None:
    with VirtualBoard(tmp_path / "b", settings=clamp_settings(), converter=PLAIN) as board:
        board.start(drive_signal)
        program = (
            "from monitor import monitor, supervisor\n"
            "import board\n"
            "whole = monitor.Monitor.tick\n"
            "def faulty(self, dt_ms=100):\n"
            "    if self.seconds > 5 and not faulty.done:\n"
            "        faulty.done = True\n"
            "        raise ValueError('provoked')\n"
            "    whole(self, dt_ms)\n"
            "faulty.done = False\n"
        )
        # MicroPython functions carry no attributes: a list does.
        program = program.replace("not faulty.done", "not done").replace("faulty.done = True", "done.append(1)")
        program = program.replace("faulty.done = False", "done = []")
        program += "monitor.Monitor.tick = faulty\nsupervisor.run(board)\n"
        mpremote(board.port, "resume", "exec", "--no-follow", program)
        with Board(board.port) as link:
            link.ready()
            boot = link.status()["boot"]
            time.sleep(7.0)
            noted = [body for body in link._converse("errors") if body.startswith(("noted", "end"))][:20]
            assert any("ValueError: provoked" in line for line in noted)
            link.ready()
            assert link.status()["boot"] == boot + 1


def test_settings_are_kept_across_a_power_cut(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal)
    with Board(board.port) as link:
        link.ready()
        link.store({"thresholds": {"marginal_mv": 13250}, "calibration": {"bus_zero": 3}})
    board.kill()
    board.start(drive_signal)
    with Board(board.port) as link:
        link.ready()
        kept = link.ask("settings", "settings")
    assert '"marginal_mv": 13250' in kept
    assert '"bus_zero": 3' in kept


def test_a_port_nobody_reads_does_not_stop_the_monitor(board: VirtualBoard, drive_signal: Path) -> None:
    end = os.open(board.port, os.O_RDWR | os.O_NOCTTY)
    board.start(drive_signal, fast=True)
    os.write(end, b"live on\n")
    board.wait_for_end(60.0)
    os.close(end)


def test_a_host_that_reads_slowly_loses_nothing(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    with Board(board.port) as link:
        link.ready()
        ((number, size),) = link.segments()
        quick = b"".join(link.read(number, 0, size))
        slow = b""
        for data in link.read(number, 0, size):
            time.sleep(0.15)
            slow += data
    assert slow == quick
    assert len(quick) == size


def test_bytes_lost_on_the_wire_are_asked_for_again(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    with Board(board.port) as link:
        link.ready()
        ((number, size),) = link.segments()
        whole = b"".join(link.read(number, 0, size))
        read, spoilt = link._serial.read, []

        def spoil(count: int) -> bytes:
            data = read(count)
            if len(spoilt) < 2 and len(data) > 300:
                spoilt.append(len(data))
                data = data[:100] + b"#" + data[101:]
            return data

        link._serial.read = spoil
        assert b"".join(link.read(number, 0, size)) == whole
        assert spoilt
