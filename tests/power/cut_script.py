"""Runs cuts.py on a real MicroPython and returns what it counted."""

import json
import os
import subprocess
import sys
import sysconfig
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
JOURNAL = ("first start", "later starts", "rotation", "full ring", "whole drive")
FILES = ("settings store", "errors record")


def micropython(script: Path, *arguments: object, heap: str = "96M", timeout_s: float = 600.0) -> str:
    """What a script prints that runs on MicroPython beside the firmware and the scripts here."""
    interpreter = Path(sysconfig.get_path("scripts")) / "micropython"
    done = subprocess.run(
        [sys.executable, str(interpreter), "-X", f"heapsize={heap}", str(script), *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=timeout_s,
        env={**os.environ, "MICROPYPATH": f"{HERE.parents[1] / 'firmware' / 'lib'}:{HERE}"},
    )
    assert done.returncode == 0, done.stdout[-500:] + done.stderr
    return done.stdout


def cuts(workload: str, every: int = 1, seed: int = 1, fault: str = "") -> dict[str, Any]:
    """Cut a workload at every so manieth flash operation."""
    found: dict[str, Any] = json.loads(micropython(HERE / "cuts.py", workload, every, seed, fault))
    return found
