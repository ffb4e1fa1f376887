"""A drive of hours for the board's pins: conftest's short one again and again."""

from pathlib import Path

import numpy as np

from conftest import short_drive
from underdash.virtual.signal_file import FrontEnd, write_signal


def write_drive(path: Path, hours: float) -> None:
    """Write the signal file; every five minutes there is a crank, a deficit, and a rest."""
    volts, amps = short_drive()
    repeats = max(1, round(hours * 12))
    fractions = FrontEnd().fractions(volts, amps)
    write_signal(path, np.tile(fractions, (repeats, 1)), period_ms=20)
