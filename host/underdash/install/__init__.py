"""Putting the firmware on a board: compiled, compared by hash, copied, verified, started."""

from pathlib import Path

UDEV_RULE = Path(__file__).parent / "70-underdash.rules"
