"""A parked board sleeps, wakes with whatever stirs, and stops writing below the cut-off.

The modules under test are pure enough to run here; the board's own interpreter runs them in
tests/virtual/test_parked.py.
"""

import random

import pytest

from chargecore import engine, options, thresholds
from chargecore.units import ABSENT, TICKS_MASK
from monitor.rest import Rest
from monitor.sampler import REST_SAMPLE_MS, SAMPLE_MS, SAVING_SAMPLE_MS, RowBuilder


class Parked:
    """The monitor's loop around rows, engine and rest, without pins or flash."""

    def __init__(self, start_ms: int = 0, **changed: int) -> None:
        self.limits = thresholds.Thresholds()
        chosen = options.Options()
        for name, value in changed.items():
            setattr(chosen, name, value)
        self.engine = engine.Engine(self.limits)
        self.rest = Rest(self.limits, chosen)
        self.rows: list[tuple[int, int, int, int, int]] = []
        self.states: list[int] = []
        self.now_ms = start_ms
        self.builder = RowBuilder(self._row, self.limits.crank_mv, self.limits.crank_mv + self.limits.hysteresis_mv)

    def _row(self, t_ms: int, low: int, mean: int, high: int, clamp: int) -> None:
        self.rows.append((t_ms, low, mean, high, clamp))
        self.states.append(self.engine.step(t_ms, low, mean, high, clamp))

    def sample(self, bus_mv: int, clamp_ma: int = ABSENT, key: int = ABSENT, watched: bool = False) -> None:
        interval = SAMPLE_MS
        if self.rest.sleeping:
            interval = SAVING_SAMPLE_MS if self.rest.saving else REST_SAMPLE_MS
        self.now_ms = (self.now_ms + interval) & TICKS_MASK
        self.rest.follow(interval, bus_mv, clamp_ma, self.engine.state, key, watched)
        if self.rest.saving:
            self.builder.close()
        elif self.rest.sleeping:
            self.builder.rest(self.now_ms, bus_mv, clamp_ma)
        else:
            self.builder.push(self.now_ms, bus_mv, clamp_ma)

    def stay(self, seconds: float, bus_mv: int, noise_mv: int = 2) -> None:
        chance = random.Random(1)
        until = self.now_ms + seconds * 1000
        while self.now_ms < until:
            self.sample(bus_mv + chance.randint(-noise_mv, noise_mv))


def test_at_rest_a_row_is_a_minute_and_the_verdict_stays() -> None:
    parked = Parked()
    parked.stay(3600, 12600)
    assert parked.rest.sleeping and not parked.rest.saving
    hour = [(a, b) for a, b in zip(parked.rows, parked.rows[1:], strict=False) if a[0] > 60_000]
    periods = [b[0] - a[0] for a, b in hour]
    assert set(periods[1:]) == {60_000} and len(periods) > 50
    assert parked.engine.state == engine.REST
    assert all(state == engine.REST for state in parked.states[30:])
    assert all(abs(row[2] - 12600) <= 1 and row[1] >= 12598 and row[3] <= 12602 for row in parked.rows)


@pytest.mark.parametrize("bus_mv", [12_700, 12_560, 10_300, ABSENT])
def test_what_stirs_wakes_it_with_that_very_sample(bus_mv: int) -> None:
    parked = Parked()
    parked.stay(600, 12600)
    before = len(parked.rows)
    slept_until = parked.now_ms
    parked.sample(bus_mv)
    assert not parked.rest.sleeping
    if len(parked.rows) > before:
        assert parked.rows[before][0] == slept_until, "the sleeping samples end with their own row"
        assert parked.rows[before][2] > 12_590
    for _ in range(9):
        parked.sample(bus_mv)
    assert parked.rows[-1][0] == slept_until + REST_SAMPLE_MS + 9 * SAMPLE_MS
    if bus_mv == 10_300:
        assert parked.engine.state == engine.CRANK
        assert [row[0] for row in parked.rows[-10:]] == [slept_until + REST_SAMPLE_MS + n * 100 for n in range(10)]


