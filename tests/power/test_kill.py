"""The power goes at any moment: kill the interpreter, look at the flash, start again."""

import random
import threading
from pathlib import Path

from chargecore import frames
from conftest import PLAIN, clamp_settings, read_flash
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.review import review
from underdash.virtual.board import VirtualBoard

KILLS = 20
LOSS_BOUND_S = 61.0  # docs/journal-format.md: a minute between commits, and the row in the making


def boot_rows(folder: Path, boot: int) -> list[tuple[int, ...]]:
    """Every row of one boot on the flash; fails on damage and on gaps in the numbering."""
    rows: list[tuple[int, ...]] = []
    expected = None
    for data in read_flash(folder).values():
        mine = False
        for kind, payload, _ in frames.scan(data):
            assert kind != 0, f"{payload} damaged bytes were committed"
            if kind == frames.HEADER:
                header = frames.decode_header(payload)
                assert expected is None or header.first_row == expected
                expected = header.first_row
                mine = header.boot == boot
            else:
                first, decoded = frames.decode_rows(payload)
                assert first == expected
                expected = first + len(decoded)
                if mine:
                    rows += decoded
    return rows


def run_until(board: VirtualBoard, signal: Path, start_s: float, stop_s: float) -> None:
    """Run from `start_s` of the signal; cut the power once the board's clock has passed `stop_s`."""
    passed = threading.Event()
    board.on_time = lambda seconds: passed.set() if seconds >= stop_s else None
    board.start(signal, fast=True, start_s=start_s)
    assert passed.wait(60.0), "the board's clock stands still"
    board.kill()


def test_killed_twenty_times_nothing_committed_is_lost_and_nothing_wrong_accepted(
    tmp_path: Path, drive_signal: Path, capsys
) -> None:
    chance = random.Random(20)
    lost_s = []
    folder = tmp_path / "board"
    with VirtualBoard(folder, settings=clamp_settings(), converter=PLAIN) as board:
        for boot in range(1, KILLS + 1):
            start_s = chance.uniform(0.0, 200.0)
            run_until(board, drive_signal, start_s, chance.uniform(3.0, 290.0 - start_s))
            rows = boot_rows(folder, boot)
            with VirtualBoard(tmp_path / f"{boot}", settings=clamp_settings(), converter=PLAIN) as twin:
                twin.start(drive_signal, fast=True, start_s=start_s)
                twin.wait_for_end(60.0)
                twin.kill()
            undisturbed = boot_rows(tmp_path / f"{boot}", 1)
            assert rows == undisturbed[: len(rows)], "a row that was never measured was accepted"
            reached_s = rows[-1][0] / 1000 if rows else 0.0
            # All that stood in RAM at the last finished commit: the row of that second is not closed yet.
            assert reached_s >= board.committed_s - 1.0
            lost_s.append(board.committed_s and max(0.0, board.committed_s - reached_s))
        board.start(drive_signal, fast=True)
        board.wait_for_end(60.0)
        with Board(board.port) as link:
            pulled = pull(link, tmp_path / "archive")
        report, rows_after = review(pulled.folder)
    assert report["mismatches"] == report["lost_rows"] == report["damaged_bytes"] == report["unchecked_rows"] == 0
    assert rows_after.boot[-1] == KILLS + 1, "the monitor did not start again and write on"
    assert (rows_after.boot == KILLS + 1).sum() > 230
    with capsys.disabled():
        print(f"\n{KILLS} kills: {len(rows_after)} rows kept in {len(report['boots'])} boots with rows, "
              f"rows wrongly accepted 0, committed rows lost 0")  # fmt: skip


def test_a_cut_costs_at_most_a_minute(tmp_path: Path, drive_signal: Path) -> None:
    with VirtualBoard(tmp_path / "board", settings=clamp_settings(), converter=PLAIN) as board:
        run_until(board, drive_signal, 0.0, 118.0)  # 77 s after the last change of verdict
        rows = boot_rows(tmp_path / "board", 1)
    assert rows[-1][0] / 1000 >= 118.0 - LOSS_BOUND_S
