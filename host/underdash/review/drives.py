"""One drive: from the crank (or, where none was seen, from charging volts) to rest or the end of the rows."""

from typing import Any

import numpy as np

from chargecore import engine
from underdash.review.charge_bounds import HIGHEST_RESTED_V, Supply
from underdash.review.cranks import crank
from underdash.review.episodes import episodes
from underdash.review.flow import Flow
from underdash.review.rows import Account, Floats, Rows
from underdash.review.sensors import gone
from underdash.review.set_point import by_speed, set_point
from underdash.review.stretches import Times, cut, in_order, rows_within, runs, spans_s

_ENGINE_RAN = (engine.CHARGING, engine.MARGINAL, engine.OVERCHARGE)
_CHARGED = (engine.CHARGING, engine.OVERCHARGE)
_DRIVEN = np.isin(np.arange(len(engine.STATE_NAMES)), (*_ENGINE_RAN, engine.CRANK))
_RESTED_ROWS = 4000  # the last minute and a half of rest is looked for among so many rows before a drive
_RESTED_S = 90.0
_SETTLES_S = 3.0  # a battery's volts come back in about as long after a crank (chosen here)
_MILLI = 0.0005  # half a millisecond, to which times are told [s]
_STARTER_A = 60.0  # less turns none: published starters draw 75 A and more
_TRIED_S = 60.0  # between tries of the starter, and after the last (chosen here)


def begins(states: Any, volts: Floats) -> int | None:
    """The first of these rows in which the engine ran: a crank was seen, or volts that only an
    alternator gives. What comes before was with the car parked. None where it ran in none, or in the last alone: a
    drive of no length is no drive. volts: of these rows [V]: where they were gone, no starter turned, and those that a
    battery at rest may have are no alternator's, though the verdict be marginal."""
    odd = (gone(volts) & (states == engine.CRANK)) | ((volts <= HIGHEST_RESTED_V) & (states == engine.MARGINAL))
    driven = np.flatnonzero(_DRIVEN[states] & ~odd)
    return int(driven[0]) if len(driven) and driven[0] < len(states) - 1 else None


def ended_s(awake: Rows) -> float:
    """When a stretch was over [s]: where rest began, if its last row is of rest; else with its last row."""
    return float(awake.since_s[-1] if awake.state[-1] == engine.REST else awake.t_s[-1])


