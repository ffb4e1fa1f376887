"""A pull does not cost a row, nor make a sample late; a host that stops reading does not either."""

import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from chargecore import frames
from conftest import PLAIN, clamp_settings
from link.long_drive import write_drive
from link.tools import mpremote
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.review import review
from underdash.virtual.board import VirtualBoard


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[VirtualBoard]:
    """A board with the journal of an hour, now on the real clock."""
    folder = tmp_path_factory.mktemp("filled")
    write_drive(folder / "hour.signal", 1.0)
    with VirtualBoard(folder / "board", settings=clamp_settings(), converter=PLAIN) as board:
        board.start(folder / "hour.signal", fast=True)
        board.wait_for_end(120.0)
        yield board


def row_times(segment: bytes) -> list[int]:
    """When each row ended [ms since the board's start]."""
    return [
        row[0]
        for kind, payload, _ in frames.scan(segment)
        if kind == frames.ROWS
        for row in frames.decode_rows(payload)[1]
    ]


def test_no_row_is_missing_and_no_sample_late_while_pulls_run(filled: VirtualBoard, tmp_path: Path) -> None:
    with Board(filled.port) as link:
        link.ready()
        began_s = link.status()["t_s"]
        until = time.monotonic() + 8.0
        pulls = 0
        while time.monotonic() < until:
            pulled = pull(link, tmp_path / f"archive{pulls}")
            assert pulled.new_bytes == pulled.total_bytes > 10000
            pulls += 1
        ended_s = link.status()["t_s"]
        health = link.health()
        last = pull(link, tmp_path / "last")
    assert pulls >= 5
    assert health["skipped"] == 0
    assert health["late_ms"] < 1000
    times = [time_ms for path in sorted(last.folder.glob("*.seg")) for time_ms in row_times(path.read_bytes())]
    during = [time_ms for time_ms in times if began_s * 1000 <= time_ms <= ended_s * 1000]
    assert len(during) >= 7
    assert {after - before for before, after in pairwise(during)} == {1000}
    report, _ = review(last.folder)
    assert report["mismatches"] == 0


def test_a_host_that_stops_reading_holds_up_no_sample(filled: VirtualBoard) -> None:
    with Board(filled.port) as link:
        link.ready()
        skipped = link.health()["skipped"]
        ((number, size), *_) = link.segments()
        for _ in range(3):
            link._send(f"get {number} 0 64")
            time.sleep(1.5)  # nothing is read meanwhile
        link._serial.reset_input_buffer()
        health = link.health()
        assert health["skipped"] == skipped
        assert health["late_ms"] < 1000
        assert len(b"".join(link.read(number, 0, size))) == size


def test_a_pull_from_a_board_that_can_only_read_its_journal(filled: VirtualBoard, tmp_path: Path) -> None:
    """The console serves list and get without a monitor, where it was given a journal."""
    with Board(filled.port) as link:
        link.ask("stop", "stopping")
    program = (
        "import board\n"
        "from monitor.console import Console\n"
        "from monitor.journal import Journal\n"
        "from chargecore.frames import Header\n"
        "import time\n"
        "console = Console(board.board_id(), 'watchdog')\n"
        "console.journal, console.mode = Journal('/journal', Header()), 'voltmeter'\n"
        "while not console.stop:\n"
        "    console.poll() or time.sleep_ms(5)\n"
    )
    mpremote(filled.port, "resume", "exec", "--no-follow", program)
    with Board(filled.port) as link:
        assert (link.mode, link.hello["monitoring"]) == ("voltmeter", False)
        pulled = pull(link, tmp_path / "archive")
        assert pulled.total_bytes > 10000
        assert link.health()["reset"] == "watchdog"
        with pytest.raises(Exception, match="the monitor is not running"):
            link.status()
        with pytest.raises(Exception, match="only shows volts"):
            link.ready()
        link.ask("stop", "stopping")
