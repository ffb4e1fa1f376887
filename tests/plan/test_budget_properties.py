"""What must hold of any car's budget, by random cars."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plan.cars import LOADS, alternator, car
from underdash.car import from_file
from underdash.car.loads import draws
from underdash.car.steady import settle
from underdash.carfile.model import CarFile, Engine, Limits, Load
from underdash.cycles import count, life_share
from underdash.plan.budget import budget
from underdash.plan.budget.balance import SITUATIONS, balance, balances, output_a
from underdash.plan.budget.cycling import START, simulate
from underdash.plan.budget.remedies import MACHINE_MOST_RPM, RATIO_MOST, remedies, sheddable
from underdash.plan.results import Balance, Remedy

IDLES = st.floats(500.0, 1100.0)
RATIOS = st.floats(1.2, 3.4)
RATINGS = st.floats(25.0, 180.0)
FACTORS = st.floats(1.0, 2.0)
DRAWS = st.lists(st.floats(0.2, 2.5), min_size=len(LOADS), max_size=len(LOADS))


def at_idle(file: CarFile, rpm: float) -> CarFile:
    """The same car at another hot idle, its other speeds no slower than that."""
    fast, cruise = max(file.engine.fast_idle_rpm, rpm), max(file.engine.cruise_rpm, rpm)
    return replace(file, engine=Engine(rpm, fast, cruise))


@st.composite
def cars(draw: st.DrawFn) -> CarFile:
    """The hand-built car with another machine, another idle, other amps and another wanted margin."""
    loads = tuple(replace(load, amps=load.amps * factor) for load, factor in zip(LOADS, draw(DRAWS), strict=True))
    machine = alternator(draw(RATINGS), draw(RATIOS))
    margin = draw(st.floats(0.0, 0.4))
    return at_idle(car(loads=loads, alternator=machine, limits=Limits(margin_share=margin)), draw(IDLES))


def never_lower(better: tuple[Balance, ...], worse: tuple[Balance, ...]) -> bool:
    return all(b.margin_a >= w.margin_a - 1e-9 for b, w in zip(better, worse, strict=True))


# -- more output or less demand is never worse ------------------------------------------------


@settings(deadline=None)
@given(cars(), FACTORS)
def test_a_faster_idle_never_lowers_a_margin(file: CarFile, factor: float) -> None:
    assert never_lower(balances(at_idle(file, file.engine.hot_idle_rpm * factor)), balances(file))


@settings(deadline=None)
@given(cars(), FACTORS)
def test_a_larger_ratio_never_lowers_a_margin(file: CarFile, factor: float) -> None:
    machine = file.alternator
    faster = replace(file, alternator=replace(machine, pulley_ratio=machine.pulley_ratio * factor))
    assert never_lower(balances(faster), balances(file))


@settings(deadline=None)
@given(cars(), FACTORS)
def test_a_larger_machine_never_lowers_a_margin(file: CarFile, factor: float) -> None:
    machine = file.alternator
    larger = replace(file, alternator=alternator(machine.rated_a * factor, machine.pulley_ratio))
    assert never_lower(balances(larger), balances(file))


@settings(deadline=None)
@given(cars(), st.integers(0, len(LOADS) - 1), FACTORS)
def test_more_amps_never_raise_a_margin(file: CarFile, index: int, factor: float) -> None:
    loads = list(file.loads)
    loads[index] = replace(loads[index], amps=loads[index].amps * factor)
    assert never_lower(balances(file), balances(replace(file, loads=tuple(loads))))


@settings(deadline=None)
@given(cars(), st.integers(0, len(LOADS) - 1), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_duty_never_raises_a_margin_and_moves_no_peak(file: CarFile, index: int, one: float, two: float) -> None:
    def at_duty(duty: float) -> tuple[Balance, ...]:
        loads = list(file.loads)
        loads[index] = replace(loads[index], duty=duty)
        return balances(replace(file, loads=tuple(loads)))

    less, more = at_duty(min(one, two)), at_duty(max(one, two))
    assert never_lower(less, more)
    assert [(b.peak_a, b.inrush_a) for b in less] == [(b.peak_a, b.inrush_a) for b in more]


@settings(deadline=None)
@given(cars())
def test_hot_is_never_above_cold_nor_average_above_peak_nor_peak_above_inrush(file: CarFile) -> None:
    for found in balances(file):
        assert 0.0 <= found.hot_a <= found.cold_a
        assert found.sustained_a <= found.peak_a + 1e-9
        assert found.peak_a <= found.inrush_a
        assert sum(share for _, share in found.loads) == pytest.approx(found.sustained_a)


@settings(deadline=None)
@given(cars())
def test_rain_never_draws_less_than_night_nor_night_less_than_day(file: CarFile) -> None:
    for speed in file.engine.speeds():
        day, night, rain = (balance(file, speed, situation).sustained_a for situation in SITUATIONS)
        assert day <= night <= rain


# Amps that only rise: a curve of anyone's own, hot below cold.
AMPS = st.floats(0.0, 40.0).map(lambda amps: round(amps, 2))
STEPS = st.lists(st.tuples(st.floats(50.0, 2000.0), AMPS, st.floats(0.3, 1.0)), min_size=3, max_size=7)


@settings(deadline=None)
@given(STEPS)
def test_any_valid_curve_rises_and_keeps_hot_below_cold(steps: list[tuple[float, float, float]]) -> None:
    rpm, cold = [800.0], [0.0]
    for speed, amps, _ in steps:
        rpm.append(rpm[-1] + speed)
        cold.append(cold[-1] + amps)
    share = min(factor for _, _, factor in steps)
    machine = replace(
        alternator(), curve_rpm=tuple(rpm), cold_a=tuple(cold), hot_a=tuple(amps * share for amps in cold)
    )
    engine_rpm = [50.0 * k for k in range(120)]
    hot, cool = output_a(machine, engine_rpm, hot=True), output_a(machine, engine_rpm, hot=False)
    assert (cool >= hot).all()
    assert all(b >= a - 1e-9 for a, b in pairwise(hot))


# -- remedies mend ----------------------------------------------------------------------------


def applied(file: CarFile, remedy: Remedy, short: Balance, step: float = 0.0) -> CarFile:
    """The car with the remedy's own number in it, less `step`."""
    machine = file.alternator
    assert remedy.needed is not None
    value = remedy.needed - step
    if remedy.kind == "idle speed":
        return at_idle(file, value)
    if remedy.kind == "pulley ratio":
        return replace(file, alternator=replace(machine, pulley_ratio=value))
    if remedy.kind == "rated output":
        return replace(file, alternator=alternator(value, machine.pulley_ratio))
    off: list[Load] = []
    kept = short.sustained_a
    for load in sheddable([load for load, _ in short.loads]):
        if kept <= value:
            break
        off.append(load)
        kept -= load.amps * load.duty
    assert all(load.name in remedy.text for load in off)
    return replace(file, loads=tuple(load for load in file.loads if load not in off))