def drive(
    rows: Rows, span: tuple[int, int], first: int, times: Times, account: Account, supply: Supply,
    capacity_ah: float | None,
) -> dict[str, Any]:  # fmt: skip
    """The drive in a stretch of rows that is not rest, as docs/report.md describes it; all but its number.

    span: the stretch's first row and one past its last; first: the drive's first row in it (`begins`); times: of
    the stretch's rows; account: the thresholds in force, and when the boots were.
    capacity_ah: the battery's [Ah], None if unknown.
    """
    limits = account.thresholds
    offset, stop = span
    awake = rows.part(slice(offset, stop))
    boot = int(awake.boot[0])
    alike = [(first + start, first + end) for start, end in cut(awake.state[first:], times.holes[first:])]
    spans = spans_s(awake, alike, times.holes)
    turned = [_turned(awake, start, end) for start, end in alike]
    # What follows a crank is of it up to the next one, or to a hole.
    cuts = [int(at) for at in np.flatnonzero(times.holes)]
    stops = [*(start for (start, _), yes in zip(alike, turned, strict=True) if yes), *cuts]
    cranks = [
        crank(
            rows,
            (offset + max((at for at in cuts if at <= start), default=-offset), offset + start, offset + end),
            min([stop, *(offset + at for at in stops if at >= end)]), span_s,
            limits.marginal_mv / 1000,
        )
        for (start, end), span_s, yes in zip(alike, spans, turned, strict=True)
        if yes
    ]  # fmt: skip
    ending = bool(awake.state[-1] == engine.REST)
    start_s, end_s = spans[0][0], ended_s(awake)
    last = len(awake) - 1 if ending else len(awake)
    driven = awake.part(slice(first, last))
    begin, until = rows_within(t_s := in_order(awake.t_s), start_s, end_s)
    inside = awake.part(slice(begin, until))
    step_s = times.within(t_s, start_s, begin, until)
    running = step_s[(inside.volts >= limits.marginal_mv / 1000) & (inside.state != engine.CRANK)]
    charged = float(running.sum()) >= limits.charging_ms / 1000
    stirred_s = float(awake.since_s[np.argmax(awake.state != engine.REST)])
    rested = _rested(rows, offset, boot, min(start_s, stirred_s))
    dips = [one["dip_volts"] for one in cranks if one["dip_volts"] is not None]
    known = supply.after_crank(max(dips, default=None))
    lines = account.lines.within(boot, start_s, end_s) if account.lines else None
    flow = Flow(step_s, inside.amps, inside.volts).report(capacity_ah)
    begun = [start for start, _ in alike]
    found = episodes(awake, zip(begun, spans, strict=True), offset, vars(limits), known, rested, times)
    in_state = _in_state(awake.state[begun], spans, turned)
    total_s = sum(in_state.values())
    return {
        "boot": boot,
        "dated": account.dated(boot, start_s),
        "dated_between": account.dated_between(boot, start_s),
        "start_s": round(start_s, 3),
        "end_s": round(end_s, 3),
        "length_s": round(end_s - start_s, 3),
        "first_row": offset + begin,
        "last_row": offset + max(until - 1, begin),
        "started_by": "crank" if awake.state[first] == engine.CRANK else "charging volts",
        "started": charged or _ran_on(inside, cranks, limits.discharging_mv / 1000) or not _failed(cranks, end_s),
        "charged": charged,
        "rested_volts": rested,
        **set_point(inside, _within(inside, begun, spans, awake.state, engine.CHARGING)),
        **_charging_after(awake, alike, spans, cranks, times),
        "idle": by_speed(inside, step_s, _within(inside, begun, spans, awake.state, engine.DISCHARGING), lines),
        **flow,
        "low_s": round(float(step_s[inside.volts < limits.discharging_mv / 1000].sum()), 1),
        "states": {name: round(seconds, 3) for name, seconds in in_state.items()},
        "shares": {name: round(seconds / total_s, 4) for name, seconds in in_state.items()},
        "cranks": cranks,
        "episodes": found,
        "shown": shown(driven),
    }


def _in_state(states: Any, spans: list[tuple[float, float]], turned: list[bool]) -> dict[str, float]:
    """Seconds in each state: of each run of rows its state, its start and end [s], and whether a starter turned in it;
    none did where the volts were gone, and then no verdict stands."""
    found = dict.fromkeys(engine.STATE_NAMES, 0.0)
    for state, (start_s, end_s), starter in zip(states.tolist(), spans, turned, strict=True):
        if state == engine.REST:  # the stretch's last row, which tells when rest began
            continue
        told = engine.UNKNOWN if state == engine.CRANK and not starter else state
        found[engine.STATE_NAMES[told]] += end_s - start_s
    return {name: seconds for name, seconds in found.items() if seconds > 0.0}


def _within(rows: Rows, begun: list[int], spans: list[tuple[float, float]], states: Any, state: int) -> Any:
    """Which rows are of a state with hindsight. begun, spans: of each run of rows the first, and its start and end [s];
    states: the verdicts in which `begun` are places."""
    t_s = in_order(rows.t_s)
    found = np.zeros(len(rows), dtype=bool)
    for start, span_s in zip(begun, spans, strict=True):
        if states[start] == state:
            found[slice(*rows_within(t_s, *span_s))] = True
    return found


def _turned(awake: Rows, start: int, end: int) -> bool:
    """Whether a starter turned in a run of rows of the crank's verdict. Not where the volts were gone, nor where the
    engine ran before and the clamp saw too little: a load's inrush behind a bad joint falls as far."""
    if awake.state[start] != engine.CRANK or gone(awake.volts[start:end]).all():
        return False
    amps = awake.amps[start:end]
    ran = start > 0 and awake.state[start - 1] in (*_ENGINE_RAN, engine.DISCHARGING)
    return not ran or not np.isfinite(amps).any() or bool(np.nanmax(np.abs(amps)) >= _STARTER_A)


