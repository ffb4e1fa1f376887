"""Whatever is handed in: one clear line, the right exit code, no traceback, nothing half-written."""

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from conftest import PLAIN, clamp_settings, read_flash
from underdash.link.client import Board
from underdash.problems import UnderdashError
from underdash.virtual.board import VirtualBoard

UNDERDASH = str(Path(sysconfig.get_path("scripts")) / "underdash")


def run(*words: object, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    settings = {**os.environ, **environment}
    settings.pop("UNDERDASH_PORT", None) if "UNDERDASH_PORT" not in environment else None
    return subprocess.run(
        [sys.executable, UNDERDASH, *map(str, words)], cwd=cwd, capture_output=True, text=True, timeout=60, env=settings
    )


def refused(done: subprocess.CompletedProcess[str], code: int, *said: str) -> None:
    """One line that says each of `said`, on standard error, and nothing on standard output."""
    assert done.returncode == code, done.stderr
    lines = [line for line in done.stderr.splitlines() if line and not line.startswith("  ")]  # progress is indented
    assert len(lines) == 1, done.stderr
    assert "Traceback" not in done.stderr
    for words in said:
        assert words in lines[0]
    assert done.stdout == ""


@pytest.fixture(scope="module")
def segment(tmp_path_factory: pytest.TempPathFactory, drive_signal: Path) -> bytes:
    """A real journal segment, from the board's own flash."""
    folder = tmp_path_factory.mktemp("journal")
    with VirtualBoard(folder, settings=clamp_settings(), converter=PLAIN) as board:
        board.start(drive_signal, fast=True)
        board.wait_for_end(60.0)
        with Board(board.port) as link:
            link.ready()
            link.segments()  # makes the board commit what it has
    return read_flash(folder)["00000001.seg"]


CSV = {
    "missing column": ("t_s,bus\n0,12.6\n", 2, ["no column 'volts'", "--column"]),
    "text in a number": ("t_s,volts\n0,12.6\n1,dead\n", 1, ["line 3", "'dead'", "not a number"]),
    "decimal comma unquoted": ("t_s,volts\n0,12,6\n", 1, ["line 2", "decimal comma"]),
    "time goes back": ("t_s,volts\n5,12.6\n4,12.6\n", 1, ["line 3", "goes back"]),
    "no time": ("t_s,volts\n,12.6\n", 1, ["line 2", "t_s is empty"]),
    "infinite": ("t_s,volts\n0,inf\n", 1, ["line 2", "beyond"]),
    "millivolts": ("t_s,volts\n0,12600\n", 1, ["line 2", "check the units"]),
    "empty file": ("", 2, ["no column 't_s'", "nothing"]),
    "header only": ("t_s,volts\n", 1, ["no rows"]),
    "two columns of a name": ("t_s,volts,volts\n0,1,2\n", 2, ["2 columns", "keep one"]),
}


@pytest.mark.parametrize("case", CSV)
def test_csv(case: str, tmp_path: Path) -> None:
    content, code, said = CSV[case]
    (tmp_path / "log.csv").write_text(content)
    refused(run("review", "log.csv", "--html", "out.html", cwd=tmp_path), code, *said)
    assert not (tmp_path / "out.html").exists()


def test_csv_that_is_no_text(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_bytes("t_s,volts,Umgebung °C\n0,12.6,20\n".encode("latin-1"))
    refused(run("review", "log.csv", cwd=tmp_path), 1, "line 1", "byte 0xB0", "UTF-8", "--encoding")
    (tmp_path / "log.csv").write_bytes(bytes(range(256)) * 10)
    refused(run("review", "log.csv", cwd=tmp_path), 1, "binary")


def test_missing_folder_file_and_wrong_option(tmp_path: Path) -> None:
    refused(run("review", "nowhere", cwd=tmp_path), 2, "nowhere", "no such file")
    (tmp_path / "empty").mkdir()
    refused(run("review", "empty", cwd=tmp_path), 2, "no journal segments")
    (tmp_path / "log.csv").write_text("t_s,volts\n0,12.6\n")
    refused(run("review", "log.csv", "--column", "speed=rpm", cwd=tmp_path), 2, "t_s=NAME")
    refused(run("review", "log.csv", "--html", "log.csv/out.html", cwd=tmp_path), 2, "is a file, not a folder")


def test_places_that_cannot_be_written_or_read(tmp_path: Path) -> None:
    # /proc refuses new files to everyone, root included; /proc/self/mem refuses to be read.
    (tmp_path / "log.csv").write_text("t_s,volts\n0,12.6\n")
    refused(run("review", "log.csv", "--html", "/proc/underdash/page.html", cwd=tmp_path), 2, "/proc/underdash")
    refused(run("review", "/proc/self/mem", cwd=tmp_path), 1, "/proc/self/mem")
    refused(run("drive", "--out", "/proc/underdash/drive.csv", cwd=tmp_path), 2, "/proc/underdash")


def test_foreign_and_damaged_segments(tmp_path: Path, segment: bytes) -> None:
    (tmp_path / "foreign.seg").write_bytes(b"\x89PNG and so on" * 100)
    refused(run("review", "foreign.seg", cwd=tmp_path), 1, "not an Underdash journal")
    (tmp_path / "nothing.seg").write_bytes(b"")
    refused(run("review", "nothing.seg", cwd=tmp_path), 1, "not an Underdash journal")
    (tmp_path / "head.seg").write_bytes(segment[:100])
    refused(run("review", "head.seg", cwd=tmp_path), 1, "not an Underdash journal")


def test_damage_inside_a_segment_costs_its_frames_and_is_told(tmp_path: Path, segment: bytes) -> None:
    (tmp_path / "whole.seg").write_bytes(segment)
    (tmp_path / "cut.seg").write_bytes(segment[:-7])
    flipped = bytearray(segment)
    flipped[len(segment) // 2] ^= 4
    (tmp_path / "flipped.seg").write_bytes(flipped)
    for name in ("whole", "cut", "flipped"):
        done = run("review", f"{name}.seg", cwd=tmp_path)
        assert done.returncode == 0
        assert ("bytes unreadable" in done.stdout) == (name != "whole")
        assert "0 rows on which board and desk disagree" in done.stdout


def test_two_boards_in_one_archive(tmp_path: Path, segment: bytes) -> None:
    for board in ("aa", "bb"):
        (tmp_path / board).mkdir()
        (tmp_path / board / "00000001.seg").write_bytes(segment)
    refused(run("review", ".", cwd=tmp_path), 2, "2 boards", "aa, bb")


def test_no_port_wrong_port_no_board_on_it(tmp_path: Path) -> None:
    refused(run("pull", "--port", "/dev/ttyNONE9", cwd=tmp_path), 2, "/dev/ttyNONE9", "no such port")
    refused(run("pull", cwd=tmp_path), 2, "no board found", "--port")
    refused(run("pull", cwd=tmp_path, UNDERDASH_PORT="/dev/ttyNONE8"), 2, "/dev/ttyNONE8")
    main, side = os.openpty()
    try:
        refused(run("pull", "--port", os.ttyname(side), cwd=tmp_path), 1, "no Underdash board answers")
    finally:
        os.close(main)
        os.close(side)
    assert not (tmp_path / "archive").exists()


@pytest.mark.parametrize("command", ["install", "board", "watch", "settings show"])
def test_every_command_for_a_board_tells_of_a_port_that_is_none(tmp_path: Path, command: str) -> None:
    refused(run(*command.split(), "--port", "/dev/ttyNONE9", cwd=tmp_path), 2, "/dev/ttyNONE9", "no such port")
    refused(run(*command.split(), cwd=tmp_path), 2, "no board found", "--port", "UNDERDASH_PORT")


def test_two_boards_at_once_are_listed(tmp_path: Path, drive_signal: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from serial.tools import list_ports, list_ports_common

    from underdash.link import client
    from underdash.problems import UsageError

    with VirtualBoard(tmp_path / "one") as one, VirtualBoard(tmp_path / "two", board_id="00000000000000b2") as two:
        found = []
        for board in (one, two):
            board.start(drive_signal)
            info = list_ports_common.ListPortInfo(board.port)
            info.vid = client.USB_VENDOR
            found.append(info)
        monkeypatch.setattr(list_ports, "comports", lambda: found)
        monkeypatch.delenv("UNDERDASH_PORT", raising=False)
        with pytest.raises(UsageError, match=r"2 boards answer.*7d5e0000c0ffee01.*00000000000000b2.*--port"):
            client.find()
        found.pop()
        with client.find() as only:
            assert only.board_id == "7d5e0000c0ffee01"


def test_pull_busy_unwritable_interrupted_resumed_and_foreign(tmp_path: Path, drive_signal: Path) -> None:
    with VirtualBoard(tmp_path / "board", settings=clamp_settings(), converter=PLAIN) as board:
        board.start(drive_signal, fast=True)
        board.wait_for_end(60.0)
        with Board(board.port):
            refused(run("pull", "--port", board.port, cwd=tmp_path), 1, "in use by another program")
        (tmp_path / "file").write_text("")
        refused(run("pull", "--port", board.port, "--archive", "file", cwd=tmp_path), 2, "is a file, not a folder")
        assert run("pull", "--port", board.port, cwd=tmp_path).returncode == 0
        folder = tmp_path / "archive" / board.board_id
        whole = (folder / "00000001.seg").read_bytes()
        # An interrupted pull leaves a .part, which the next one takes up.
        (folder / "00000001.seg").unlink()
        (folder / "00000001.part").write_bytes(whole[:1000])
        again = run("pull", "--port", board.port, cwd=tmp_path)
        assert again.returncode == 0
        resumed = (folder / "00000001.seg").read_bytes()
        assert resumed.startswith(whole)
        assert not (folder / "00000001.part").exists()
        # Bytes that are not this board's are neither mixed nor overwritten.
        other = bytes(byte ^ 1 for byte in resumed)
        (folder / "00000001.seg").write_bytes(other)
        refused(run("pull", "--port", board.port, cwd=tmp_path), 1, "nothing was changed", "another archive")
        assert (folder / "00000001.seg").read_bytes() == other


def test_two_virtual_boards_never_share_a_flash(tmp_path: Path) -> None:
    with VirtualBoard(tmp_path / "one"), pytest.raises(UnderdashError, match="another virtual board runs from it"):
        VirtualBoard(tmp_path / "one")
    with VirtualBoard(tmp_path / "one"):
        pass


def test_a_log_without_rows_feeds_no_board(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").write_text("t_s,volts\n")
    refused(run("virtual", "b", "--log", "empty.csv", cwd=tmp_path), 1, "no rows below the header")


def test_a_damaged_archive_is_not_blamed_on_the_wire(board: VirtualBoard, drive_signal: Path, tmp_path: Path) -> None:
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    assert run("pull", "--port", board.port, cwd=tmp_path).returncode == 0
    (segment,) = (tmp_path / "archive" / board.board_id).glob("*.seg")
    data = bytearray(segment.read_bytes())
    data[400:404] = b"\0\0\0\0"
    segment.write_bytes(data[:-20])  # as if the last pull had brought less, so that this one goes on
    refused(run("pull", "--port", board.port, cwd=tmp_path), 1, "is damaged in the archive; move it away")
