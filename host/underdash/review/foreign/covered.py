"""When logs were recorded: their order, and the time that two of them both hold."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from underdash.problems import UsageError
from underdash.review.foreign.times import Begun
from underdash.review.rows import Floats, Ints

_TEN_S = 10  # a recorder that begins a file may repeat the last moments of the one before (chosen here)


@dataclass(frozen=True)
class Covered:
    """A log and the tens of seconds since 1970 in which it has rows, by its own clock's zone if it tells one; `begun`
    is None, and there are none, where it is not dated. first_s: the first row [s]."""

    path: Path
    begun: Begun | None
    first_s: float
    tens: Ints

    @classmethod
    def of(cls, path: Path, begun: Begun | None, t_s: Floats) -> "Covered":
        """t_s: of its rows, in any order [s]."""
        if begun is None or not len(t_s):
            return cls(path, None, 0.0, np.empty(0, np.int64))
        times_s = begun.origin_s + t_s
        return cls(path, begun, float(times_s.min()), np.unique(np.floor(times_s / _TEN_S).astype(np.int64)))


def in_order(logs: Sequence[Covered]) -> list[int]:
    """The places of the logs by their dates; as they are if not all are dated."""
    if not all(log.begun for log in logs):
        return list(range(len(logs)))
    return sorted(range(len(logs)), key=lambda at: logs[at].first_s + _ahead_s(logs[at], logs))


def no_overlap(logs: Sequence[Covered]) -> None:
    """UsageError where two dated logs have rows of the same time: what they hold would be counted twice."""
    dated = [log for log in logs if log.begun is not None]
    dated.sort(key=lambda log: log.first_s + _ahead_s(log, logs))
    going_on: list[tuple[Covered, Ints]] = []
    for log in dated:
        assert log.begun is not None
        tens = log.tens + _ahead_s(log, logs) // _TEN_S
        going_on = [(other, theirs) for other, theirs in going_on if theirs[-1] >= tens[0]]
        for other, theirs in going_on:
            both = np.intersect1d(theirs, tens, assume_unique=True)
            if len(both) > 1:
                first, last = (
                    log.begun.iso(float(ten) * _TEN_S - _ahead_s(log, logs) - log.begun.origin_s)
                    for ten in (both[0], both[-1] + 1)
                )
                raise UsageError(
                    f"{log.path}: holds the same time as {other.path}, within {first} to {last}, which would count "
                    "twice; leave one of them out, or cut off what both hold"
                )
        going_on.append((log, tens))


def _ahead_s(log: Covered, logs: Sequence[Covered]) -> int:
    """What to add to a log's times so that they compare with the others' [s]: nothing where all tell their zone, or
    none does; else what its own time is ahead of UTC, for clocks are all that the others have."""
    zones = [other.begun.utc_offset_s for other in logs if other.begun is not None]
    if log.begun is None or None not in zones:
        return 0
    return log.begun.utc_offset_s or 0
