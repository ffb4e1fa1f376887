"""A log whose dips can be judged by hand, and the comparison in one call."""

from pathlib import Path

import numpy as np

from underdash.review import foreign
from underdash.review.what_if import Outcome, compare
from underdash.review.what_if import sets as choosing
from underdash.review.what_if.judged import Rows
from underdash.review.what_if.warned import Warned

PLAIN = foreign.Options()


def what_if(rows: Rows, *changes: str, sets: tuple[str, ...] = ()) -> Outcome:
    wanted = choosing.asked(changes, sets)
    return compare(rows, choosing.sets_beside(rows.thresholds, wanted), wanted.sweep)


def of_kind(warnings: list[Warned], kind: str) -> list[Warned]:
    return [one for one in warnings if one.kind == kind]


def log(path: Path, *stretches: tuple[int, float]) -> Path:
    """A log of (seconds, volts), a row a second; still before a crank, from then on as lively as a running engine."""
    volts = np.concatenate([np.full(seconds, level) for seconds, level in stretches])
    cranked = np.maximum.accumulate(volts < 11.3)
    volts += np.where(cranked, np.where(np.arange(len(volts)) % 2, 0.02, -0.02), 0.0)
    path.write_text("t_s,volts\n" + "".join(f"{t},{value:.3f}\n" for t, value in enumerate(volts, 1)))
    return path


DEFICITS = (
    (60, 12.6), (2, 10.0), (60, 14.0), (30, 12.85), (60, 14.0), (8, 12.4), (60, 14.0), (3, 12.4), (60, 14.0),
    (12, 13.1), (60, 14.0),
)  # fmt: skip


def with_clamp(path: Path, *stretches: tuple[float, float, float]) -> Path:
    """A log of (seconds, volts, amps), a row a second, or ten a second in a stretch of 1 s (a crank); above 12.9 V as
    lively as a running engine."""
    t_s, lines = 0.0, []
    for seconds, volts, amps in stretches:
        step = 0.1 if seconds <= 1.0 else 1.0
        for at in range(round(seconds / step)):
            level = volts + ((0.02 if at % 2 else -0.02) if volts > 12.9 or amps < -3.0 else 0.0)
            lines.append(f"{t_s:.1f},{level:.3f},{amps:.2f}\n")
            t_s += step
    path.write_text("t_s,volts,amps\n" + "".join(lines))
    return path
