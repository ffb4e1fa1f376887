"""What the engine promises: real deficits within 6 s, and nothing from what is none."""

from collections.abc import Callable
from itertools import pairwise

import pytest
import vectors

from chargecore import calibration, engine, thresholds
from chargecore.frames import round_clamp
from chargecore.units import ABSENT, TICKS_MASK

RUNNING_MV = 14000
Signal = Callable[[int], tuple[int, int]]


class Car:
    """Rows for an engine, and what it said to each."""

    def __init__(self, phase_ms: int = 0) -> None:
        self.engine = engine.Engine(thresholds.Thresholds())
        self.now_ms = phase_ms
        self.seen: list[tuple[int, int, int]] = []  # t_ms, state, warnings

    def step(self, dt_ms: int, low_mv: int, bus_mv: int, high_mv: int, clamp_ma: int = ABSENT) -> None:
        self.now_ms += dt_ms
        state = self.engine.step(self.now_ms & TICKS_MASK, low_mv, bus_mv, high_mv, round_clamp(clamp_ma))
        self.seen.append((self.now_ms, state, self.engine.warnings))

    def follow(self, until_ms: int, signal: Signal) -> None:
        """signal(t_ms) -> (bus_mv, clamp_ma), sampled ten times a second, ripple added."""
        while self.now_ms + 1000 <= until_ms:
            samples = [signal(self.now_ms + t_ms) for t_ms in range(100, 1001, 100)]
            volts = [bus + (20 if index % 2 else -20) for index, (bus, _) in enumerate(samples)]
            amps = [clamp for _, clamp in samples]
            mean_ma = ABSENT if ABSENT in amps else sum(amps) // 10
            self.step(1000, min(volts), sum(volts) // 10, max(volts), mean_ma)

    def still(self, seconds: int, bus_mv: int, clamp_ma: int = ABSENT) -> None:
        """A parked car: rows whose volts do not move."""
        for _ in range(seconds):
            self.step(1000, bus_mv - 1, bus_mv, bus_mv + 1, clamp_ma)

    def alive(self, seconds: int, bus_mv: int, clamp_ma: int = ABSENT) -> None:
        """A running engine: rows with its ripple."""
        for second in range(seconds):
            self.step(1000, bus_mv - 40, bus_mv + second % 3 * 10, bus_mv + 60, clamp_ma)

    def crank(self, tenths: int, bus_mv: int, clamp_ma: int = ABSENT) -> None:
        for _ in range(tenths):
            self.step(100, bus_mv, bus_mv, bus_mv, clamp_ma)

    def first(self, state: int) -> int:
        return next(t_ms for t_ms, seen, _ in self.seen if seen == state)

    def states(self) -> set[int]:
        return {state for _, state, _ in self.seen}

    def warned(self) -> int:
        """Every warning there ever was."""
        every = 0
        for _, _, warnings in self.seen:
            every |= warnings
        return every

    def verdict(self) -> tuple[int, int]:
        return self.engine.state, self.engine.warnings


def change(at_ms: int, until_ms: int, bus_mv: int, clamp_ma: int | None) -> Signal:
    """A running car that shows other volts and amps after at_ms, up to until_ms."""

    def signal(t_ms: int) -> tuple[int, int]:
        changed = at_ms < t_ms <= until_ms
        amps = ABSENT if clamp_ma is None else clamp_ma if changed else 3000
        return bus_mv if changed else RUNNING_MV, amps

    return signal


@pytest.mark.parametrize("phase_ms", range(0, 1000, 20))
@pytest.mark.parametrize(
    ("bus_mv", "clamp_ma"), [(12500, None), (12900, None), (12500, -9000), (13300, -9000), (12900, -2000)]
)
def test_a_deficit_is_shown_within_six_seconds(phase_ms: int, bus_mv: int, clamp_ma: int | None) -> None:
    car = Car(phase_ms)
    onset_ms = 60000
    car.follow(90000, change(onset_ms, 90000, bus_mv, clamp_ma))
    assert onset_ms < car.first(engine.DISCHARGING) <= onset_ms + 6000
    assert abs(car.engine.since_ms - onset_ms) <= 1000
    assert car.verdict() == (engine.DISCHARGING, engine.WARN_DISCHARGING)


@pytest.mark.parametrize("phase_ms", range(0, 1000, 20))
@pytest.mark.parametrize(
    ("length_ms", "bus_mv"), [(500, 11800), (1000, 12000), (3000, 12800), (4000, 12900), (4000, 12500)]
)
def test_an_inrush_or_a_blip_never_raises_it(phase_ms: int, length_ms: int, bus_mv: int) -> None:
    for clamp_ma in (None, -20000):
        car = Car(phase_ms)
        car.follow(120000, change(60000, 60000 + length_ms, bus_mv, clamp_ma))
        assert car.states() == {engine.UNKNOWN, engine.CHARGING}
        assert car.warned() == 0


@pytest.mark.parametrize("clamp", [True, False])
@pytest.mark.parametrize("tenths", [3, 10, 40, 200])
@pytest.mark.parametrize("recovery_s", [0, 2, 4])
def test_a_crank_never_raises_it(clamp: bool, tenths: int, recovery_s: int) -> None:
    car = Car()
    car.still(40, 12600, 0 if clamp else ABSENT)
    car.crank(1, 8800, -200000 if clamp else ABSENT)
    car.crank(tenths, 10300, -90000 if clamp else ABSENT)
    assert car.engine.state == engine.CRANK
    assert (car.engine.crank_low_mv, car.engine.crank_held_mv) == (8800, 10300)
    car.alive(recovery_s, 12700, -3000 if clamp else ABSENT)
    car.alive(60, RUNNING_MV, 6000 if clamp else ABSENT)
    assert car.states() == {engine.UNKNOWN, engine.REST, engine.CRANK, engine.CHARGING}
    assert car.engine.state == engine.CHARGING
    assert car.warned() == 0


@pytest.mark.parametrize("surface_mv", [450, 900])
def test_key_off_is_rest_not_a_deficit_even_without_a_clamp(surface_mv: int) -> None:
    car = Car()
    car.alive(60, RUNNING_MV)
    for second in range(400):  # surface charge, decaying, as still as a parked car
        volts = 12700 + surface_mv * 40 // (second + 40)
        car.step(1000, volts - 1, volts, volts + 1)
    assert car.states() == {engine.UNKNOWN, engine.CHARGING, engine.REST}
    assert car.verdict() == (engine.REST, 0)
    assert car.warned() == 0


def test_a_clamp_the_wrong_way_round_is_a_sensor_warning_not_a_verdict() -> None:
    car = Car()
    car.follow(300000, lambda t_ms: (14200, 2000 if t_ms < 20000 else -10000))
    assert engine.DISCHARGING not in car.states()
    warned = next(t_ms for t_ms, _, warnings in car.seen if warnings & engine.WARN_SENSOR)
    assert 79000 <= warned <= 82000
    assert car.verdict() == (engine.UNKNOWN, engine.WARN_SENSOR)


def test_nor_is_it_one_while_the_set_point_falls_as_the_regulator_warms() -> None:
    car = Car()
    car.alive(20, 14200, 500)
    for fallen_mv in range(600):
        car.alive(1, 14200 - fallen_mv, -10000)
    assert engine.DISCHARGING not in car.states()
    assert car.warned() == engine.WARN_SENSOR


def test_current_into_an_empty_battery_or_no_volts_at_all_are_sensor_warnings_too() -> None:
    car = Car()
    car.alive(61, 11700, 8000)
    assert car.verdict() == (engine.UNKNOWN, engine.WARN_SENSOR)
    car = Car()
    car.alive(10, RUNNING_MV)
    assert car.engine.state == engine.CHARGING
    car.step(1000, ABSENT, ABSENT, ABSENT)
    assert car.verdict() == (engine.UNKNOWN, 0)
    for _ in range(59):
        car.step(1000, ABSENT, ABSENT, ABSENT)
    assert car.verdict() == (engine.UNKNOWN, engine.WARN_SENSOR)
    car.alive(5, RUNNING_MV)
    assert car.verdict() == (engine.CHARGING, 0)


def test_a_dead_alternator_is_found_from_the_start_on() -> None:
    car = Car()
    car.still(60, 12600)
    assert car.engine.state == engine.REST
    car.crank(10, 10300)
    assert car.engine.state == engine.CRANK
    began_ms = car.now_ms
    car.alive(30, 12250)
    assert car.first(engine.DISCHARGING) - began_ms < 20000
    assert car.warned() == engine.WARN_DISCHARGING


def test_marginal_has_its_dwell_and_its_way_back() -> None:
    car = Car()
    car.alive(20, RUNNING_MV)
    car.alive(9, 13100)
    assert car.engine.state == engine.CHARGING
    car.alive(1, 13100)
    assert car.verdict() == (engine.MARGINAL, engine.WARN_MARGINAL)
    car.alive(30, 13260)  # inside the hysteresis
    assert car.engine.state == engine.MARGINAL
    car.alive(5, 13350)
    assert car.verdict() == (engine.CHARGING, 0)


def test_overcharge_is_raised_after_its_dwell_and_left_below_its_hysteresis() -> None:
    car = Car()
    car.alive(20, RUNNING_MV)
    car.alive(4, 15200)
    assert car.engine.state == engine.CHARGING
    car.alive(1, 15200)
    assert car.verdict() == (engine.OVERCHARGE, engine.WARN_OVERCHARGE)
    car.alive(30, 14940)
    assert car.engine.state == engine.OVERCHARGE
    car.alive(5, 14700)
    assert car.verdict() == (engine.CHARGING, 0)


def test_a_crank_that_the_battery_does_not_hold_is_weak_until_the_car_is_parked() -> None:
    car = Car()
    car.still(40, 12600)
    car.crank(1, 9000)  # the inrush alone says nothing
    car.crank(10, 9700)
    car.alive(10, RUNNING_MV)
    assert car.warned() == 0
    car.still(40, 12600)
    car.crank(10, 9500)
    car.alive(10, RUNNING_MV)
    assert car.verdict() == (engine.CHARGING, engine.WARN_WEAK_CRANK)
    car.still(40, 12600)
    assert car.verdict() == (engine.REST, 0)


def test_a_crank_that_never_ends_is_a_flat_battery() -> None:
    car = Car()
    car.still(30, 12600)
    car.crank(301, 9000)
    assert car.verdict() == (engine.UNKNOWN, engine.WARN_WEAK_CRANK), "nobody cranks for half a minute"
    car.still(100, 9000)
    assert car.verdict() == (engine.REST, engine.WARN_LOW_REST)
    assert [state for _, state, _ in car.seen].count(engine.CRANK) == 300, "there was a second crank"


@pytest.mark.parametrize("name", vectors.NAMES)
def test_an_engine_restored_at_any_row_goes_on_as_if_nothing_had_been(name: str) -> None:
    rows, clock_ms = vectors.one(name)
    whole = engine.Engine(thresholds.Thresholds())
    again = engine.Engine(whole.thresholds)
    for dt_ms, low_mv, bus_mv, high_mv, clamp_ma in rows:
        clock_ms = (clock_ms + dt_ms) & TICKS_MASK
        again.reset()
        again.restore(whole.snapshot())
        row = (clock_ms, low_mv, bus_mv, high_mv, round_clamp(clamp_ma))
        assert again.step(*row) == whole.step(*row)
        # Whatever an engine keeps, the snapshot keeps.
        for field, value in vars(whole).items():
            if field == "_dwells":  # the same dwells once more, to loop over
                continue
            kept = getattr(again, field)
            assert vars(kept) == vars(value) if isinstance(value, engine.Dwell) else kept == value, field


def test_rows_missing_for_more_than_ten_seconds_leave_nothing_learnt() -> None:
    for hole_ms, state in ((10000, engine.CHARGING), (10001, engine.UNKNOWN)):
        car = Car()
        car.alive(20, RUNNING_MV)
        car.step(hole_ms, RUNNING_MV - 40, RUNNING_MV, RUNNING_MV + 40)
        assert car.engine.state == state


LIMITS = vars(thresholds.Thresholds())
LINES = vars(calibration.Calibration())
LADDER = ("empty_mv", "low_rest_mv", "discharging_mv", "marginal_mv", "healthy_mv", "overcharge_mv")


def assert_one_line(problem: str, *names: str) -> None:
    assert problem
    assert "\n" not in problem
    for name in names:
        assert name in problem


def test_what_the_checks_accept() -> None:
    assert thresholds.check(LIMITS) == ""
    assert calibration.check(LINES) == ""


@pytest.mark.parametrize(("below", "above"), list(pairwise(LADDER)))
def test_thresholds_out_of_order_are_refused_in_one_line(below: str, above: str) -> None:
    # The upper limit, lowered until the hysteresis of the lower one just reaches it.
    reached = {**LIMITS, above: LIMITS[below] + LIMITS["hysteresis_mv"]}
    lowest = {name: lowest for name, _, lowest, _ in thresholds.FIELDS}[above]
    if reached[above] >= lowest:
        assert_one_line(thresholds.check(reached), below, above, str(reached[above]))
    else:  # ranges that do not meet: the limit's own range refuses it
        assert_one_line(thresholds.check(reached), above)
    assert_one_line(thresholds.check({**LIMITS, "hysteresis_mv": 400}), "hysteresis")


def test_a_weak_crank_must_lie_below_a_crank() -> None:
    limits = {**LIMITS, "weak_crank_mv": 10500, "crank_mv": 10500}
    assert_one_line(thresholds.check(limits), "weak_crank_mv", "crank_mv")


@pytest.mark.parametrize(
    ("check", "good", "bounds"),
    [
        (thresholds.check, LIMITS, [(name, *bounds) for name, _, *bounds in thresholds.FIELDS]),
        (calibration.check, LINES, list(calibration.FIELDS)),
    ],
    ids=["thresholds", "calibration"],
)
def test_values_outside_their_range_are_refused_by_name(check, good: dict, bounds: list) -> None:
    for name, lowest, highest in bounds:
        for value in (lowest - 1, highest + 1, None, 0.5, "1"):
            assert_one_line(check({**good, name: value}), name)
        assert_one_line(check({key: value for key, value in good.items() if key != name}), name)


def test_a_clamp_without_a_gain_is_refused() -> None:
    assert_one_line(calibration.check({**LINES, "clamp_gain_ua": 0}), "clamp_gain_ua")


def test_at_rest_a_row_may_be_a_minute_and_elsewhere_not() -> None:
    for hole_ms, state in ((60000, engine.REST), (65535, engine.REST), (65536, engine.UNKNOWN)):
        car = Car()
        car.still(60, 12600)
        assert car.engine.state == engine.REST
        car.step(hole_ms, 12598, 12600, 12602)
        assert car.engine.state == state, hole_ms
    car = Car()
    car.alive(60, RUNNING_MV)
    car.step(60000, RUNNING_MV - 40, RUNNING_MV, RUNNING_MV + 60)
    assert car.engine.state == engine.UNKNOWN


def test_a_starter_after_rows_of_a_minute_is_a_crank() -> None:
    car = Car()
    car.still(60, 12600)
    for _ in range(60):
        car.step(60000, 12598, 12600, 12602)
    car.step(17300, 12597, 12599, 12602)
    car.crank(8, 10100)
    assert car.engine.state == engine.CRANK
    assert car.engine.crank_held_mv == 10100
    car.alive(20, RUNNING_MV)
    assert car.engine.state == engine.CHARGING


def test_with_the_key_on_a_car_is_never_at_rest_and_low_still_volts_count() -> None:
    """A dead alternator whose volts do not move: without a sense it looks like a parked car."""
    for key, state in ((ABSENT, engine.REST), (1, engine.DISCHARGING)):
        car = Car()
        car.engine.key = key
        car.alive(60, RUNNING_MV)
        began_ms = car.now_ms
        car.still(60, 12400)
        assert car.engine.state == state
        if key == 1:
            assert car.first(engine.DISCHARGING) - began_ms <= 6000
            assert engine.REST not in car.states()


def test_the_key_switched_on_ends_rest_without_a_verdict() -> None:
    car = Car()
    car.still(60, 12600)
    assert car.engine.state == engine.REST
    car.engine.key = 1
    car.still(120, 12400)
    assert car.engine.state == engine.UNKNOWN, "a radio before the start is no failing alternator"
    assert not car.warned()


def test_with_the_key_off_a_fan_that_runs_on_is_no_deficit_and_rest_comes_soon() -> None:
    for key, expected in ((ABSENT, engine.DISCHARGING), (0, engine.UNKNOWN)):
        car = Car()
        car.engine.key = 1 if key == 0 else ABSENT
        car.alive(60, RUNNING_MV)
        car.engine.key = key
        car.alive(90, 12500)
        assert car.engine.state == expected
    assert not car.warned() & engine.WARN_DISCHARGING
    stopped_ms = car.now_ms
    car.still(10, 12600)
    assert car.engine.state == engine.REST
    assert next(t for t, state, _ in car.seen if t > stopped_ms and state == engine.REST) - stopped_ms <= 5000


def test_a_sense_wire_that_drops_while_the_starter_turns_hides_nothing() -> None:
    car = Car()
    car.still(60, 12600)
    car.engine.key = 1
    car.still(3, 12500)
    car.engine.key = 0
    car.crank(12, 9300)
    assert car.engine.state == engine.CRANK
    car.engine.key = 1
    car.alive(20, RUNNING_MV)
    assert car.engine.state == engine.CHARGING
    assert car.engine.warnings & engine.WARN_WEAK_CRANK
