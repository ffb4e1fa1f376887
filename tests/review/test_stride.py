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
from conftest import of_engine_run
from underdash.review import stride as striding
from underdash.review import timers
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
def tuned(block: int, span: int, short: int, patience: int) -> Iterator[None]:
    """Other choices of what is worked out at once, and worth passing: 1 row is, to try the passing most."""
    with (
        mock.patch.multiple(striding, _BLOCK=block, SPAN=span, _SHORT=short, _PATIENCE=patience, _FEW=0),
        mock.patch.object(timers, "SPAN", span),
    ):
        yield


EAGER = (1 << 15, 1024, 1, 1)


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
    still, band = limits.still_mv, limits.hysteresis_mv
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
        if draw(st.integers(0, 3)) == 0:
            low = bus - draw(st.sampled_from([still, still + 1, band - 1, band, band + 1]))
        flow = rng.choice(np.array(draw(st.lists(amps, min_size=1, max_size=2))), count)
        if draw(st.integers(0, 5)) == 0:  # what the volts say, or its contrary
            flow = np.where(bus >= limits.healthy_mv, -1, 1) * draw(st.sampled_from([-1, 1])) * (dead + 1)
            flow = np.where(rng.random(count) < draw(st.sampled_from([0.0, 0.1])), 0, flow)
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
def cases(draw: st.DrawFn) -> tuple[thresholds.Thresholds, list[tuple[int, Ints]], tuple[int, ...]]:
    """Thresholds, the key and the rows of each call, and what is to be worth passing."""
    limits = draw(limits_of_all_kinds())
    keys = draw(st.sampled_from([(ABSENT,), (ABSENT,), (0,), (1,), KEYS]))
    calls = [(draw(st.sampled_from(keys)), draw(signals(limits))) for _ in range(draw(st.integers(1, 3)))]
    for (_, before), (_, rows) in pairwise(calls):
        rows[:, 0] = (rows[:, 0] - rows[0, 0] + before[-1, 0] + 1000) & TICKS_MASK
    return (
        limits,
        calls,
        draw(st.sampled_from([EAGER, EAGER, (1 << 15, 5, 1, 1), (1 << 15, 1024, 8, 64), (97, 64, 2, 2)])),
    )


@settings(max_examples=200, deadline=None)
@given(cases())
def test_the_same_as_stepping(case: tuple[thresholds.Thresholds, list[tuple[int, Ints]], tuple[int, ...]]) -> None:
    limits, calls, tuning = case
    slow, fast = both(limits)
    with tuned(*tuning):
        for key, rows in calls:
            slow.key = key
            assert_alike(slow, fast, rows)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_however_it_is_cut_and_from_a_restored_engine_too(data: st.DataObject) -> None:
    limits = data.draw(limits_of_all_kinds())
    rows = data.draw(signals(limits))
    slow, fast = both(limits)
    slow.key = data.draw(st.sampled_from(KEYS))
    with tuned(*EAGER):
        at = 0
        while at < len(rows):
            upto = at + data.draw(st.sampled_from([1, 2, 20, 90, 400]))
            fresh = Engine(limits)
            fresh.restore(fast.snapshot())
            assert_alike(slow, fresh, rows[at:upto])
            fast, at = fresh, upto


@pytest.mark.parametrize("drop_mv", [0, 99, 100, 101])
@pytest.mark.parametrize(("volts", "amps"), [(14000, -9000), (11700, 9000)])
def test_contradictions_of_any_length(volts: int, amps: int, drop_mv: int) -> None:
    """After a row that agrees with itself, and between such rows: amps the wrong way round, or into a battery
    that stands empty, with volts that fall by so much as they begin."""
    level, rng = {False: (volts, -amps, 0), True: (volts, amps, drop_mv)}, np.random.default_rng(drop_mv)
    kinds = [
        np.repeat(np.arange(24) % 2 == 1, np.ravel([(40, n) for n in (1, 2, 3, 15, 16, 17, 18, 30, 59, 60, 61, 150)])),
        rng.random(2000) < 0.3,
        rng.random(2000) < 0.55,
        np.repeat(rng.random(300) < 0.5, 8),
    ]
    for kind in kinds:
        bus, flow, fall = np.array([level[bool(wrong)] for wrong in kind]).T
        bus = bus - fall + rng.integers(-1, 2, len(bus))
        rows = np.stack([1000 + 1000 * np.arange(len(bus)), bus - 30, bus, bus + 30, flow], axis=1)
        for tuning in (EAGER, (1 << 15, 1024, 8, 64)):
            with tuned(*tuning):
                assert_alike(*both(), rows)


