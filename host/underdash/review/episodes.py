"""Episodes: what the owner is warned of, from onset to end, and the charge that each took."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from chargecore import engine
from underdash.review.charge_bounds import Supply, bounds
from underdash.review.rows import Floats, Rows
from underdash.review.stretches import Times, in_order, least, mean, rows_within

EPISODE_STATES = (engine.MARGINAL, engine.DISCHARGING, engine.OVERCHARGE)


def episodes(
    awake: Rows,
    spans: Iterable[tuple[int, tuple[float, float]]],
    offset: int,
    limits_mv: dict[str, int],
    supply: Supply,
    rested_volts: float | None,
    times: Times,
) -> list[dict[str, Any]]:
    """Each episode of a stretch, which begins at `offset` of all rows; one of no length is none.

    spans: of each run of equal state its first row and, of `spans_s`, its start and end [s].
    limits_mv: the thresholds in force [mV], [mA]. supply, rested_volts: what the volts are judged by where there is no
    clamp (charge_bounds). times: of the stretch's rows.
    """
    found: list[dict[str, Any]] = []
    t_s = in_order(awake.t_s)
    before_ah = 0.0
    for start, (start_s, end_s) in spans:
        if awake.state[start] not in EPISODE_STATES or end_s <= start_s:
            continue
        episode = _episode(awake, t_s, start, (start_s, end_s), offset, limits_mv, times)
        if episode["charge_ah"] is not None:
            row_s = episode["length_s"] / max(episode["last_row"] - episode["first_row"] + 1, 1)
            _with_clamp(episode, limits_mv["clamp_dead_ma"] / 1000, row_s)
        elif episode["kind"] == "discharging":
            first, last = episode["first_row"] - offset, episode["last_row"] - offset + 1
            volts = awake.volts[first:last]
            known = np.isfinite(volts)
            steps = times.within(t_s, episode["start_s"], first, last)
            given = bounds(volts[known], steps[known], episode["length_s"], rested_volts, supply, before_ah)
            if given is not None:
                episode["charge_low_ah"], episode["charge_high_ah"] = -round(given[1], 3), 0.0 - round(given[0], 3)
                episode["charge_basis"] = supply.basis
                before_ah += given[1]
        found.append(episode)
    return found


def _episode(
    awake: Rows,
    t_s: Floats,
    start: int,
    span_s: tuple[float, float],
    offset: int,
    limits_mv: dict[str, int],
    times: Times,
) -> dict[str, Any]:
    kind = engine.STATE_NAMES[int(awake.state[start])]
    start_s, end_s = span_s
    first, last = rows_within(t_s, start_s, end_s)
    inside = slice(first, last)
    amps = awake.amps[inside]
    step_s = times.within(t_s, start_s, first, last)
    mean_volts, mean_amps = mean(awake.volts[inside], step_s), mean(amps, step_s)
    lowest, highest = least(awake.low[inside]), least(-awake.high[inside], sign=-1)
    beyond: float | None = None
    if kind == "overcharge":
        beyond = None if highest is None else highest - limits_mv["overcharge_mv"] / 1000
    elif lowest is not None:
        beyond = limits_mv[f"{kind}_mv"] / 1000 - lowest
    return {
        "kind": kind,
        "start_s": round(start_s, 3),
        "length_s": round(end_s - start_s, 3),
        "shown_s": round(float(awake.t_s[start]), 3),
        "lowest_volts": lowest,
        "highest_volts": highest,
        "mean_volts": None if mean_volts is None else round(mean_volts, 3),
        "mean_amps": None if mean_amps is None else round(mean_amps, 2),
        "charge_ah": None if mean_amps is None else round(float(np.nansum(amps * step_s) / 3600), 3),
        "first_row": offset + first,
        "last_row": offset + max(last - 1, first),
        "charge_from": "volts" if mean_amps is None else "clamp",
        "charge_low_ah": None,
        "charge_high_ah": None,
        "charge_basis": None,
        "depth_volts": None if beyond is None else round(beyond, 3),
        "closes": [],
    }


def _with_clamp(episode: dict[str, Any], dead_a: float, row_s: float) -> None:
    """A clamp is right to within its dead band: less than that [A] has no sign. And a row at each end is in doubt."""
    off = (dead_a * episode["length_s"] + 2.0 * row_s * abs(episode["mean_amps"])) / 3600
    episode["charge_low_ah"] = round(episode["charge_ah"] - off, 3)
    episode["charge_high_ah"] = round(episode["charge_ah"] + off, 3)
    episode["charge_basis"] = f"clamp, give or take {dead_a:g} A"
