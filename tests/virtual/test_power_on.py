"""Ctrl-C while the virtual board is switched on: whenever it comes, the board has its own root, not the desk's."""

import time
from pathlib import Path

import serial

from conftest import PLAIN
from underdash.virtual.board import VirtualBoard

FILES = {"main.py": "print('main runs')\nwhile True:\n    pass\n", "mark.py": ""}
MOMENTS = 12


def root_after_an_interrupt(board: VirtualBoard, drive_signal: Path, after_s: float) -> tuple[str, str]:
    """(all that the board said, the names in its root) where the Ctrl-C came so long after the power."""
    with serial.Serial(board.port, timeout=20.0) as line:
        if after_s == 0:
            line.write(b"\x03")
        board.start(drive_signal)
        if after_s:
            time.sleep(after_s)
            line.write(b"\x03")
        said = line.read_until(b">>> ")
        line.write(b"import os; sorted(os.listdir('/'))\r")
        listed = line.read_until(b">>> ")
    board.kill()
    return said.decode(), listed.decode()


def test_an_interrupt_at_any_moment_leaves_the_board_its_root(tmp_path: Path, drive_signal: Path) -> None:
    """Also while the flash is being made: moments all over the time that a start takes here."""
    source = tmp_path / "firmware"
    source.mkdir()
    for name, text in FILES.items():
        (source / name).write_text(text)

    def fresh(moment: int) -> VirtualBoard:
        return VirtualBoard(tmp_path / f"board-{moment}", firmware=source, converter=PLAIN)

    with fresh(MOMENTS) as board, serial.Serial(board.port, timeout=20.0) as line:
        began = time.monotonic()
        board.start(drive_signal)
        assert b"main runs" in line.read_until(b"main runs")
        took_s = time.monotonic() - began
    for moment in range(MOMENTS):
        with fresh(moment) as board:
            for _ in range(2):  # the first makes the flash; it is cut off at its prompt
                said, listed = root_after_an_interrupt(board, drive_signal, took_s * moment / (MOMENTS - 1))
                assert "['main.py', 'mark.py']" in listed, said + listed
                assert board.resets == []
