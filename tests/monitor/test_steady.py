"""The steady state on the board's own interpreter: no allocation in a tick, no growth over days."""

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

HERE = Path(__file__).parent


def steady(*words: str, patience_s: float = 300.0) -> dict[str, int]:
    micropython = Path(sysconfig.get_path("scripts")) / "micropython"
    done = subprocess.run(
        [sys.executable, str(micropython), "-X", "heapsize=8M", str(HERE / "steady.py"), *words],
        capture_output=True,
        text=True,
        timeout=patience_s,
        env={**os.environ, "MICROPYPATH": str(HERE.parents[1] / "firmware" / "lib")},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    said = done.stdout.split()
    return dict(zip(said[::2], map(int, said[1::2]), strict=True))


def test_a_hundred_thousand_ticks_allocate_nothing() -> None:
    said = steady("locked", "100000")
    assert said["ticks"] == 100_000
    assert said["rows"] > 9_000
    # rest, crank, charging, discharging and overcharge were all in it
    assert said["states"] & 0b1101110 == 0b1101110 & ~(1 << 4)
    assert said["segment"] >= 2


def test_days_of_driving_and_parking_end_with_the_same_free_heap() -> None:
    """Across a wrap of the clock and many segments; `make bench` runs the thousand hours."""
    said = steady("soak", "12")
    assert said["wraps"] >= 1
    assert said["segment"] >= 2
    assert said["asleep"] > 100_000
    assert said["after"] == said["before"]