def worst_of(file: CarFile) -> Balance:
    return min(balances(file), key=lambda found: found.margin_a)


@settings(max_examples=300, deadline=None)
@given(cars())
def test_a_remedys_number_closes_the_shortfall_margin_included(file: CarFile) -> None:
    short = worst_of(file)
    if short.margin_a >= 0.0:
        return
    for remedy in remedies(file, short):
        if remedy.needed is None:
            continue
        mended = balances(applied(file, remedy, short))
        assert min(found.margin_a for found in mended) >= -1e-6
        same = next(b for b in mended if (b.speed, b.situation) == (short.speed, short.situation))
        assert same.margin_share >= file.limits.margin_share - 1e-6


# One step of the rounding less: 10 rpm, 0.05 to 1, 1 A.
@settings(max_examples=300, deadline=None)
@given(cars())
def test_no_remedy_asks_for_more_than_it_takes(file: CarFile) -> None:
    short = worst_of(file)
    if short.margin_a >= 0.0:
        return
    for remedy, step in zip(remedies(file, short), (10.0, 0.05, 1.0), strict=False):
        if remedy.needed is None:
            continue
        before = applied(file, remedy, short, step)
        assert balance(before, short.speed, short.situation).margin_share < file.limits.margin_share + 1e-3


@settings(deadline=None)
@given(cars())
def test_remedies_stay_within_what_is_sensible(file: CarFile) -> None:
    idle, pulley, rating, shed = remedies(file, worst_of(file))
    assert idle.needed is None or 0.0 < idle.needed <= 1500.0
    assert pulley.needed is None or pulley.needed <= RATIO_MOST < MACHINE_MOST_RPM
    assert rating.needed is None or rating.needed <= 250.0
    assert shed.needed is None or shed.needed <= shed.now + 1e-9 or worst_of(file).margin_a >= 0.0