@pytest.mark.parametrize("clamp_ma", [ABSENT, 0])
def test_a_flat_battery_after_a_crank_and_volts_that_come_and_go(clamp_ma: int) -> None:
    rng = np.random.default_rng(4)
    bus = np.concatenate(
        [np.full(40, 12600), np.full(33, 9000), np.full(400, 10900), np.full(200, 11350), np.full(300, 12600)]
    )
    bus[200:] = np.where(rng.random(len(bus) - 200) < 0.03, 9000, bus[200:])
    rows = np.stack([1000 + 1000 * np.arange(len(bus)), bus, bus, bus, np.full(len(bus), clamp_ma)], axis=1)
    for gone in (0.0, 0.03):
        rows[rng.random(len(rows)) < gone, 1:4] = ABSENT
        with tuned(*EAGER):
            assert_alike(*both(), rows)


Piece = tuple[int, int, int, int, int]  # rows, ms each, bus, ripple to either side [mV], clamp [mA]
PARKED: Piece = (60, 1000, 12600, 1, 0)
RUNNING: Piece = (60, 1000, 14000, 40, 4000)
WRONG: Piece = (70, 1000, 14000, 40, -9000)
STORIES: dict[str, tuple[dict[str, int], list[tuple[int, list[Piece]]]]] = {
    "key on at rest": ({}, [(ABSENT, [PARKED]), (1, [PARKED]), (ABSENT, [RUNNING])]),
    "key off while the engine has just started": (
        {},
        [(1, [PARKED, (8, 100, 10000, 0, 0), (5, 1000, 12900, 40, 0)]), (0, [(2, 1000, 12900, 40, 0)]), (1, [RUNNING])],
    ),
    "a contradiction, an end to it, and once more in the next call": (
        {},
        [(ABSENT, [RUNNING, WRONG, WRONG, (9, 1000, 14000, 40, 4000)]), (ABSENT, [WRONG, RUNNING])],
    ),
    # Rows of a minute, each a gap but at rest; then up and down again with volts that are never said to move.
    "still all along, from rest to charging and back": (
        {"still_mv": 100},
        [(ABSENT, [PARKED, (5, 60000, 12600, 1, 0), *((1, 1000, 12600 + 100 * n, 1, 0) for n in range(1, 9)),
                   (4, 1000, 13400, 1, 0), *((1, 1000, 13400 - 100 * n, 1, 0) for n in range(1, 9)), PARKED])],
    ),
    "low at rest, now and then": (
        {},
        [(ABSENT, [PARKED, (90, 1000, 12239, 1, 0), (2, 1000, 12240, 1, 0), (70, 1000, 12239, 1, 0), PARKED])],
    ),
    "two rows at the same time while the timers stand at their top": (
        {},
        [(ABSENT, [PARKED, (300, 60007, 12600, 1, 0), PARKED, PARKED, (1, 0, 12600, 1, 0), PARKED])],
    ),
    **{
        f"volts that fall by {drop_mv} mV": (
            {},
            [(ABSENT, [PARKED, (20, 1000, 11299 + drop_mv, 0, 0), (3, 100, 11299, 0, 0), PARKED, RUNNING])],
        )
        for drop_mv in (699, 700, 701)
    },
    **{
        f"overcharge whose lowest volts are {low_mv} mV": (
            {},
            [(ABSENT, [RUNNING, (20, 1000, low_mv + 150, 150, 0), RUNNING])],
        )
        for low_mv in (14899, 14900, 14901)
    },
}  # fmt: skip


@pytest.mark.parametrize("story", STORIES)
@pytest.mark.parametrize("clamp", [True, False])
def test_stories(story: str, clamp: bool) -> None:
    changes, calls = STORIES[story]
    limits = thresholds.Thresholds()
    for name, value in changes.items():
        setattr(limits, name, value)
    assert not thresholds.check(vars(limits))
    for tuning in (EAGER, (1 << 15, 1024, 8, 64)):
        slow, fast = both(limits)
        now_ms = 0
        with tuned(*tuning):
            for key, pieces in calls:
                lines = [(ms, bus - by, bus, bus + by, flow if clamp else ABSENT)
                         for count, ms, bus, by, flow in pieces for _ in range(count)]  # fmt: skip
                rows = np.array(lines, dtype=np.int64)
                rows[:, 0] = now_ms + np.cumsum(rows[:, 0])
                now_ms = int(rows[-1, 0])
                slow.key = key
                assert_alike(slow, fast, rows)


# -- drives -----------------------------------------------------------------------------------


@pytest.mark.parametrize("clamp", [True, False])
@pytest.mark.parametrize("key", KEYS)
def test_evenings(clamp: bool, key: int) -> None:
    slow, fast = both()
    slow.key = key
    assert_alike(slow, fast, evenings(2, clamp, seeds=2))


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


def test_measured_drives(measured_drive: Path) -> None:
    """As measured, with a clamp invented for it, and with the volts of a car that does not charge from the middle
    on."""
    measured = as_rows(measured_drive)
    assert len(measured) > 10
    invented = measured.copy()
    invented[:, 4] = (measured[:, 2] - 13400) * 20
    dead = measured.copy()
    dead[len(dead) // 2 :, 1:4] -= 1400
    for rows in (measured, invented, dead):
        slow, fast = both()
        assert_alike(slow, fast, rows)


def as_rows(path: Path) -> Ints:
    rows, _ = from_csv(path, options=of_engine_run(path))
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
