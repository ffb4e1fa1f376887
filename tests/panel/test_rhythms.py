"""No two of the lamp's rhythms can be taken for each other, nor for a dead or a stuck lamp."""

import itertools
from dataclasses import dataclass

import pytest

from chargecore import engine
from monitor import signals

PAUSE = 8  # tenths of darkness that part one group of flashes from the next
LOOK = 30  # tenths that one look lasts
NAMED = [(name, rhythm) for name, rhythm in signals.RHYTHMS if name != "asleep"]
PAIRS = list(itertools.combinations(NAMED, 2))


@dataclass(frozen=True)
class Features:
    """What an eye takes in: flashes between two pauses (0: no pause ever), the longest of them."""

    flashes: int
    longest: int


def features(rhythm: tuple[int, ...]) -> Features:
    on, off = rhythm[::2], rhythm[1::2]
    pauses = sum(length >= PAUSE for length in off)
    assert pauses <= 1, "more than one group in a round"
    return Features(len(on) if pauses else 0, max(on))


def lit(rhythm: tuple[int, ...]) -> list[int]:
    """A look's worth of tenths, at the beginning of a round."""
    return [signals.level(rhythm, at % sum(rhythm)) for at in range(LOOK)]


def looks(rhythm: tuple[int, ...]) -> list[list[int]]:
    """What can be seen in one look, whenever it begins."""
    endless = [signals.level(rhythm, at % sum(rhythm)) for at in range(LOOK + sum(rhythm))]
    return [endless[start : start + LOOK] for start in range(sum(rhythm))]


@pytest.mark.parametrize(("one", "other"), PAIRS, ids=lambda pair: pair[0])
def test_two_rhythms_differ_in_count_or_thrice_in_length(one, other) -> None:
    first, second = features(one[1]), features(other[1])
    short, long = sorted((first.longest, second.longest))
    assert first.flashes != second.flashes or long >= 3 * short


@pytest.mark.parametrize(("one", "other"), PAIRS, ids=lambda pair: pair[0])
def test_no_look_at_one_is_a_look_at_another(one, other) -> None:
    """At any two moments at least 0.2 s of 3 s differ: no choice of moments makes them alike."""
    least = min(
        sum(a != b for a, b in zip(first, second, strict=True))
        for first, second in itertools.product(looks(one[1]), looks(other[1]))
    )
    assert least >= 2


@pytest.mark.parametrize(("name", "rhythm"), NAMED)
def test_one_look_shows_a_whole_round_and_never_a_dead_or_stuck_lamp(name, rhythm) -> None:
    assert sum(rhythm) <= LOOK
    for look in looks(rhythm):
        assert 0 < sum(look) < LOOK


@pytest.mark.parametrize(("name", "rhythm"), signals.RHYTHMS)
def test_none_flashes_more_than_three_times_a_second(name, rhythm) -> None:
    endless = [signals.level(rhythm, at % sum(rhythm)) for at in range(10 * sum(rhythm))]
    for start in range(len(endless) - 11):
        window = endless[start : start + 11]
        assert sum(a < b for a, b in itertools.pairwise(window)) <= 3


def test_every_state_and_every_warning_has_its_rhythm() -> None:
    of_warning = [signals.rhythm(engine.CHARGING, 1 << bit) for bit in range(len(engine.WARNING_NAMES))]
    assert signals.RUNS_WELL not in of_warning and signals.WAITING not in of_warning
    grave = [engine.WARN_OVERCHARGE, engine.WARN_DISCHARGING, engine.WARN_SENSOR, engine.WARN_MARGINAL]
    assert len({signals.rhythm(engine.CHARGING, bit) for bit in grave}) == len(grave)
    assert signals.rhythm(engine.CHARGING, 0) is signals.RUNS_WELL
    for state in (engine.UNKNOWN, engine.REST, engine.CRANK):
        assert signals.rhythm(state, 0) is signals.WAITING
    shown = {rhythm for _, rhythm in signals.RHYTHMS}
    assert shown == {*of_warning, signals.RUNS_WELL, signals.WAITING, signals.ASLEEP}


