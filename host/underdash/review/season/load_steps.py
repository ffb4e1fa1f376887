"""What a drive's rows say of the way between the monitor and the rest of the car, beyond what its summary keeps.

A load that is switched on pulls the volts at the monitor down by its current times the resistance that both share, at
once, and lets them go as suddenly. A battery that has to help sags over seconds instead. So: how large are the
sharp steps of this drive, both down and up; how far are the volts down half a minute after such a fall; and what do the
key's own loads do before the starter turns?
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from chargecore import engine
from underdash.review.rows import Floats, Ints, Lines, Rows

_RUNS = np.isin(
    np.arange(len(engine.STATE_NAMES)), (engine.CHARGING, engine.MARGINAL, engine.DISCHARGING, engine.OVERCHARGE)
)
_SETTLED_S = 60.0  # after the crank: its charge is back
_LEAST_S = 300.0  # of a running engine; a shorter drive may have switched nothing (chosen here)
_SHARP_S = (4.0, 10.0)  # six rows of a second, give or take; in slower ones no step is sharp
_SEVERAL = 3  # so many steps down and as many up must be as large: one is a chance
_FLAT_V, _FLAT_SHARE = 0.03, 0.15  # before and after a sharp step the volts keep this near (chosen here)
_SEEN_V = 0.012  # a smaller fall may be noise: nothing is looked for after it (chosen here)
_LATER = (20, 21, 22, 23, 24)  # rows after a fall: by then a battery that has to help has sagged
_AROUND = 32  # rows: more than any of these looks before or behind
_KEY_A = (3.0, 60.0)  # what a key's loads may draw: less tells no resistance, more is a starter
_BEFORE_ROWS = 12  # before the crank: the key is on for seconds, in rows of one or of a tenth
_INRUSH_V = 0.7  # a starter lets the volts fall by as much from row to row: `crank_drop_mv`
_KEY_S = (1.5, 0.15)  # the key's level is looked for so long, and ends so long, before the starter [s]
_AWAKE_S, _REST_S = 5.0, 60.0  # a row longer than the one is of rest
_MIXED_V = 0.25  # a row that reaches further is of more than one thing: the key, the starter, the engine (chosen here)
_KEY_LINES, _KEY_LINES_S = 8, 2.5  # of a log's lines so many at most tell the key's level, within so long [s]
_AROUND_START_S = 12.0  # the starter turns so near to where the rows have it [s]
_LONGEST_S = 10.0  # nothing is known of a longer row
_SLOW_S = 1.5  # rows further apart hold key, starter and engine in one (chosen here)
_CRANK_ROWS = 400  # no crank is longer, in tenths of a second
_CHARGED_V = 13.0  # from here the engine runs

Steps = dict[str, float | None]


def load_steps(rows: Rows, drives: list[dict[str, Any]], lines: Lines | None = None) -> list[Steps]:
    """For each drive (its first_row to last_row), None where it does not tell:

    running_volts [V]: median with the engine running, a minute after the crank or later; whatever the verdict.
    running_s [s]: how many seconds of that.
    load_step_volts [V]: the third largest sharp fall or rise, the smaller of the two; None for less than five minutes,
    or in rows too slow for it.
    load_sag_volts [V]: how far the volts were down 20 to 24 s after the largest falls (median of three).
    load_step_amps [A]: by how much the battery's current fell with such falls (median); None without a clamp or steps.
    key_volts [V]: just before the starter turned, with the key's loads on.
    key_ohm [ohm]: what these pull the volts down by, over what they draw, with a clamp.
    temperature [C]: median, of logs that have one.

    lines: those of a log that the rows were made of. A row may hold key, starter and engine at once; they do not.
    """
    found: list[Steps] = []
    warmth = bool(np.isfinite(rows.temperature).any())
    for drive in drives:
        span = slice(drive["first_row"], drive["last_row"] + 1)
        runs = _RUNS[rows.state[span]] & (rows.t_s[span] > drive["start_s"] + _SETTLED_S)
        volts = sag = amp_steps = None
        running_s = float(np.diff(rows.t_s[span], prepend=rows.t_s[span.start])[runs].clip(0.0, _LONGEST_S).sum())
        if running_s >= _LEAST_S and _sharp_enough(rows.t_s[span][runs]):
            # A drive at a time, and the rows around it that its own look at: a season at once takes its memory in vain.
            first = max(span.start - _AROUND, 0)
            wide, inner = slice(first, span.stop + _AROUND), slice(span.start - first, span.stop - first)
            rise = _sharp(rows.volts[wide], rows.t_s[wide])
            # Where a window of seven holds a larger one, it is the same step.
            top = (np.abs(rise) == _largest_around(np.abs(rise))) & (rise != 0.0)
            rise = rise[inner]
            at = np.flatnonzero(runs & top[inner])
            at = at[np.argsort(rise[at])]
            falls, rises = -rise[at], rise[at][::-1]
            volts = float(max(min(_third(falls), _third(rises)), 0.0))
            largest = at[:_SEVERAL][falls[:_SEVERAL] >= _SEEN_V]
            places = largest + span.start
            sag, amp_steps = _median(-_later(rows.volts, places)), _median(-_difference_at(rows.amps, places))
        found.append({
            "running_volts": _median(rows.volts[span][runs]),
            "running_s": running_s,
            "load_step_volts": volts,
            "load_sag_volts": sag,
            "load_step_amps": amp_steps,
            **_key(rows, drive, lines),
            "temperature": _median(rows.temperature[span]) if warmth else None,
        })  # fmt: skip
    return found


def _sharp_enough(t_s: Floats) -> bool:
    """Whether most of these rows are near enough to each other for a sharp step."""
    return len(t_s) > 6 and bool(np.median(t_s[6:] - t_s[:-6]) <= _SHARP_S[1])


def _largest_around(sizes: Floats) -> Floats:
    """The largest of each seven rows: three before each, itself, three after."""
    padded = np.pad(sizes, 3)
    pairs = np.maximum(padded[:-1], padded[1:])
    fours = np.maximum(pairs[:-2], pairs[2:])
    return np.maximum(fours[:-3], fours[3:])


def _third(sizes: Floats) -> float:
    return float(sizes[_SEVERAL - 1]) if len(sizes) >= _SEVERAL else 0.0


def _median(values: Floats) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else None


def _shifted(values: Floats, by: int) -> Floats:
    """The value `by` rows on (or back); the ends repeat."""
    if by >= 0:
        return np.concatenate([values[by:], np.repeat(values[-1:], by)])[: len(values)]
    return np.concatenate([np.repeat(values[:1], -by), values[:by]])[: len(values)]


def _difference_at(values: Floats, places: Ints) -> Floats:
    """Mean of the three rows after each of these, less that of the three before."""
    return _mean_around(values, places, (1, 2, 3)) - _mean_around(values, places, (-1, -2, -3))


def _later(volts: Floats, places: Ints) -> Floats:
    """Mean of the rows _LATER than each of these, less that of the three before it [V]."""
    return _mean_around(volts, places, _LATER) - _mean_around(volts, places, (-1, -2, -3))


def _mean_around(values: Floats, places: Ints, offsets: tuple[int, ...]) -> Floats:
    around = np.clip(places[:, None] + np.array(offsets), 0, len(values) - 1)
    return np.asarray(values[around].mean(axis=1))


def _sharp(volts: Floats, t_s: Floats) -> Floats:
    """Rise across each row [V]; 0 where it is no sharp step: not flat before and after, or not rows of a second."""
    before, after = ([_shifted(volts, sign * k) for k in (1, 2, 3)] for sign in (-1, 1))
    rise = (after[0] + after[1] + after[2] - before[0] - before[1] - before[2]) / 3.0
    unrest = np.maximum(_reach(*before), _reach(*after))
    span_s = _shifted(t_s, 3) - _shifted(t_s, -3)
    flat = unrest <= np.maximum(_FLAT_V, _FLAT_SHARE * np.abs(rise))
    known: NDArray[np.bool_] = flat & (span_s >= _SHARP_S[0]) & (span_s <= _SHARP_S[1])  # False for nan
    return np.where(known, rise, 0.0)


def _reach(one: Floats, two: Floats, three: Floats) -> Floats:
    """From the lowest to the highest of each three."""
    return np.asarray(np.maximum(np.maximum(one, two), three) - np.minimum(np.minimum(one, two), three))


def _key(rows: Rows, drive: dict[str, Any], lines: Lines | None) -> Steps:
    """key_volts, key_ohm: from a log's lines just before the engine turned; else from the rows just before the
    starter's inrush, the steepest fall around the start; where a slow log missed that, from the rows that were awake
    before the drive.

    The verdict alone does not tell: behind a bad connection the key's loads already pull the volts to a crank's level.
    """
    crank = drive["cranks"][0] if drive["cranks"] else None
    start = int(crank["first_row"] if crank else drive["first_row"])
    first = max(start - _BEFORE_ROWS, 0)
    first += int(np.sum(rows.boot[first:start] != drive["boot"]))
    stop = start
    if crank:
        over_s = crank["start_s"] + crank["length_s"] + 0.1
        stop = int(np.searchsorted(rows.t_s[first : first + _CRANK_ROWS], over_s)) + first
    t_s, low, volts, amps = (part[first:stop] for part in (rows.t_s, rows.low, rows.volts, rows.amps))
    level = np.diff(t_s, prepend=t_s[:1] - _REST_S) < _AWAKE_S
    level &= ~(rows.high[first:stop] - low >= _MIXED_V)
    falls = low[:-1] - low[1:]
    turns = int(np.nanargmax(falls)) + 1 if np.isfinite(falls).any() else 0
    if turns and falls[turns - 1] >= _INRUSH_V:
        level &= (t_s > t_s[turns] - _KEY_S[0]) & (t_s <= t_s[turns] - _KEY_S[1])
        level[turns:] = False
    else:
        # With the engine's speed: not those after a start that no row caught, in which the battery runs the car.
        level &= (volts < _CHARGED_V) & ~(rows.rpm[first:stop] > 0.0)
        level[start - first :] = False
    # Rows of a second and less keep key and starter apart, and tell the key's level where it had settled.
    after = np.diff(rows.t_s[start : min(start + _CRANK_ROWS, int(drive["last_row"]) + 1)])
    slow = lines is not None and len(after) > 0 and float(np.median(after)) > _SLOW_S
    told = _key_of_lines(lines, drive["boot"], drive["start_s"]) if lines is not None and slow else None
    key_volts, drawn = told if told is not None else _median(volts[level]), _median(-amps[level])
    rested = drive["rested_volts"]
    if key_volts is None or rested is None or drawn is None or not _KEY_A[0] < drawn < _KEY_A[1]:
        return {"key_volts": key_volts, "key_ohm": None}
    return {"key_volts": key_volts, "key_ohm": (rested - key_volts) / drawn}


def _key_of_lines(lines: Lines, boot: int, start_s: float) -> float | None:
    """Volts [V] of the last lines before the engine turned, and before the volts left the key's level; None where the
    log begins later. Without the engine's speed only the volts tell."""
    of_boot = np.searchsorted(lines.boot, (boot, boot + 1))
    t_s, rpm = lines.t_s[slice(*of_boot)], lines.rpm[slice(*of_boot)]
    turns = np.flatnonzero((rpm[1:] > 0.0) & (rpm[:-1] == 0.0) & (t_s[1:] <= start_s + _AWAKE_S)) + 1
    start_s = float(t_s[turns[-1]]) if len(turns) else start_s
    first, stop = np.searchsorted(t_s, (start_s - _AROUND_START_S, start_s + _AWAKE_S)) + of_boot[0]
    t_s, volts, rpm = (column[first:stop] for column in (lines.t_s, lines.volts, lines.rpm))
    known = np.isfinite(volts)
    t_s, volts, rpm = t_s[known], volts[known], rpm[known]
    awake = np.flatnonzero(np.diff(t_s, prepend=-np.inf) < _AWAKE_S)
    if not len(awake):
        return None
    t_s, volts, rpm = t_s[awake], volts[awake], rpm[awake]
    left = (rpm > 0.0) | (volts >= _CHARGED_V)
    left[1:] |= np.abs(np.diff(volts)) >= _MIXED_V
    turned = int(np.argmax(left)) if left.any() else 0
    before = slice(max(turned - _KEY_LINES, 0), turned)
    return _median(volts[before][t_s[before] >= t_s[turned] - _KEY_LINES_S])