@settings(max_examples=30, deadline=None)
@given(cars(), st.booleans())
def test_after_a_remedy_with_a_tenth_to_spare_the_model_charges_the_battery(file: CarFile, electronics: bool) -> None:
    # The budget is of 13.5 V; at the model's own volts lamps and electronics draw otherwise. A tenth covers that.
    loads = tuple(replace(load, constant_power=electronics) for load in file.loads)
    file = replace(file, loads=loads, limits=Limits(margin_share=0.1))
    for remedy in budget(file).remedies:
        if remedy.needed is None:
            continue
        mended = applied(file, remedy, worst_of(file))
        assert not budget(mended).shortfalls
        tight = balance(mended, worst_of(file).speed, worst_of(file).situation)
        siemens, watts = draws([(load, load.duty) for load, _ in tight.loads])
        point = settle(from_file.build(mended), engine_rpm=tight.engine_rpm, siemens=siemens, watts=watts)
        assert point.battery_a > 0.0


@settings(max_examples=25, deadline=None)
@given(cars())
def test_least_average_and_most_stand_in_that_order(file: CarFile) -> None:
    for short in budget(file).shortfalls:
        assert 0.0 <= short.least_a <= short.battery_a + 1e-6 <= short.most_a + 2e-6
        assert short.to_75_min <= short.to_50_min


# -- cycling ----------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(cars(), st.sampled_from(list(SITUATIONS)), st.floats(5.0, 90.0), st.floats(5.0, 200.0), st.integers(1, 12))
def test_every_coulomb_of_a_day_is_accounted_for(
    file: CarFile, situation: str, light_s: float, between_s: float, lights: int
) -> None:
    file = replace(file, light_s=light_s, between_s=between_s, lights_a_day=lights)
    day = simulate(file, from_file.build(file), situation)
    capacity_as = file.battery.capacity_ah * 3600.0
    held_as = (day.charge[-1] - START) * capacity_as + day.gassed_as
    assert held_as == pytest.approx(day.into_as - day.out_as, abs=1e-6 * capacity_as)
    assert day.t_s[-1] == pytest.approx(day.stops * (light_s + between_s))


@settings(deadline=None)
@given(st.lists(st.floats(0.2, 1.0), min_size=3, max_size=40))
def test_counted_cycles_hold_every_swing(charge: list[float]) -> None:
    # Twice the sum of depth times number is the whole way up and down, but for what is left out. (The library counts
    # nothing in a record of two points; a day has more.)
    way = sum(abs(b - a) for a, b in pairwise(charge))
    counted = count(charge)
    assert 2.0 * sum(depth * many for depth, many in counted) == pytest.approx(way, abs=2.2e-4 * len(charge))
    assert life_share(counted) >= 0.0
    assert [depth for depth, _ in counted] == sorted((depth for depth, _ in counted), reverse=True)
