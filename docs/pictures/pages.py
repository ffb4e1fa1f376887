"""The pictures of docs/display.md: the firmware's own pages, drawn by the real MicroPython.

python docs/pictures/pages.py docs/pictures
"""

import sys
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "panel"))

import rhythms
from theatre import ABSENT, Picture, play, show

from underdash.virtual.display import save_picture


def minute() -> list[int]:
    """A minute of a car whose fan cuts in at a hot idle [mV]. Invented."""
    rng = np.random.default_rng(5)
    volts = np.concatenate([np.full(28, 13.9), 13.9 - 1.5 * (1 - np.exp(-np.arange(32) / 6.0))])
    return [round(float(v) * 1000) for v in volts + rng.normal(0, 0.03, 60)]


DRIVE = {"low_mv": 12380, "crank_mv": 9870, "deficit_as": 2410, "deficit_s": 734, "length_s": 3720}
LAST = {"low_mv": 13150, "crank_mv": 10120, "deficit_as": 1290, "deficit_s": 12, "length_s": 1800}
WELL: dict[str, Any] = {
    "bus_mv": 13940, "clamp_ma": 4200, "state": 3, "out_as": 7700, "in_as": 5290, "deficit_as": 2410, "low_s": 734,
    "drive": DRIVE, "last": LAST, "seconds": 15180, "boot": 212, "rows": 418233, "rows_dropped": 0,
    "free_kib": 1148, "heap_free": 121000, "errors": 0, "key": 1,
}  # fmt: skip
DEFICIT = {**WELL, "bus_mv": 12420, "clamp_ma": -14800, "state": 5, "warnings": 1}
BARE = {**WELL, "clamp_ma": ABSENT, "out_as": 0, "in_as": 0, "deficit_as": 0, "drive": {**DRIVE, "deficit_as": 0}}
SCALE = 3


def page(number: int, view: dict[str, Any], *, tick: int = -1, seconds: list[int] | None = None) -> Picture:
    """The picture of a page, counted from 1."""
    first = {"seconds": minute() if seconds is None else seconds}
    return play(first, *show(number, **view))[tick].picture


def pages() -> dict[str, Picture]:
    """Every picture, by its file's name."""
    steady = [13940 + step % 7 * 6 for step in range(60)]
    low = {**BARE, "bus_mv": 12010, "state": 1, "warnings": 32, "key": 0, "saving": 1}
    return {
        "page-volts": page(1, WELL, seconds=steady),
        "page-amps": page(2, WELL),
        "page-minute": page(3, DEFICIT),
        "page-drive": page(4, {**WELL, "state": 1, "key": 0}),
        "page-board": page(5, WELL),
        "page-volts-warning": page(1, DEFICIT),
        "page-amps-warning": page(2, {**DEFICIT, "warnings": 17}),
        "page-amps-no-clamp": page(2, BARE),
        "page-volts-notice": page(1, {**DEFICIT, "notice": "settings bad"}),
        "page-volts-low": page(1, low, seconds=[12010] * 60),
        "page-volts-unknown": page(1, {**BARE, "bus_mv": ABSENT, "state": 0, "warnings": 8}, seconds=[ABSENT] * 60),
    }


def main(target: Path) -> None:
    for name, picture in pages().items():
        save_picture(picture, target / f"{name}.png", scale=SCALE)
    rhythms.main(target)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
