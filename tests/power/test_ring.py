"""A full flash gives up its oldest segment, counts what went with it, and writes on."""

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

HERE = Path(__file__).parent


def test_the_oldest_goes_first_and_the_loss_is_counted() -> None:
    micropython = Path(sysconfig.get_path("scripts")) / "micropython"
    done = subprocess.run(
        [sys.executable, str(micropython), "-X", "heapsize=2M", str(HERE / "ring.py")],
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "MICROPYPATH": str(HERE.parents[1] / "firmware" / "lib")},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    counts, free = done.stdout.splitlines()
    segments, oldest_segment, oldest_row, dropped, last_row, continued, boot = map(int, counts.split())
    assert segments >= 3
    assert oldest_segment > 1, "the flash never filled"
    assert dropped == oldest_row > 0
    assert last_row == continued == 200000
    assert boot == 2
    assert int(free) >= 32768
