"""Samples gathered into rows as a board makes them, and judged by the engine."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from chargecore import engine
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK
from underdash.review.foreign.reading import Samples
from underdash.review.rows import GAP_MS, REST_GAP_MS, Ints, Judging
from underdash.review.stride import stride

_HIGHEST = 1 << 40  # above all volts
_PARKED_S, _LEAST_NEAR = 30.0, 60  # rows so far apart may be a parked car's, if so many steps are nearer (chosen here)
_HELD_STEP_S = 5.0  # held values are repeated so often: no step that the engine or the charge would take for a hole

Sample = tuple[int, float, int, int]  # boot, t_s, bus_mv, clamp_ma


@dataclass(frozen=True)
class Gathered:
    """Rows as a board makes them, equally long arrays: boot, end [ms], lowest, mean and highest volts [mV], clamp [mA];
    ABSENT where nothing was measured."""

    boot: Ints
    t_ms: Ints
    low_mv: Ints
    bus_mv: Ints
    high_mv: Ints
    clamp_ma: Ints


def too_far_apart(samples: Samples, hold_s: float | None) -> str | None:
    """Why no verdict can be had from samples that stand alone, None if it can; `hold_s` given is an answer."""
    steps = np.diff(samples.t_s)
    steps = steps[steps > 0]
    step_s = float(np.median(steps)) if len(steps) else 0.0
    if hold_s is not None or step_s * 1000 <= GAP_MS:
        return None
    # A recorder may write a row a minute while the car is parked: then a drive's rows are few, and near to each other.
    near = steps * 1000 <= GAP_MS
    parked = _PARKED_S <= float(np.median(steps[~near])) <= REST_GAP_MS / 1000
    if parked and near.sum() >= _LEAST_NEAR:
        return None
    return (
        f"its rows are {step_s:.4g} s apart, too far for a verdict (at most {GAP_MS // 1000} s); if a value stands "
        f"until the next row, say for how long at most: --hold {math.ceil(step_s)}; if not, --hold 0"
    )


def step_mv(samples: Samples) -> int | None:
    """The least by which the volts move from one sample to the next [mV]; None where they never do."""
    known = samples.bus_mv[samples.bus_mv != ABSENT]
    steps = np.abs(np.diff(known))
    return int(steps[steps > 0].min()) if steps.any() else None


def held(samples: Samples, hold_s: float) -> Iterator[Sample]:
    """The samples, each value standing until the next one of its column, at most `hold_s` [s]."""
    columns = (samples.boot.tolist(), samples.t_s.tolist(), samples.bus_mv.tolist(), samples.clamp_ma.tolist())
    if not hold_s:
        yield from zip(*columns, strict=True)
        return
    last: tuple[int, float] | None = None
    volts, amps = (ABSENT, 0.0), (ABSENT, 0.0)
    for boot, t_s, bus_mv, clamp_ma in zip(*columns, strict=True):
        if last and last[0] == boot:
            until = min(t_s, last[1] + hold_s)
            at = last[1] + _HELD_STEP_S
            while at < until:
                yield boot, at, _standing(volts, at, hold_s), _standing(amps, at, hold_s)
                at += _HELD_STEP_S
            if until < t_s:
                yield boot, until, _standing(volts, until, hold_s), _standing(amps, until, hold_s)
        else:
            volts, amps = (ABSENT, 0.0), (ABSENT, 0.0)
        volts = volts if bus_mv == ABSENT else (bus_mv, t_s)
        amps = amps if clamp_ma == ABSENT else (clamp_ma, t_s)
        last = (boot, t_s)
        yield boot, t_s, _standing(volts, t_s, hold_s), _standing(amps, t_s, hold_s)


def _standing(value: tuple[int, float], at: float, hold_s: float) -> int:
    return value[0] if at - value[1] <= hold_s else ABSENT


def seconds(samples: Iterable[Sample], single_below_mv: int) -> Gathered:
    """One row a second of the log; while the volts are at a crank's level, a row a sample, if each has its own time:
    but a sample that repeats the one before is a recorder's that was slower than its lines, and makes no second row."""
    columns = list(zip(*samples, strict=True))
    boot, bus_mv, clamp_ma = (np.array(columns[index], np.int64) for index in (0, 2, 3))
    t_s = np.array(columns[1], np.float64)
    second = np.floor(t_s)
    begins = np.concatenate([[True], (boot[1:] != boot[:-1]) | (second[1:] != second[:-1])])
    starts = np.flatnonzero(begins)
    low_mv = np.minimum.reduceat(np.where(bus_mv == ABSENT, _HIGHEST, bus_mv), starts)
    at_once = np.concatenate([[False], t_s[1:] == t_s[:-1]]) & ~begins
    alone = (low_mv < single_below_mv) & ~np.logical_or.reduceat(at_once, starts)
    low_mv[low_mv == _HIGHEST] = ABSENT
    gathered = (
        low_mv,
        _means(bus_mv, starts),
        np.maximum.reduceat(bus_mv, starts),  # ABSENT is below everything
        _means(clamp_ma, starts),
    )
    group = np.cumsum(begins) - 1
    repeated = np.append((bus_mv[1:] == bus_mv[:-1]) & (clamp_ma[1:] == clamp_ma[:-1]), False)
    rows = np.append(begins[1:], True) | (alone[group] & ~repeated)
    group = group[rows]
    single = alone[group]
    each = (bus_mv, bus_mv, bus_mv, clamp_ma)
    values = (np.where(single, one[rows], whole[group]) for one, whole in zip(each, gathered, strict=True))
    return Gathered(boot[rows], np.rint(t_s[rows] * 1000).astype(np.int64), *values)


