"""From judged rows to drives, cranks and episodes. Everything here restates verdicts; none is made."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np

from chargecore import engine
from underdash.review.rest import rests
from underdash.review.rows import Account, Rows

# What the owner is warned of, and what proves that an engine ran.
EPISODE_STATES = (engine.MARGINAL, engine.DISCHARGING, engine.OVERCHARGE)
_ENGINE_RAN = (engine.CHARGING, engine.MARGINAL, engine.OVERCHARGE)
_LONGEST_ROW_S = 5.0  # a longer step between rows is a hole, and no charge is counted across it


def analyse(source: str, rows: Rows, account: Account) -> dict[str, Any]:
    """The review as plain data, as docs/report.md describes it; all but its findings."""
    drives = []
    parked = []
    for boot, stretch in _awake(rows):
        ran = np.isin(stretch.state, _ENGINE_RAN).any()
        if ran or (stretch.state == engine.CRANK).any():
            drives.append(_drive(rows, boot, stretch, account.thresholds.discharging_mv / 1000))
        else:
            parked += _episodes(stretch)
    limits = {name: int(value) for name, value in vars(account.thresholds).items()}
    return {
        "source": source,
        "board": account.board,
        "rows": len(rows),
        "lost_rows": account.lost_rows,
        "mismatches": account.mismatches,
        "mismatch_examples": account.mismatch_examples,
        "unchecked_rows": account.unchecked_rows,
        "damaged_bytes": account.damaged_bytes,
        "clamp": bool(np.isfinite(rows.amps).any()),
        "boots": [{"boot": int(boot), "rows": int((rows.boot == boot).sum())} for boot in np.unique(rows.boot)],
        "thresholds": limits,
        "drives": drives,
        "parked_episodes": parked,
        "rests": rests(rows),
    }


def _runs(values: Any) -> Iterator[tuple[int, int]]:
    """(start, end) of each stretch of equal values."""
    edges = np.flatnonzero(np.diff(values)) + 1
    bounds = [0, *edges.tolist(), len(values)]
    yield from ((start, end) for start, end in pairwise(bounds) if end > start)


def _awake(rows: Rows) -> Iterator[tuple[int, Rows]]:
    """(boot, rows) of each stretch within one start of the board that is not rest."""
    resting = rows.boot * 2 + (rows.state == engine.REST)
    for start, end in _runs(resting):
        if rows.state[start] != engine.REST:
            # The row after it tells when its last condition ended.
            last = end + 1 if end < len(rows) and rows.boot[end] == rows.boot[start] else end
            yield int(rows.boot[start]), rows.part(slice(start, last))


def _ends_s(rows: Rows, end: int) -> float:
    """When a run that stops before row `end` was over: when the next verdict's condition began."""
    if end < len(rows):
        return float(rows.since_s[end])
    return float(rows.t_s[-1])


def _drive(rows: Rows, boot: int, awake: Rows, low_volts: float) -> dict[str, Any]:
    cranks = [
        {
            "start_s": round(float(awake.since_s[start]), 3),
            "length_s": round(float(_ends_s(awake, end) - awake.since_s[start]), 3),
            "lowest_volts": _least(awake.low[start:end]),
            "held_volts": _held(awake.low[start:end]),
        }
        for start, end in _runs(awake.state)
        if awake.state[start] == engine.CRANK
    ]
    first = int(np.flatnonzero(np.isin(awake.state, (*_ENGINE_RAN, engine.CRANK)))[0])
    ending = awake.state[-1] == engine.REST
    start_s = float(awake.since_s[first])
    end_s = float(awake.since_s[-1]) if ending else float(awake.t_s[-1])
    driven = awake.part(slice(first, len(awake) - 1 if ending else None))
    step_s = np.clip(np.diff(awake.t_s, prepend=awake.t_s[0]), 0.0, None)[first : first + len(driven)]
    step_s[step_s > _LONGEST_ROW_S] = 0.0
    charging = driven.volts[driven.state == engine.CHARGING]
    amps = np.where(np.isfinite(driven.amps), driven.amps, 0.0)
    clamp = bool(np.isfinite(driven.amps).any())
    low = driven.volts < low_volts
    return {
        "boot": boot,
        "start_s": round(start_s, 3),
        "length_s": round(end_s - start_s, 3),
        "rested_volts": _rested(rows, boot, start_s),
        "set_point_volts": round(float(np.nanmedian(charging)), 3) if len(charging) else None,
        "out_ah": round(float(-(np.minimum(amps, 0) * step_s).sum() / 3600), 3) if clamp else None,
        "in_ah": round(float((np.maximum(amps, 0) * step_s).sum() / 3600), 3) if clamp else None,
        "low_s": round(float(step_s[low].sum()), 1),
        "states": {
            name: round(float(step_s[driven.state == number].sum()), 1)
            for number, name in enumerate(engine.STATE_NAMES)
            if (driven.state == number).any()
        },
        "cranks": cranks,
        "episodes": _episodes(awake),
    }


def _episodes(awake: Rows) -> list[dict[str, Any]]:
    found = []
    for start, end in _runs(awake.state):
        if awake.state[start] not in EPISODE_STATES:
            continue
        start_s, end_s = float(awake.since_s[start]), _ends_s(awake, end)
        inside = (awake.t_s > start_s) & (awake.t_s <= end_s)
        volts, amps = awake.volts[inside], awake.amps[inside]
        step_s = np.diff(awake.t_s, prepend=awake.t_s[0])[inside]
        clamp = bool(np.isfinite(amps).any())
        found.append({
            "kind": engine.STATE_NAMES[int(awake.state[start])],
            "start_s": round(start_s, 3),
            "length_s": round(end_s - start_s, 3),
            "shown_s": round(float(awake.t_s[start]), 3),
            "lowest_volts": _least(awake.low[inside]),
            "highest_volts": _least(-awake.high[inside], sign=-1),
            "mean_volts": round(float(np.nanmean(volts)), 3) if np.isfinite(volts).any() else None,
            "mean_amps": round(float(np.nanmean(amps)), 2) if clamp else None,
            "charge_ah": round(float(np.nansum(amps * step_s) / 3600), 3) if clamp else None,
        })  # fmt: skip
    return found


def _rested(rows: Rows, boot: int, start_s: float) -> float | None:
    """Median volts of the last minute and a half of rest before the drive [V], each row weighed by its
    time: a row of rest is a minute, and the key's own loads pull the last seconds down."""
    spans = np.diff(rows.t_s, prepend=0.0)
    known = (rows.boot == boot) & (rows.state == engine.REST) & (rows.t_s < start_s) & np.isfinite(rows.volts)
    known &= rows.t_s > start_s - 90.0
    if not known.any():
        return None
    volts, weights = rows.volts[known], np.clip(spans[known], 0.0, 60.5)
    order = np.argsort(volts)
    passed = np.cumsum(weights[order])
    return round(float(volts[order][np.searchsorted(passed, passed[-1] / 2)]), 3)


def _held(low: Any) -> float | None:
    """What the battery held for three rows in succession [V], as the engine reckons it."""
    if len(low) < 3:
        return None
    return _least(np.max([low[:-2], low[1:-1], low[2:]], axis=0))


def _least(values: Any, sign: int = 1) -> float | None:
    """Least of what was measured, times `sign`; None if nothing was (NaN is no JSON)."""
    return round(sign * float(np.nanmin(values)), 3) if np.isfinite(values).any() else None