def test_every_starter_is_seen_even_by_a_sleeping_board() -> None:
    """Half a second of cranking, at each phase of the sleeping board's samples."""
    for phase in range(0, 200, 20):
        parked = Parked()
        parked.stay(300, 12600)
        begins = parked.now_ms + 1000 + phase
        while parked.now_ms < begins + 3000:
            cranks = begins <= parked.now_ms + REST_SAMPLE_MS < begins + 500
            parked.sample(10_300 if cranks else 12_600)
        assert engine.CRANK in parked.states, phase


def test_a_slow_drift_does_not_wake_it() -> None:
    parked = Parked()
    for tenth in range(40_000):
        parked.sample(12_900 - tenth // 150)
    assert parked.rest.sleeping
    assert parked.engine.state == engine.REST


@pytest.mark.parametrize("awake", [{"watched": True}, {"key": 1}])
def test_a_host_or_the_key_keeps_it_awake(awake: dict) -> None:
    parked = Parked()
    for _ in range(3000):
        parked.sample(12_600, **awake)
    assert not parked.rest.sleeping
    assert parked.rows[-1][0] - parked.rows[-2][0] == 1000


def test_being_looked_at_is_no_reason_to_write_below_the_cut_off() -> None:
    parked = Parked()
    parked.stay(600, 12_000)
    written = len(parked.rows)
    for _ in range(600):
        parked.sample(12_000, watched=True)
    assert parked.rest.saving and not parked.rest.sleeping
    assert len(parked.rows) == written
    parked.sample(12_000, key=1)
    assert not parked.rest.saving


def test_below_the_cut_off_it_stops_writing_and_a_charger_wakes_it() -> None:
    parked = Parked()
    parked.stay(600, 12_000)
    assert parked.rest.saving
    written = len(parked.rows)
    parked.stay(86_400, 12_000)
    assert len(parked.rows) == written
    parked.stay(5, 12_600)
    assert not parked.rest.saving
    assert len(parked.rows) > written


def test_the_cut_off_leaves_a_dead_alternator_alone() -> None:
    """With the engine running low volts are what the journal is for."""
    parked = Parked()
    chance = random.Random(2)
    for _ in range(600):
        parked.sample(14_000 + chance.randint(-40, 40))
    for _ in range(36_000):
        parked.sample(11_800 + chance.randint(-40, 40))
        assert not parked.rest.saving
    assert parked.engine.state == engine.DISCHARGING


def test_without_a_cut_off_it_goes_on_writing() -> None:
    parked = Parked(cutoff_mv=0)
    parked.stay(3600, 11_500)
    assert parked.rest.sleeping and not parked.rest.saving
    assert len(parked.rows) > 80


def test_a_late_sample_never_makes_a_row_longer_than_its_period_can_hold() -> None:
    parked = Parked()
    parked.stay(600, 12600)
    for _ in range(2000):
        parked.now_ms += 7_900  # the watchdog's limit
        parked.sample(12_600)
    periods = [(b[0] - a[0]) & TICKS_MASK for a, b in zip(parked.rows, parked.rows[1:], strict=False)]
    assert max(periods) <= 65_535


def test_rest_goes_on_across_the_wrap_of_the_clock() -> None:
    parked = Parked(start_ms=TICKS_MASK - 1_800_000)
    chance = random.Random(1)
    for _ in range(18_000):
        parked.sample(12_600 + chance.randint(-2, 2))
    assert parked.now_ms < TICKS_MASK // 2, "the clock has not wrapped"
    assert parked.rest.sleeping
    assert set(parked.states[40:]) == {engine.REST}


def test_a_crank_is_handed_on_bit_by_bit_and_whole() -> None:
    """Each sample becomes a row, in order, whatever the phase; no tick hands on more than two."""
    for phase in range(10):
        rows: list[int] = []
        builder = RowBuilder(lambda t_ms, *values, rows=rows: rows.append(t_ms), 11_300, 11_400)
        samples = []
        for index in range(200):
            before = len(rows)
            low = 100 + phase <= index < 110 + phase
            builder.push(index * 100, 10_000 if low else 12_600, ABSENT)
            samples.append(index * 100)
            assert len(rows) - before <= 2
        builder.close()
        assert rows == sorted(set(rows))
        first_fast = (100 + phase) // 10 * 10 * 100
        fast = [t for t in rows if first_fast <= t < first_fast + 3000]
        assert fast == samples[first_fast // 100 : first_fast // 100 + 30], phase
