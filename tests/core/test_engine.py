"""What the engine promises: real deficits within 6 s, and nothing from what is none."""

import pytest

from chargecore import engine, thresholds
from chargecore.units import ABSENT

RUNNING = 14000


class Car:
    """Rows of one second, cut at any phase out of a signal given in milliseconds."""

    def __init__(self, phase_ms: int = 0) -> None:
        self.engine = engine.Engine(thresholds.Thresholds())
        self.phase_ms = phase_ms
        self.seen: list[tuple[int, int, int]] = []

    def run(self, until_ms: int, signal) -> None:
        """signal(t_ms) -> (bus_mv, clamp_ma), sampled ten times a second, noise added."""
        start = self.seen[-1][0] if self.seen else self.phase_ms
        for end in range(start + 1000, until_ms + 1, 1000):
            samples = [signal(t) for t in range(end - 900, end + 1, 100)]
            volts = [bus + (20 if index % 2 else -20) for index, (bus, _) in enumerate(samples)]
            amps = [clamp for _, clamp in samples]
            mean_amps = ABSENT if ABSENT in amps else sum(amps) // 10
            state = self.engine.step(end, min(volts), sum(volts) // 10, max(volts), mean_amps)
            self.seen.append((end, state, self.engine.warnings))

    def first(self, state: int) -> int:
        return next(t for t, seen, _ in self.seen if seen == state)

    def states(self) -> set[int]:
        return {state for _, state, _ in self.seen}


@pytest.mark.parametrize("phase_ms", range(0, 1000, 100))
@pytest.mark.parametrize("clamp", [True, False])
def test_a_deficit_is_shown_within_six_seconds(phase_ms: int, clamp: bool) -> None:
    car = Car(phase_ms)
    onset = 60000
    car.run(90000, lambda t: (RUNNING if t <= onset else 12500, ABSENT if not clamp else 3000 if t <= onset else -9000))
    assert onset < car.first(engine.DISCHARGING) <= onset + 6000
    assert abs(car.engine.since_ms - onset) <= 1000


@pytest.mark.parametrize("phase_ms", range(0, 1000, 100))
@pytest.mark.parametrize(
    ("length_ms", "bus_mv"), [(500, 11800), (1000, 12000), (3000, 12800), (4000, 12900), (4000, 12500)]
)
def test_an_inrush_or_a_blip_never_raises_it(phase_ms: int, length_ms: int, bus_mv: int) -> None:
    for clamp_ma in (ABSENT, -20000):
        car = Car(phase_ms)
        car.run(
            120000,
            lambda t, c=clamp_ma: (
                (bus_mv, c) if 60000 < t <= 60000 + length_ms else (RUNNING, ABSENT if c == ABSENT else 3000)
            ),
        )
        assert car.states() == {engine.UNKNOWN, engine.CHARGING}


def test_key_off_is_rest_not_a_deficit_even_without_a_clamp() -> None:
    judge = engine.Engine(thresholds.Thresholds())
    seen = set()
    for second in range(60):
        judge.step(second * 1000, 13960, 14000 + second % 2 * 30, 14050, ABSENT)
    for second in range(60, 400):
        volts = 12700 + 450 * 40 // (second - 20)  # surface charge, decaying, as still as a parked car
        seen.add(judge.step(second * 1000, volts - 1, volts, volts + 1, ABSENT))
    assert seen == {engine.CHARGING, engine.REST}


def test_a_clamp_the_wrong_way_round_is_a_sensor_warning_not_a_verdict() -> None:
    car = Car()
    car.run(300000, lambda t: (14200, 2000 if t < 20000 else -10000))
    assert engine.DISCHARGING not in car.states()
    warned = next(t for t, _, warnings in car.seen if warnings & engine.WARN_SENSOR)
    assert 79000 <= warned <= 82000
    assert car.seen[-1][1] == engine.UNKNOWN


def test_a_dead_alternator_is_found_from_the_start_on() -> None:
    judge = engine.Engine(thresholds.Thresholds())
    t_ms = 0
    for _ in range(60):
        t_ms += 1000
        judge.step(t_ms, 12598, 12600, 12602, ABSENT)
    assert judge.state == engine.REST
    for _ in range(10):
        t_ms += 100
        judge.step(t_ms, 10300, 10300, 10300, ABSENT)
    assert judge.state == engine.CRANK
    began = t_ms
    while judge.state != engine.DISCHARGING:
        t_ms += 1000
        wobble = t_ms // 1000 % 3 * 10
        judge.step(t_ms, 12240, 12280 + wobble, 12320, ABSENT)
        assert t_ms - began < 30000
    assert not judge.warnings & engine.WARN_WEAK_CRANK


def test_overcharge_flat_battery_and_weak_crank() -> None:
    car = Car()
    car.run(60000, lambda t: (15300 if t > 30000 else RUNNING, ABSENT))
    assert car.seen[-1][1:] == (engine.OVERCHARGE, engine.WARN_OVERCHARGE)
    flat = engine.Engine(thresholds.Thresholds())
    warned = 0
    for index in range(1500):
        flat.step(index * 100, *([12600] * 3 if index < 20 else [9000] * 3), ABSENT)
        warned |= flat.warnings
    assert flat.state == engine.REST, "nobody cranks for half a minute"
    assert warned & engine.WARN_WEAK_CRANK
    assert flat.warnings == engine.WARN_LOW_REST


def test_thresholds_out_of_order_are_refused_in_one_line() -> None:
    good = vars(thresholds.Thresholds())
    assert thresholds.check(good) == ""
    for change in ({"marginal_mv": 12900}, {"hysteresis_mv": 400}, {"rest_ms": 1}, {"healthy_mv": None}):
        problem = thresholds.check({**good, **change})
        assert problem
        assert "\n" not in problem
