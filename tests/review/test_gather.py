"""A log's rows gathered and judged as arrays are what a sample and a row at a time gives."""

import random
from itertools import groupby
from math import floor

import numpy as np
import pytest

from chargecore import engine
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK, elapsed_ms
from underdash.review.foreign import gather

Sample = tuple[int, float, int, int]


def log(chance: random.Random) -> list[Sample]:
    """Samples of levels that change now and then, some of them absent, some at once, with gaps of all lengths."""
    found: list[Sample] = []
    boot, t_s, mv, ma = 1, chance.choice((0.0, -5.0, 1e6)), 12600, 0
    for _ in range(chance.randrange(1, 700)):
        if chance.random() < 0.05:
            mv = chance.choice((9000, 11200, 12300, 12600, 13100, 13300, 14000, 15400))
            ma = chance.choice((0, -15000, 3000, -1200))
        if chance.random() < 0.01:
            boot, t_s = boot + 1, chance.choice((0.0, t_s - 3.0))
        elif chance.random() < 0.03:
            t_s += chance.choice(
                (10.0, 10.001, 30.0, 65.535, 65.536, 70.0, 4000.0, 2**30 / 1000, 2**30 / 1000 + 1.0, 2e6)
            )
        else:
            t_s += chance.choice((0.0, 0.1, 0.2, 0.5, 1.0, 1.0, 2.5))
        t_s = round(t_s, 6)
        absent = chance.random() < 0.03
        found.append(
            (boot, t_s, ABSENT if absent else mv + chance.randrange(40), ABSENT if chance.random() < 0.1 else ma)
        )
    return found


def one_by_one(samples: list[Sample], thresholds: Thresholds) -> list[tuple[int, ...]]:
    """(boot, t_ms, low, mean, high, clamp, state, warnings, since_ms) of each row, from docs/import.md."""
    rows: list[tuple[int, float, int, int, int, int]] = []
    for (boot, _), group in groupby(samples, key=lambda sample: (sample[0], floor(sample[1]))):
        second = list(group)
        volts = [mv for _, _, mv, _ in second if mv != ABSENT]
        amps = [ma for *_, ma in second if ma != ABSENT]
        own_times = len({t_s for _, t_s, _, _ in second}) == len(second)
        if own_times and volts and min(volts) < thresholds.crank_mv + thresholds.hysteresis_mv:
            for now, following in zip(second, [*second[1:], None], strict=True):
                if following is None or following[2:] != now[2:]:
                    rows.append((boot, now[1], now[2], now[2], now[2], now[3]))
            continue
        low, mean, high = (min(volts), round(sum(volts) / len(volts)), max(volts)) if volts else (ABSENT,) * 3
        rows.append((boot, second[-1][1], low, mean, high, round(sum(amps) / len(amps)) if amps else ABSENT))
    found = []
    judge = engine.Engine(thresholds)
    before: tuple[int, int] | None = None
    current = last_ms = begun_ms = since_ms = 0
    for boot, t_s, *measured in rows:
        t_ms = round(t_s * 1000)
        if boot != current or t_ms - last_ms > (65_535 if judge.state == engine.REST else 10_000):
            judge.reset()
            current, begun_ms, before = boot, t_ms, None
        last_ms = t_ms
        judge.step(t_ms & TICKS_MASK, *measured)
        if before != (judge.state, judge.since_ms):
            before = (judge.state, judge.since_ms)
            nothing_yet = judge.state == engine.UNKNOWN and judge.since_ms == 0
            since_ms = begun_ms if nothing_yet else t_ms - elapsed_ms(t_ms & TICKS_MASK, judge.since_ms)
        found.append((boot, t_ms, *measured, judge.state, judge.warnings, since_ms))
    return found


@pytest.mark.parametrize("seed", range(60))
def test_arrays_are_what_one_by_one_gives(seed: int) -> None:
    samples = log(random.Random(seed))
    thresholds = Thresholds()
    rows = gather.seconds(iter(samples), thresholds.crank_mv + thresholds.hysteresis_mv)
    verdicts = gather.judged(rows, thresholds)
    expected = one_by_one(samples, thresholds)
    assert np.array_equal(np.array([*vars(rows).values(), *verdicts]).T, np.array(expected))


def test_a_value_that_a_slow_recorder_repeats_is_no_crank_held_for_three_rows() -> None:
    """Half a second apart, one reading of a crank's dip stands four times: it was one reading."""
    volts = [*[12.5] * 40, *[9.2] * 4, *[14.0 + 0.02 * (t % 2) for t in range(400)]]
    samples = [(1, 0.5 * index, round(1000 * one), ABSENT) for index, one in enumerate(volts)]
    thresholds = Thresholds()
    rows = gather.seconds(iter(samples), thresholds.crank_mv + thresholds.hysteresis_mv)
    assert np.count_nonzero(rows.bus_mv == 9200) == 2
    state, warnings, _ = gather.judged(rows, thresholds)
    assert engine.CRANK in state and not (warnings & engine.WARN_WEAK_CRANK).any()
    truly = [(1, 0.5 * index, round(1000 * one) + index % 3, ABSENT) for index, one in enumerate(volts)]
    rows = gather.seconds(iter(truly), thresholds.crank_mv + thresholds.hysteresis_mv)
    assert (gather.judged(rows, thresholds)[1] & engine.WARN_WEAK_CRANK).any()


def test_a_long_log_is_judged_in_strides_with_the_same_verdicts() -> None:
    """Long enough that rows are passed: two hours of charging, a deficit, rest, and a gap of twelve days."""
    chance = np.random.default_rng(4)
    level = np.repeat([14000, 12300, 14100, 12650], [4000, 500, 2700, 3000]) + np.rint(chance.normal(0, 12, 10200))
    level[7200:] = 12650 + np.arange(3000) // 600
    times = np.arange(10200.0)
    times[9000:] += 2**30 / 1000 - 0.5
    samples = [(1, t_s, int(mv), ABSENT) for t_s, mv in zip(times.tolist(), level.tolist(), strict=True)]
    thresholds = Thresholds()
    rows = gather.seconds(iter(samples), thresholds.crank_mv + thresholds.hysteresis_mv)
    verdicts = gather.judged(rows, thresholds)
    assert np.array_equal(np.array([*vars(rows).values(), *verdicts]).T, np.array(one_by_one(samples, thresholds)))
    assert {engine.CHARGING, engine.DISCHARGING, engine.REST} <= set(verdicts[0].tolist())
