"""Whether volts and amps can be right at all: the volts gone from the board's input, the two contradicting each other,
and a clamp that saw nothing of the starter's current."""

from typing import Any

import numpy as np

from chargecore import engine
from underdash.review.rows import Floats, Rows

GONE_V = 1.0  # no battery is so low while it turns a starter, or feeds a board (chosen here)
LEAST_GONE_S = 3.0  # for shorter a joint may just have bounced (chosen here)
_SENSOR = 1 << engine.WARNING_NAMES.index("sensor")


def gone(volts: Floats) -> Any:
    """Whether the volts [V] of each row are those of no battery, but of an input without one."""
    return volts < GONE_V


def sensors(rows: Rows, steps_s: Floats) -> dict[str, dict[str, Any] | None]:
    """Where the rows cannot be right, None each where nowhere: `gone` (the volts: below GONE_V, or unmeasured for as
    long as the engine warns of) and `contradict` (volts and amps, for as long as the engine warns of).

    Each: boot, t_s, first_row of the first such row; length_s of all; volts and amps of the first. steps_s: the time
    that each row stands for [s].
    """
    warned = (np.asarray(rows.warnings) & _SENSOR) != 0
    unmeasured = ~np.isfinite(rows.volts)
    no_volts = gone(rows.volts) | (warned & unmeasured)
    found = {"gone": no_volts, "contradict": warned & ~unmeasured & ~no_volts & np.isfinite(rows.amps)}
    return {
        name: _where(rows, steps_s, holds, LEAST_GONE_S if name == "gone" else 0.0) for name, holds in found.items()
    }


def _where(rows: Rows, steps_s: Floats, holds: Any, least_s: float) -> dict[str, Any] | None:
    length_s = float(steps_s[holds].sum())
    if not holds.any() or length_s < least_s:
        return None
    first = int(np.argmax(holds))
    return {
        "boot": int(rows.boot[first]),
        "t_s": round(float(rows.t_s[first]), 3),
        "length_s": round(length_s, 1),
        "first_row": first,
        "volts": _number(rows.volts[first]),
        "amps": _number(rows.amps[first]),
    }


def _number(value: Any) -> float | None:
    return round(float(value), 3) if np.isfinite(value) else None


def clamp_asleep(report: dict[str, Any]) -> dict[str, Any] | None:
    """The first crank during which the clamp never left its dead band, None if it always did: a starter takes 75 A
    and more (a wire catalogue)."""
    return _crank(report, lambda amps, dead_a: abs(amps) <= dead_a)


def clamp_reversed(report: dict[str, Any]) -> dict[str, Any] | None:
    """The first crank during which the clamp saw the battery charged, None if none."""
    return _crank(report, lambda amps, dead_a: amps > dead_a)


def _crank(report: dict[str, Any], wrong: Any) -> dict[str, Any] | None:
    dead_a = report["thresholds"]["clamp_dead_ma"] / 1000
    for drive in report["drives"]:
        for crank in drive["cranks"]:
            if crank["most_amps"] is not None and wrong(crank["most_amps"], dead_a):
                return {**crank, "drive": drive["number"]}
    return None


def doubt(report: dict[str, Any]) -> str | None:
    """Why volts or amps cannot be believed, in a few words; None where nothing says so."""
    if report["sensors"]["contradict"] is not None:
        return "volts and amps contradict each other"
    if clamp_reversed(report) is not None:
        return "by the clamp the battery was charged while the starter turned"
    if clamp_asleep(report) is not None:
        return "the clamp saw nothing of the starter's current"
    if report["sensors"]["gone"] is not None:
        return "for part of them there were no volts at the input"
    return None
