"""Samples gathered into rows as a board makes them, and judged by the engine."""

import math
from collections.abc import Iterator
from itertools import groupby

import numpy as np

from chargecore import engine
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK, elapsed_ms
from underdash.review.foreign.reading import Samples
from underdash.review.rows import RowLists

GAP_MS = 10_000  # a longer hole and the engine begins anew
_REST_GAP_MS = 65_535  # at rest
_HELD_STEP_S = 5.0  # held values are repeated so often: no step that the engine or the charge would take for a hole

Sample = tuple[int, float, int, int]  # boot, t_s, bus_mv, clamp_ma
Row = tuple[int, float, int, int, int, int]  # boot, t_s, low, mean, high [mV], clamp [mA]


def too_far_apart(samples: Samples, hold_s: float | None) -> str | None:
    """Why no verdict can be had from samples that stand alone, None if it can; `hold_s` given is an answer."""
    steps = np.diff(samples.t_s)
    steps = steps[steps > 0]
    step_s = float(np.median(steps)) if len(steps) else 0.0
    if hold_s is not None or step_s * 1000 <= GAP_MS:
        return None
    return (
        f"its rows are {step_s:.4g} s apart, too far for a verdict (at most {GAP_MS // 1000} s); if a value stands "
        f"until the next row, say for how long at most: --hold {math.ceil(step_s)}; if not, --hold 0"
    )


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


def seconds(samples: Iterator[Sample], single_below_mv: int) -> Iterator[Row]:
    """One row a second of the log; while the volts are at a crank's level, a row a sample."""
    for (boot, _), group in groupby(samples, key=lambda sample: (sample[0], math.floor(sample[1]))):
        second = list(group)
        if len(second) == 1:
            _, t_s, bus_mv, clamp_ma = second[0]
            yield boot, t_s, bus_mv, bus_mv, bus_mv, clamp_ma
            continue
        times = {sample[1] for sample in second}
        measured = [sample[2] for sample in second if sample[2] != ABSENT]
        if len(times) == len(second) and measured and min(measured) < single_below_mv:
            for _, t_s, bus_mv, clamp_ma in second:
                yield boot, t_s, bus_mv, bus_mv, bus_mv, clamp_ma
            continue
        amps = [sample[3] for sample in second if sample[3] != ABSENT]
        yield (
            boot,
            second[-1][1],
            min(measured, default=ABSENT),
            round(sum(measured) / len(measured)) if measured else ABSENT,
            max(measured, default=ABSENT),
            round(sum(amps) / len(amps)) if amps else ABSENT,
        )


def judged(rows: Iterator[Row], thresholds: Thresholds) -> RowLists:
    """Step the engine over the rows, anew for each boot."""
    gathered = RowLists()
    judge = engine.Engine(thresholds)
    current = 0
    last_ms = begun_ms = since_ms = 0
    before: tuple[int, int] | None = None
    for boot, t_s, low_mv, bus_mv, high_mv, clamp_ma in rows:
        t_ms = round(t_s * 1000)
        gap_ms = t_ms - last_ms
        if boot != current or gap_ms > (_REST_GAP_MS if judge.state == engine.REST else GAP_MS):
            # The engine does the same by itself, but its clock wraps: twelve days would look like none.
            judge.reset()
            current, begun_ms, before = boot, t_ms, None
        last_ms = t_ms
        wrapped = t_ms & TICKS_MASK
        state = judge.step(wrapped, low_mv, bus_mv, high_mv, clamp_ma)
        now = (state, judge.since_ms)
        if now != before:  # once for each verdict: since_ms wraps as well
            fresh = state == engine.UNKNOWN and judge.since_ms == 0
            since_ms = begun_ms if fresh else t_ms - elapsed_ms(wrapped, judge.since_ms)
            before = now
        gathered.add(boot, (t_ms, low_mv, bus_mv, high_mv, clamp_ma, state, judge.warnings), since_ms)
    return gathered
