"""A virtual board on the bench, and the commands as somebody types them."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np

from underdash.virtual.signal_file import AS_BUILT, Converter, write_signal

# The installed command is the same but for its start.
_START = "from underdash.cli import app, calibrate; app.main.add_command(calibrate.calibrate); app.main()"
COMMAND = [sys.executable, "-c", _START]


def levels(path: Path, volts: list[float], amps: list[float], seconds: list[float]) -> Path:
    """A signal of levels that stand for so long [s]."""
    counts = [round(length * 50) for length in seconds]
    write_signal(path, AS_BUILT.fractions(np.repeat(volts, counts), np.repeat(amps, counts)), period_ms=20)
    return path


def run(*words: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    words = ("calibrate", *words)
    return subprocess.run(
        [*COMMAND, *map(str, words)], cwd=cwd, capture_output=True, text=True, timeout=100, stdin=subprocess.DEVNULL
    )


def codes(volts: list[float], amps: list[float]) -> np.ndarray[Any, Any]:
    """Mean codes of the default converter, as the virtual board has it."""
    table = np.frombuffer(Converter().table(), "<u2", 4097).astype(float)
    return np.interp(AS_BUILT.fractions(np.array(volts), np.array(amps)) * 4096, np.arange(4097.0), table)
