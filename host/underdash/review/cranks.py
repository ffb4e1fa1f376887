"""The starter's turns: how deep, how long, how soon recovered, and what that says of battery and cables."""

from typing import Any

import numpy as np

from underdash.review.rows import Floats, Rows
from underdash.review.stretches import least

_WHOLE_S = 0.9  # a row at least so long is a second's, not one of the tenths around a crank [s]
_LOOK_ROWS = 200  # the first whole second is looked for so far: a crank's tenths are followed for seconds
# At the end of its range a clamp stands still while the volts go on moving. A journal's step is 0.05 A; 0.15 V are 5 A
# to 50 A at 30 to 3 mohm (chosen here).
_STANDS_A, _MOVES_V = 0.06, 0.15
_LEAST_A = 20.0  # less than this turns no starter (published: 75 A and more): no resistance from a row with it


def crank(
    rows: Rows, places: tuple[int, int, int], stop: int, span_s: tuple[float, float], marginal_volts: float
) -> dict[str, Any]:
    """The crank in some rows, its start and end in span_s [s]; `stop` is one past the last row before the next crank, a
    hole, or the end of its drive.

    places: of the first row since the last hole before it, of its own first, and of the one after it. marginal_volts:
    from here on volts are those of charging [V].
    """
    begin_s, over_s = span_s
    since, start, end = places
    low = rows.low[start:end]
    held = _held(low)
    before = _before(rows, since, start)
    dip = before - held if before is not None and held is not None else None
    clipped = _clipped(rows.amps[start:end], rows.volts[start:end])
    return {
        "start_s": round(begin_s, 3),
        "length_s": round(over_s - begin_s, 3),
        "lowest_volts": least(low),
        "held_volts": held,
        "before_volts": before,
        "dip_volts": None if dip is None else round(dip, 3),
        "recovery_s": _recovery(rows, end, stop, over_s, marginal_volts),
        "after_volts": _after(rows, end, stop),
        "resistance_ohm": None if clipped else _resistance(rows, start, end, begin_s),
        "most_amps": _most(rows.amps[start:end]),
        "clipped": clipped,
        "first_row": start,
    }


def _most(amps: Floats) -> float | None:
    """The current furthest from zero [A], with its sign; None without a clamp."""
    known = amps[np.isfinite(amps)]
    return round(float(known[np.argmax(np.abs(known))]), 1) if len(known) else None


def _clipped(amps: Floats, volts: Floats) -> bool:
    """Whether the clamp was at the end of its range: it stands still at its most while the volts do not."""
    if not np.isfinite(amps).any():
        return False
    most = amps[np.nanargmax(np.abs(amps))]
    at_most = volts[(np.abs(amps - most) <= _STANDS_A) & np.isfinite(volts)]
    return bool(abs(most) >= _LEAST_A and len(at_most) > 1 and np.ptp(at_most) >= _MOVES_V)


def _resistance(rows: Rows, start: int, end: int, begin_s: float) -> float | None:
    """What volts and amps both changed by, from the row before the crank to its rows, as a quotient [ohm]: their
    median; None without a clamp, or without such rows.

    A row's volts and amps are means over the same span, so the quotient holds also for one that is only partly of the
    crank; but not for one in which the volts were above those before, as when the alternator takes over.
    """
    last = start - 1
    if last < 0 or rows.boot[last] != rows.boot[start] or begin_s - rows.t_s[last] > _WHOLE_S:
        return None
    fall = rows.volts[last] - rows.volts[start:end]
    drawn = rows.amps[last] - rows.amps[start:end]
    known = (drawn >= _LEAST_A) & (fall > 0.0) & (rows.high[start:end] <= rows.high[last])
    return round(float(np.median(fall[known] / drawn[known])), 5) if known.any() else None


def _held(low: Floats) -> float | None:
    """What the battery held for three rows in succession [V], as the engine reckons it."""
    if len(low) < 3:
        return None
    three = np.max([low[:-2], low[1:-1], low[2:]], axis=0)
    if not np.isfinite(three).any():
        return None
    return round(float(np.nanmin(three)), 3)


def _before(rows: Rows, since: int, start: int) -> float | None:
    """Volts before the starter turned [V]: the most of the two rows before, none from before row `since`, and of the
    first row's highest sample, from which the engine too measures the fall."""
    two = slice(max(start - 2, since, 0), start)
    before = rows.volts[two][rows.boot[two] == rows.boot[start]]
    return least(-np.append(before, rows.high[start]), sign=-1)


def _recovery(rows: Rows, end: int, stop: int, over_s: float, limit: float) -> float | None:
    """From the end of the crank to the beginning of the first row of `limit` [V] and more [s]; None if none came."""
    back = np.flatnonzero(rows.volts[end:stop] >= limit)
    return round(max(float(rows.t_s[end + back[0] - 1]) - over_s, 0.0), 3) if len(back) else None


def _after(rows: Rows, end: int, stop: int) -> float | None:
    """Volts of the first whole second after the crank [V]."""
    t_s = rows.t_s[end - 1 : min(end + _LOOK_ROWS, stop)]
    whole = np.flatnonzero(np.diff(t_s) >= _WHOLE_S)
    return least(rows.volts[end + whole[0] : end + whole[0] + 1]) if len(whole) else None