def _ran_on(driven: Rows, cranks: list[dict[str, Any]], least_volts: float) -> bool:
    """Whether most of what follows the last crank has more volts than a battery alone holds: the engine started."""
    if not cranks:
        return False
    over_s = cranks[-1]["start_s"] + cranks[-1]["length_s"]
    after = driven.volts[driven.t_s > over_s + _SETTLES_S]
    after = after[np.isfinite(after)]
    return bool(len(after) and float(np.median(after)) >= least_volts)


def _failed(cranks: list[dict[str, Any]], end_s: float) -> bool:
    """Whether each crank, of a drive in which charging volts were never held, was soon followed by another or by the
    end: the engine seems not to have started. A drive on the battery alone lasts longer."""
    if not cranks:
        return False
    nexts = [*(one["start_s"] for one in cranks[1:]), end_s]
    waits = [until - one["start_s"] - one["length_s"] for one, until in zip(cranks, nexts, strict=True)]
    return bool(max(waits) <= _TRIED_S)


def _charging_after(
    awake: Rows, alike: list[tuple[int, int]], spans: list[tuple[float, float]], cranks: list[dict[str, Any]],
    times: Times,
) -> dict[str, float | None]:  # fmt: skip
    """charging_after_s, from the end of the last crank before it to where the first charging began [s]; None where no
    crank was seen before it, or a hole lies between. charging_within_s: what it may be out by [s], the longest of
    the rows from the one to the other."""
    unknown: dict[str, float | None] = {"charging_after_s": None, "charging_within_s": None}
    begun = (span_s[0] for (start, _), span_s in zip(alike, spans, strict=True) if awake.state[start] in _CHARGED)
    onset_s = next(begun, None)
    if onset_s is None:
        return unknown
    before = [one for one in cranks if one["start_s"] <= onset_s]
    if not before:
        return unknown
    over_s = before[-1]["start_s"] + before[-1]["length_s"]
    # A verdict that follows another may have begun with volts still on their way up.
    after_s = max(onset_s - over_s, before[-1]["recovery_s"] or 0.0)
    t_s = in_order(awake.t_s)
    first, last = np.searchsorted(t_s, over_s - _MILLI), np.searchsorted(t_s, over_s + after_s + _MILLI)
    if times.holes[first + 1 : last + 1].any():
        return unknown
    longest = float(np.diff(t_s[max(first - 1, 0) : last + 1]).max(initial=0.0))
    return {"charging_after_s": round(after_s, 3), "charging_within_s": round(longest, 3)}


def _rested(rows: Rows, offset: int, boot: int, start_s: float) -> float | None:
    """Median volts of the last minute and a half of rest before the drive [V], each row weighed by its
    time: a row of rest is a minute, and the key's own loads pull the last seconds down."""
    # A drive begins with its crank, which may come after rows without a verdict: look back from there.
    first = max(offset - _RESTED_ROWS, 0)
    earlier = np.flatnonzero(rows.t_s[first:offset] <= start_s - _RESTED_S)
    first += int(earlier[-1]) + 1 if len(earlier) else 0
    before = slice(first, offset)
    t_s, volts = rows.t_s[before], rows.volts[before]
    spans = np.diff(t_s, prepend=rows.t_s[first - 1] if first else 0.0)
    known = (rows.boot[before] == boot) & (rows.state[before] == engine.REST) & np.isfinite(volts) & ~gone(volts)
    known &= (t_s < start_s) & (t_s > start_s - _RESTED_S)
    if not known.any():
        return None
    volts, weights = volts[known], np.clip(spans[known], 0.0, 60.5)
    order = np.argsort(volts)
    passed = np.cumsum(weights[order])
    return round(float(volts[order][np.searchsorted(passed, passed[-1] / 2)]), 3)


def shown(driven: Rows) -> list[dict[str, Any]]:
    """What the board said at the time: t_s, state and the names of the warnings, at each change [s]."""
    return [
        {
            "t_s": round(float(driven.t_s[start]), 3),
            "state": engine.STATE_NAMES[int(driven.state[start])],
            "warnings": [
                name for bit, name in enumerate(engine.WARNING_NAMES) if int(driven.warnings[start]) >> bit & 1
            ],
        }
        for start, _ in runs(driven.state * 256 + driven.warnings)
    ]
