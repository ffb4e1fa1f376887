"""Striding against stepping: state, warnings and since_ms of every row, and every field of the engine after."""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from evenings import Ints, evening, evenings
from hypothesis import given, settings
from hypothesis import strategies as st

from chargecore import engine, thresholds
from chargecore.engine import Engine
from chargecore.units import ABSENT, TICKS_MASK
from conftest import measured_data
from underdash.review import stride as striding
from underdash.review.foreign import from_csv
from underdash.review.stride import stride

KEYS = (ABSENT, 0, 1)


def stepped(judge: Engine, rows: Ints) -> Ints:
    """The oracle: (state, warnings, since_ms) after each row, one step at a time."""
    said = []
    for row in rows.tolist():
        judge.step(*row)
        said.append((judge.state, judge.warnings, judge.since_ms))
    return np.array(said, dtype=np.int64).reshape(-1, 3).T


def assert_alike(slow: Engine, fast: Engine, rows: Ints) -> None:
    """Both engines over the same rows: the same said of each, and nothing different kept."""
    assert slow.snapshot() == fast.snapshot(), "they must start alike"
    fast.key = slow.key
    expected, got = stepped(slow, rows), np.array(stride(fast, *rows.T))
    differ = np.flatnonzero((expected != got).any(axis=0))
    assert not len(differ), f"row {differ[0]}: stepped {expected[:, differ[0]]}, strode {got[:, differ[0]]}"
    kept = {
        name: (was, is_now)
        for name, was, is_now in zip(engine.FIELDS, slow.snapshot(), fast.snapshot(), strict=True)
        if was != is_now
    }
    assert not kept, f"(stepped, strode) {kept}"
    assert {type(value) for value in fast.snapshot()} == {int}


def both(limits: thresholds.Thresholds | None = None) -> tuple[Engine, Engine]:
    limits = limits or thresholds.Thresholds()
    return Engine(limits), Engine(limits)


@contextmanager
def tuned(block: int, short: int, patience: int) -> Iterator[None]:
    """Other choices of what is worth passing. With few rows worth it the passing itself is tried most."""
    with mock.patch.multiple(striding, _BLOCK=block, _SHORT=short, _PATIENCE=patience):
        yield


# -- random and adversarial signals -----------------------------------------------------------

DURATIONS = [name for name, *_ in thresholds.FIELDS if name.endswith("_ms")]


@st.composite
def limits_of_all_kinds(draw: st.DrawFn) -> thresholds.Thresholds:
    """Consistent thresholds: the defaults with a few names changed, each as far as the others let it."""
    limits = thresholds.Thresholds()
    for name, _, lowest, highest in draw(st.lists(st.sampled_from(thresholds.FIELDS), max_size=6)):
        before = getattr(limits, name)
        bounds = (lowest, min(highest, 5 * lowest)) if name in DURATIONS else (lowest, highest)
        setattr(limits, name, draw(st.integers(*bounds)))
        if thresholds.check(vars(limits)):
            setattr(limits, name, before)
    return limits


def edges(limits: thresholds.Thresholds) -> list[int]:
    """Volts at each threshold, at the ends of its hysteresis, and 1 mV to either side [mV]."""
    names = [name for name, *_ in thresholds.FIELDS if name.endswith("_mv")][:7]
    band = limits.hysteresis_mv
    return [getattr(limits, name) + part * band + by for name in names for part in (-1, 0, 1, 2) for by in (-1, 0, 1)]