def test_the_gravest_warning_wins() -> None:
    order = [engine.WARN_OVERCHARGE, engine.WARN_DISCHARGING, engine.WARN_SENSOR, engine.WARN_WEAK_CRANK,
             engine.WARN_MARGINAL]  # fmt: skip
    for index, bit in enumerate(order):
        rest = sum(order[index:])
        assert signals.rhythm(engine.CHARGING, rest) is signals.rhythm(engine.CHARGING, bit)


def test_asleep_the_lamp_is_lit_a_hundredth_of_the_time() -> None:
    assert sum(signals.ASLEEP[::2]) * 100 <= sum(signals.ASLEEP)


class Pin:
    def __init__(self) -> None:
        self.levels: list[int] = []

    def value(self, level: int) -> None:
        self.levels.append(level)


@pytest.mark.parametrize("dt_ms", [100, 200, 250, 700, 1000, 3000])
def test_long_ticks_step_over_no_round(dt_ms: int) -> None:
    pin = Pin()
    lamp = signals.Lamp(pin)
    for _ in range(100000 // dt_ms):
        lamp.step(signals.ASLEEP, dt_ms)
    assert abs(pin.levels.count(1) - 10) <= 1


@pytest.mark.parametrize(("name", "rhythm"), NAMED)
def test_the_lamp_follows_its_rhythm_and_writes_only_changes(name, rhythm) -> None:
    pin = Pin()
    lamp, seen = signals.Lamp(pin), []
    for _ in range(LOOK):
        lamp.step(rhythm, 100)
        seen.append(pin.levels[-1])
    assert seen == lit(rhythm)
    assert all(a != b for a, b in itertools.pairwise(pin.levels))


def test_a_new_rhythm_begins_at_once() -> None:
    pin = Pin()
    lamp = signals.Lamp(pin)
    for _ in range(7):
        lamp.step(signals.RUNS_WELL, 100)
    assert pin.levels[-1] == 0
    lamp.step(signals.DRAINS, 100)
    assert pin.levels[-1] == 1


def sounds(*parts: tuple[int, float], dt_ms: int = 100) -> list[tuple[float, float]]:
    """(start [s], length [s]) of each sound, of warnings standing for so many seconds each."""
    pin, found, now = Pin(), [], 0.0
    buzzer = signals.Buzzer(pin)
    before = 0
    for warnings, seconds in parts:
        for _ in range(round(seconds * 1000 / dt_ms)):
            buzzer.step(warnings, dt_ms)
            level = pin.levels[-1]
            if level > before:
                found.append((now, 0.0))
            if level:
                found[-1] = (found[-1][0], round(found[-1][1] + dt_ms / 1000, 3))
            before = level
            now = round(now + dt_ms / 1000, 3)
    return found


OVER, DRAIN = engine.WARN_OVERCHARGE, engine.WARN_DISCHARGING


def test_the_buzzer_sounds_once_when_a_grave_warning_begins() -> None:
    assert sounds((0, 2), (OVER, 600)) == [(2.0, 0.2), (2.4, 0.2), (2.8, 0.2)]
    assert sounds((0, 2), (DRAIN, 600)) == [(2.0, 0.6), (2.9, 0.6)]
    milder = engine.WARN_MARGINAL | engine.WARN_SENSOR | engine.WARN_WEAK_CRANK | engine.WARN_LOW_REST
    assert sounds((milder, 600)) == []


def test_a_warning_that_comes_and_goes_is_said_once_a_calm_minute() -> None:
    assert len(sounds(*[(DRAIN, 10), (0, 50)] * 10)) == 2
    assert len(sounds(*[(DRAIN, 10), (0, 61)] * 10)) == 20


def test_overcharge_is_said_in_a_discharge_but_not_again_and_again() -> None:
    assert [start for start, _ in sounds(*[(DRAIN, 10), (OVER, 10)] * 5)] == [0.0, 0.9, 10.0, 10.4, 10.8]
