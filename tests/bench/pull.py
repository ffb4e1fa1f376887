"""How fast a pull is, verification included, against `mpremote fs cp` of the same files from the
same virtual board over the same line: `python tests/bench/pull.py`. Exit code 1 below the goal.

The virtual line is a pseudo-terminal, faster than USB; the ratio counts, not the bytes per second.
"""

import subprocess
import sys
import sysconfig
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from conftest import clamp_settings
from link.long_drive import write_drive
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.virtual.board import VirtualBoard

GOAL = 5.0
HOURS = 6.0
MPREMOTE = str(Path(sysconfig.get_path("scripts")) / "mpremote")


def main() -> int:
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        write_drive(folder / "long.signal", HOURS)
        with VirtualBoard(folder / "board", settings=clamp_settings()) as board:
            board.start(folder / "long.signal", fast=True)
            board.wait_for_end(600.0)
            with Board(board.port) as link:
                link.ready()
                began = time.monotonic()
                pulled = pull(link, folder / "archive")
                ours_s = time.monotonic() - began
                health = link.health()
            size = pulled.total_bytes
            print(f"pull:            {size} bytes in {ours_s:.2f} s, {size / ours_s / 1000:.0f} kB/s, verified; "
                  f"a sample was at most {health['late_ms']} ms late, {health['skipped']} skipped")  # fmt: skip
            (folder / "copied").mkdir()
            began = time.monotonic()
            subprocess.run(
                [sys.executable, MPREMOTE, "connect", board.port, "resume", "fs", "cp", "-r", ":/journal",
                 str(folder / "copied")], check=True, stdout=subprocess.DEVNULL, timeout=1200)  # fmt: skip
            theirs_s = time.monotonic() - began
        copied = sum(path.stat().st_size for path in (folder / "copied").rglob("*.seg"))
        print(f"mpremote fs cp:  {copied} bytes in {theirs_s:.2f} s, {copied / theirs_s / 1000:.0f} kB/s, not verified")
        ratio = (size / ours_s) / (copied / theirs_s)
        print(f"ratio:           {ratio:.1f} (goal: {GOAL:g})")
        return 0 if ratio >= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
