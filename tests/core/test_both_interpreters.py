"""The same files, the same vectors, two interpreters: not a letter may differ."""

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from chargecore import engine

HERE = Path(__file__).parent
LIB = HERE.parents[1] / "firmware" / "lib"
MICROPYTHON = Path(sysconfig.get_path("scripts")) / "micropython"


def output(*command: object) -> list[str]:
    environment = {**os.environ, "MICROPYPATH": str(LIB), "PYTHONPATH": str(LIB)}
    done = subprocess.run([*map(str, command)], capture_output=True, text=True, timeout=120, env=environment)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_identical_outputs(seed: int) -> None:
    desk = output(sys.executable, HERE / "replay.py", seed)
    board = output(sys.executable, MICROPYTHON, HERE / "replay.py", seed)
    assert desk == board
    rows = [line.split() for line in desk if line.split()[0] in ("walk", "day", "volts", "faults", "hover", "wrap")]
    assert len(rows) > 4000
    assert {int(row[3]) for row in rows} == set(range(len(engine.STATE_NAMES))), "a state is never reached"
    seen = 0
    for row in rows:
        seen |= int(row[4])
    assert seen == (1 << len(engine.WARNING_NAMES)) - 1, "a warning is never raised"
    # Across the wrap of the clock the day runs as it does elsewhere.
    day, wrap = ([row[3] for row in rows if row[0] == name] for name in ("day", "wrap"))
    assert day == wrap