def _means(values: Ints, starts: Ints) -> Ints:
    """The mean of what was measured from each start to the next; ABSENT where nothing was."""
    known = values != ABSENT
    count = np.add.reduceat(known.astype(np.int64), starts)
    means = np.rint(np.add.reduceat(np.where(known, values, 0), starts) / np.maximum(count, 1)).astype(np.int64)
    return np.where(count > 0, means, ABSENT)


def judged(
    rows: Gathered, thresholds: Thresholds, judging: Judging = stride, key: Ints | None = None
) -> tuple[Ints, Ints, Ints]:
    """(state, warnings, since_ms) of each row: the engine, anew for each boot and after each gap.

    key: 1 on, 0 off, ABSENT not known, for each row; None where nothing tells of it.
    """
    boot, t_ms, *measured = vars(rows).values()
    count = len(t_ms)
    gap_ms = np.diff(t_ms, prepend=t_ms[:1])
    # After a gap the engine begins anew by itself, but its clock wraps: twelve days would look like none.
    anew = (gap_ms > REST_GAP_MS) | (np.diff(boot, prepend=0) != 0)
    turned = np.diff(np.full(count, ABSENT) if key is None else key, prepend=0) != 0
    bounds = np.append(np.flatnonzero(anew | turned), count).tolist()
    verdicts = np.empty((3, count), np.int64)
    judge = engine.Engine(thresholds)
    for start, end in pairwise(bounds):
        if anew[start]:
            judge.reset()
        judge.key = ABSENT if key is None else int(key[start])
        part = slice(start, end)
        verdicts[:, part] = judging(judge, t_ms[part] & TICKS_MASK, *(column[part] for column in measured))
    state, warnings, since_ms = verdicts
    anew[1:] |= (gap_ms[1:] > GAP_MS) & (state[:-1] != engine.REST)
    # Once for each verdict: since_ms wraps as well, and a verdict may last longer than that.
    fresh_verdict = anew.copy()
    for told in (state, since_ms):
        fresh_verdict[1:] |= told[1:] != told[:-1]
    at = np.flatnonzero(fresh_verdict)
    begun_ms = t_ms[np.maximum.accumulate(np.where(anew, np.arange(count), 0))[at]]
    nothing_yet = (state[at] == engine.UNKNOWN) & (since_ms[at] == 0)
    onset_ms = np.where(nothing_yet, begun_ms, t_ms[at] - ((t_ms[at] - since_ms[at]) & TICKS_MASK))
    return state, warnings, np.repeat(onset_ms, np.diff(at, append=count))