@st.composite
def signals(draw: st.DrawFn, limits: thresholds.Thresholds, clamp: bool | None = None) -> Ints:
    """Rows in stretches of one kind, each level at an edge or an everyday one, with holes of all sizes."""
    volts = st.sampled_from(edges(limits) + [14000, 12600, 13700, 9000] * 8)
    dead = limits.clamp_dead_ma
    amps = st.sampled_from(
        [0, 0, 3000, -9000, *(s * (d + by) for d in (dead, dead // 2) for s in (1, -1) for by in (-1, 0, 1))]
    )
    lengths = st.sampled_from([1, 2, 3, 5, 10, 20, 60, 150])
    dwell = st.sampled_from([getattr(limits, name) for name in DURATIONS] + [3000, 10000, 60000])
    holes = st.sampled_from([0, 1, 2999, 3000, 9999, 10000, 10001, 60000, 65535, 65536, 1 << 29])
    still = limits.still_mv
    rng = np.random.default_rng(draw(st.integers(0, 1 << 30)))
    has_clamp = draw(st.booleans()) if clamp is None else clamp
    parts = []
    for _ in range(draw(st.integers(1, 12))):
        count = draw(lengths)
        period = draw(st.sampled_from([1000, 1000, 1000, 100, 250, 5000, 60000]))
        if draw(st.integers(0, 3)) == 0:  # so long that a dwell just runs out, or just not
            count = min(200, draw(dwell) // period + draw(st.integers(-1, 1)))
        count = max(1, count)
        length = np.full(count, period)
        if draw(st.integers(0, 5)) == 0:
            length[rng.integers(count)] = draw(holes)
        if draw(st.integers(0, 5)) == 0:
            length = rng.integers(1, 2 * period, count)
        # One level or two in turn, still or moving just so or as a running engine does.
        levels = np.array(draw(st.lists(volts, min_size=1, max_size=2)))
        bus = rng.choice(levels, count) + rng.integers(-1, 2, count) * draw(st.sampled_from([0, 0, 1, still, 40]))
        spread = draw(st.sampled_from([0, 1, still // 2, still // 2 + 1, 40]))
        low, high = bus - rng.integers(0, spread + 1, count), bus + rng.integers(0, spread + 1, count)
        flow = rng.choice(np.array(draw(st.lists(amps, min_size=1, max_size=2))), count)
        if not has_clamp:
            flow[:] = ABSENT
        if draw(st.integers(0, 7)) == 0:
            gone = rng.random(count) < draw(st.sampled_from([0.05, 1.0]))
            low[gone] = bus[gone] = high[gone] = ABSENT
        if draw(st.integers(0, 9)) == 0:
            flow[rng.random(count) < draw(st.sampled_from([0.05, 1.0]))] = ABSENT
        parts.append(np.stack([length, low, bus, high, flow], axis=1))
    rows = np.concatenate(parts).astype(np.int64)
    first = draw(st.sampled_from([0, 123456, TICKS_MASK - 30_000]))
    rows[:, 0] = (first + np.cumsum(rows[:, 0])) & TICKS_MASK
    return rows


@st.composite
def cases(draw: st.DrawFn) -> tuple[thresholds.Thresholds, list[tuple[int, Ints]], tuple[int, int, int]]:
    """Thresholds, the key and the rows of each call, and what is to be worth passing."""
    limits = draw(limits_of_all_kinds())
    keys = draw(st.sampled_from([(ABSENT,), (ABSENT,), (0,), (1,), KEYS]))
    calls = [(draw(st.sampled_from(keys)), draw(signals(limits))) for _ in range(draw(st.integers(1, 3)))]
    for (_, before), (_, rows) in pairwise(calls):
        rows[:, 0] = (rows[:, 0] - rows[0, 0] + before[-1, 0] + 1000) & TICKS_MASK
    return limits, calls, draw(st.sampled_from([(1 << 16, 1, 1), (1 << 16, 1, 1), (1 << 16, 8, 64), (97, 2, 2)]))


@settings(max_examples=300, deadline=None)
@given(cases())
def test_the_same_as_stepping(case: tuple[thresholds.Thresholds, list[tuple[int, Ints]], tuple[int, int, int]]) -> None:
    limits, calls, tuning = case
    slow, fast = both(limits)
    with tuned(*tuning):
        for key, rows in calls:
            slow.key = key
            assert_alike(slow, fast, rows)


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_however_it_is_cut_and_from_a_restored_engine_too(data: st.DataObject) -> None:
    limits = data.draw(limits_of_all_kinds())
    rows = data.draw(signals(limits))
    slow, fast = both(limits)
    slow.key = data.draw(st.sampled_from(KEYS))
    with tuned(1 << 16, 1, 1):
        at = 0
        while at < len(rows):
            upto = at + data.draw(st.sampled_from([1, 2, 20, 90, 400]))
            fresh = Engine(limits)
            fresh.restore(fast.snapshot())
            assert_alike(slow, fresh, rows[at:upto])
            fast, at = fresh, upto


# -- drives -----------------------------------------------------------------------------------


@pytest.mark.parametrize("clamp", [True, False])
@pytest.mark.parametrize("key", KEYS)
def test_evenings(clamp: bool, key: int) -> None:
    slow, fast = both()
    slow.key = key
    assert_alike(slow, fast, np.concatenate([evening(clamp, 1), evening(clamp, 2) + np.array([7_300_000, 0, 0, 0, 0])]))


@pytest.mark.parametrize("clamp", [True, False])
def test_noise_on_an_evening(clamp: bool) -> None:
    """Ripple of any size, and thresholds amid the volts and amps that the evening has most of."""
    rng = np.random.default_rng(5)
    for noise_mv, changes in (
        (3, {"clamp_dead_ma": 100}),
        (30, {"marginal_mv": 13700, "healthy_mv": 13820, "discharging_mv": 13590}),
        (90, {"discharging_mv": 12500, "low_rest_mv": 12390, "empty_mv": 12280, "clamp_dead_ma": 700}),
        (200, {"overcharge_mv": 14000, "healthy_mv": 13600, "overcharge_ms": 1000}),
    ):
        limits = thresholds.Thresholds()
        for name, value in changes.items():
            setattr(limits, name, value)
        assert not thresholds.check(vars(limits))
        slow, fast = both(limits)
        rows = evening(clamp).copy()
        rows[:, 1:4] += rng.integers(-noise_mv, noise_mv + 1, (len(rows), 1))
        assert_alike(slow, fast, rows)


def test_hardly_a_row_of_an_evening_is_stepped() -> None:
    rows = evenings(5, clamp=True)
    with mock.patch.object(Engine, "step", autospec=True, side_effect=Engine.step) as step:
        stride(Engine(thresholds.Thresholds()), *rows.T)
    assert 0 < step.call_count < len(rows) / 100


def test_measured_drives() -> None:
    """Source: one 2014 petrol car, github.com/eron93br/carOBD at bf09e1c (docs/check-values.md): as measured,
    with a clamp invented for it, and with the volts of a car that does not charge from the middle on."""
    paths = sorted(measured_data("measured-drives").glob("*.csv"))
    assert len(paths) == 10
    for path in paths:
        measured = as_rows(path)
        assert len(measured) > 300
        invented = measured.copy()
        invented[:, 4] = (measured[:, 2] - 13400) * 20
        dead = measured.copy()
        dead[len(dead) // 2 :, 1:4] -= 1400
        for rows in (measured, invented, dead):
            slow, fast = both()
            assert_alike(slow, fast, rows)


def as_rows(path: Path) -> Ints:
    rows, _ = from_csv(path, {"t_s": "engine_run_s"})
    columns = [np.round(column * 1000) for column in (rows.t_s, rows.low, rows.volts, rows.high)]
    assert not np.isnan(columns).any()
    return np.stack([*columns, np.full(len(rows), ABSENT)], axis=1).astype(np.int64)


# -- timers at their top, and other ends --------------------------------------------------------

AT_REST, CHARGING, DEFICIT, FLAT = (12600, 1, 0), (14000, 40, 4000), (12400, 40, -9000), (11500, 1, 0)


@pytest.mark.parametrize("clamp", [True, False])
@pytest.mark.parametrize("level", [AT_REST, CHARGING, DEFICIT, FLAT, (ABSENT, 0, 0), (14000, 40, -9000)])
def test_timers_that_reach_their_top_grow_no_more(level: tuple[int, int, int], clamp: bool) -> None:
    bus_mv, spread_mv, clamp_ma = level
    rng = np.random.default_rng(3)
    slow, fast = both()
    now_ms = 0
    for cut in (7, 1500, 900, 40, 600):  # 2**24 ms are reached in the third call
        length = rng.integers(5000, 10000, cut)
        bus = np.full(cut, bus_mv)
        rows = np.stack([now_ms + np.cumsum(length), bus - spread_mv, bus, bus + spread_mv,
                         np.full(cut, clamp_ma if clamp else ABSENT)], axis=1)  # fmt: skip
        now_ms = int(rows[-1, 0])
        assert_alike(slow, fast, rows)
    top = [slow._quiet_ms, slow._blind_ms, slow._low_rest_ms, *(dwell.ms for dwell in slow._dwells)]
    assert max(top) >= engine._TIMER_TOP or slow.warnings & engine.WARN_SENSOR


def test_the_unwrapped_clock_serves_as_well() -> None:
    rows = evening(True).copy()
    rows[:, 0] += 5 * (TICKS_MASK + 1) - 3_600_000
    wrapped = rows.copy()
    wrapped[:, 0] &= TICKS_MASK
    one, other = both()
    assert np.array_equal(stride(one, *rows.T), stride(other, *wrapped.T))
    assert one.snapshot() == other.snapshot()
    assert_alike(*both(), wrapped)


def test_no_rows_and_one() -> None:
    judge = Engine(thresholds.Thresholds())
    before = judge.snapshot()
    nothing = np.empty(0, dtype=np.int64)
    assert [len(column) for column in stride(judge, *[nothing] * 5)] == [0, 0, 0]
    assert judge.snapshot() == before
    assert_alike(*both(), np.array([[1000, 12600, 12601, 12602, ABSENT]]))


def test_columns_of_different_lengths_are_refused() -> None:
    columns = [np.zeros(3, dtype=np.int64)] * 4
    with pytest.raises(ValueError, match="different lengths"):
        stride(Engine(thresholds.Thresholds()), *columns, np.zeros(2, dtype=np.int64))
