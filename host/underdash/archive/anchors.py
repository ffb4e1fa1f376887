"""Anchors: a board has no clock, but whoever pulls it has one, and the board knows its boot and its uptime."""

import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol

from underdash.archive import records

FILE = "anchors"
# The board counts whole seconds, of the sample before: one for the count, one for a late sample (docs/console.md).
_COARSE_S = 2.0
_LATEST_S = 1e11  # thousands of years on; what a calendar can still print


@dataclass(frozen=True)
class Anchor:
    """One moment on two clocks.

    boot: the board's start. uptime_s: since its power-up [s]. unix_s: the computer's clock then [s since 1970, UTC],
    give or take uncertainty_s [s], if that clock was right. utc_offset_s: what its local time was ahead of UTC [s].
    """

    boot: int
    uptime_s: float
    unix_s: float
    uncertainty_s: float
    utc_offset_s: int

    @property
    def possible(self) -> bool:
        """Are these numbers that a clock can show?"""
        return (
            self.boot > 0
            and 0 <= self.uptime_s < _LATEST_S
            and 0 <= self.unix_s < _LATEST_S
            and 0 <= self.uncertainty_s < _LATEST_S
            and abs(self.utc_offset_s) < 86400
        )


class Timed(Protocol):
    """A board that can say which start it is in and for how long it has run."""

    def status(self) -> dict[str, Any]: ...


def take(board: Timed, clock: Callable[[], float] = time.time) -> Anchor:
    """Anchor the board's present boot. LinkError if it does not answer."""
    asked = clock()
    status = board.status()
    answered = max(clock(), asked)  # a clock that is set back meanwhile is told by later anchors
    offset = datetime.fromtimestamp(asked).astimezone().utcoffset()
    return Anchor(
        boot=int(status["boot"]),
        uptime_s=float(status["t_s"]) + _COARSE_S / 2,
        unix_s=round((asked + answered) / 2, 3),
        uncertainty_s=round((answered - asked) / 2 + _COARSE_S / 2, 3),
        utc_offset_s=int(offset.total_seconds()) if offset else 0,
    )


def append(folder: Path, anchor: Anchor) -> None:
    """Add an anchor to a board's folder; what stands there already stays as it is."""
    records.write(folder / FILE, [*records.lines(folder / FILE), records.sealed(asdict(anchor))])


def read(folder: Path) -> tuple[list[Anchor], int]:
    """(anchors in the order of boots and uptimes, how many lines are damaged) of a board's folder."""
    found: set[Anchor] = set()
    broken = 0
    for line in records.lines(folder / FILE):
        try:
            record = records.opened(line)
            if record is None:
                raise ValueError
            anchor = Anchor(
                boot=int(record["boot"]),
                uptime_s=float(record["uptime_s"]),
                unix_s=float(record["unix_s"]),
                uncertainty_s=float(record["uncertainty_s"]),
                utc_offset_s=int(record["utc_offset_s"]),
            )
            if not anchor.possible:
                raise ValueError
        except (ValueError, KeyError, TypeError, OverflowError):
            broken += 1
            continue
        found.add(anchor)
    return sorted(found, key=lambda anchor: (anchor.boot, anchor.uptime_s, anchor.unix_s)), broken
