"""The load budget against published values, sums by hand, and what it says of them."""

from dataclasses import replace
from typing import Any

import pytest

from plan.cars import BUS, CLASS_RATED_A, LOADS, alternator, car, load
from underdash.carfile.model import ALWAYS, BRIEF, HOT_IDLE, NIGHT, PARKED, RAIN, CarFile, Engine, Load
from underdash.plan.budget import budget
from underdash.plan.budget.balance import balance, balances, loads_on, output_a, sustained
from underdash.plan.budget.cycling import simulate
from underdash.plan.budget.remedies import remedies
from underdash.plan.budget.whole import minutes
from underdash.plan.budget.words import shares_apart, told_apart
from underdash.plan.results import WEIGHTS, Budget, Finding

IDLE_RAIN = ("hot idle", "night and rain")


def weighing(found: Budget, weight: str) -> list[Finding]:
    return [finding for finding in found.findings if finding.weight == weight]


def light(**changes: Any) -> CarFile:
    """A car whose demand is a tenth of its output."""
    return car(loads=(load("ignition", 4.0, ALWAYS),), **changes)


# -- output, by the published curve -----------------------------------------------------------


@pytest.mark.parametrize(
    ("rpm", "hot", "amps"),
    # Westerbeke 33A workshop manual p. 83: about 50 A class, 13.5 V, alternator rpm.
    [(1300, True, 16), (2500, True, 41), (5000, True, 48), (1300, False, 24), (2500, False, 50)],
)
def test_output_meets_the_published_curve(rpm: int, hot: bool, amps: int) -> None:
    machine = alternator(rated_a=CLASS_RATED_A, pulley_ratio=1.78)  # that engine's pulley
    assert output_a(machine, [rpm / 1.78], hot=hot)[0] == pytest.approx(amps, abs=1e-9)


def test_the_published_curve_gives_a_third_at_1300_and_85_per_cent_at_2500() -> None:
    # The same manual: hot at 1,300 is 33 % and at 2,500 is 85 % of hot at 5,000, whatever the machine's size.
    slow, middle, fast = output_a(alternator(rated_a=110.0, pulley_ratio=1.0), [1300.0, 2500.0, 5000.0], hot=True)
    assert slow / fast == pytest.approx(0.33, abs=0.005)
    assert middle / fast == pytest.approx(0.85, abs=0.005)


def test_a_class_curve_idles_at_69_per_cent_of_rated() -> None:
    # 800 rpm through 2.4 : 1, that is 1,920 rpm; the figure that docs/car-model.md states.
    idle = balance(car(), "hot idle", "day")
    assert idle.engine_rpm * 2.4 == 1920.0
    assert idle.hot_a / 75.0 == pytest.approx(0.69, abs=0.005)
    said = next(finding for finding in budget(car()).findings if "ISO 8854" in finding.text)
    assert "52 A, 69% of its 75 A" in said.text and "a good deal" in said.text
    assert said.weight == "note"


def test_nothing_comes_below_cut_in_and_no_more_beyond_the_last_point() -> None:
    machine = alternator()
    assert output_a(machine, [0.0, 400.0], hot=True).tolist() == [0.0, 0.0]
    assert output_a(machine, [5000.0], hot=True)[0] == output_a(machine, [9000.0], hot=True)[0] == 75.0


def test_cold_output_is_not_below_hot_where_the_points_touch() -> None:
    # The two cubics cross here: hot is flat from its second point on, cold still rises through it.
    machine = replace(alternator(), hot_a=(0.0, 16.0, 16.0, 16.0), cold_a=(0.0, 16.0, 40.0, 53.0))
    rpm = [speed / 2.4 for speed in range(1000, 1320, 10)]
    hot, cold = output_a(machine, rpm, hot=True), output_a(machine, rpm, hot=False)
    assert (cold >= hot).all()


# -- demand, by hand --------------------------------------------------------------------------


def test_a_textbook_budget_adds_up() -> None:
    # From memory, a textbook's table: continuous 180 W, prolonged 260 W, intermittent 1.7 kW counted at a tenth
    # (the rule of the tenth: what-when-how.com, Automobile 14.4) make about 610 W, 43.5 A at 14 V.
    def watts(name: str, value: float, *when: str, duty: float = 1.0) -> Load:
        return load(name, value / 13.5, *when, duty=duty)

    loads = (
        watts("ignition", 30.0, ALWAYS),
        watts("injection", 70.0, ALWAYS),
        watts("pump", 70.0, ALWAYS),
        watts("instruments", 10.0, ALWAYS),
        watts("lamps and the like", 260.0, NIGHT),
        watts("intermittent", 1700.0, BRIEF, duty=0.1),
    )
    night = balance(car(loads=loads), "cruise", "night")
    assert night.sustained_a * 13.5 == pytest.approx(610.0)
    assert night.sustained_a * 13.5 / 14.0 == pytest.approx(43.5, abs=0.1)
    assert night.peak_a * 13.5 == pytest.approx(180.0 + 260.0 + 1700.0)


def test_conditions_mean_or() -> None:
    loads = (
        load("parked", 1.0, PARKED),
        load("always", 1.0, ALWAYS),
        load("idle", 1.0, HOT_IDLE),
        load("night", 1.0, NIGHT),
        load("rain", 1.0, RAIN),
        load("brief", 1.0, BRIEF, duty=0.5),
        load("idle or night", 1.0, HOT_IDLE, NIGHT),
        load("night or rain", 1.0, NIGHT, RAIN),
    )
    file = car(loads=loads)

    def off(speed: str, situation: str) -> set[str]:
        return {ld.name for ld in loads} - {ld.name for ld in loads_on(file, speed, situation)}

    assert off("cruise", "day") == {"idle", "night", "rain", "idle or night", "night or rain"}
    assert off("hot idle", "day") == {"night", "rain", "night or rain"}
    assert off("fast idle", "night") == {"idle", "rain"}
    assert off("hot idle", "night and rain") == set()
    assert balance(file, "hot idle", "night and rain").sustained_a == 7.5
    assert balance(file, "hot idle", "night and rain").peak_a == 8.0


def test_sustained_peak_and_inrush_at_hot_idle_in_rain() -> None:
    # By hand: 0.03 + 3 + 4 + 8 + 2 + 2 always, 3.75 brake lamps, 0.4 x 16 fan, 8.5 + 1.8 lamps, 8 + 23 + 4 rain,
    # 0.01 x 18 windows; all at once 102.08; headlamps at five times their 8.5 A add 34.
    worst = balance(car(), *IDLE_RAIN)
    assert worst.sustained_a == pytest.approx(74.66)
    assert worst.peak_a == pytest.approx(102.08)
    assert worst.inrush_a == pytest.approx(102.08 + 34.0)
    assert worst.inrush_of == "headlamps"
    assert worst.margin_a == pytest.approx(worst.hot_a - 74.66)
    assert sum(share for _, share in worst.loads) == pytest.approx(worst.sustained_a)
    assert [ld.name for ld, _ in worst.loads][:3] == ["rear heater", "headlamps", "pump"]


def test_balances_come_speeds_outermost() -> None:
    assert [(b.speed, b.situation) for b in balances(car())] == [
        (speed, situation)
        for speed in ("hot idle", "fast idle", "cruise")
        for situation in ("day", "night", "night and rain")
    ]


def test_without_loads_nothing_is_demanded() -> None:
    empty = budget(car(loads=()))
    assert all(b.sustained_a == b.peak_a == b.inrush_a == 0.0 and b.inrush_of == "" for b in empty.balances)
    assert not empty.shortfalls and weighing(empty, "well")


# -- what becomes of a shortfall --------------------------------------------------------------


def test_minutes_by_hand() -> None:
    assert minutes(60.0, 0.75, 15.0) == pytest.approx(60.0)
    assert minutes(60.0, 0.50, 15.0) == pytest.approx(120.0)
    assert minutes(60.0, 0.50, 0.0) == float("inf")


def test_the_shortfall_is_what_the_electrical_model_settles_at() -> None:
    found = budget(car())
    (short,) = found.shortfalls
    assert (short.balance.speed, short.balance.situation) == IDLE_RAIN
    assert short.least_a < short.battery_a < short.most_a
    # With volts below 13.5 the loads draw less than at 13.5, so the battery gives less than is missing there.
    assert 0.5 * -short.balance.margin_a < short.battery_a < -short.balance.margin_a
    assert short.to_50_min == pytest.approx(2.0 * short.to_75_min)
    assert short.to_75_min == pytest.approx(60.0 * 0.25 / short.battery_a * 60.0)


def test_the_stepped_model_gives_the_same_amps() -> None:
    # One stop of ten minutes, second by second. It begins full, where the settled point is at 95 %: 0.05 V apart.
    from underdash.car import from_file

    file = car(lights_a_day=1, light_s=600.0, between_s=1.0)
    day = simulate(file, from_file.build(file), "night and rain")
    (short,) = budget(file).shortfalls
    assert day.out_as / 600.0 == pytest.approx(short.battery_a, rel=0.05)


def test_a_shortfall_is_said_with_its_minutes_and_what_closes_it() -> None:
    found = budget(car())
    (act,) = weighing(found, "act")
    (short,) = found.shortfalls
    assert "hot idle by night and in rain" in act.text and "23 A short" in act.text
    assert f"{short.battery_a:.0f} A on average" in act.text
    assert f"{short.least_a:.0f} A with the fan off and {short.most_a:.0f} A with it on" in act.text
    assert f"75 % after about {short.to_75_min:.0f} min and at 50 % after {short.to_50_min:.0f} min" in act.text
    assert "a machine of 120 A" in act.text and "loads of no more than 47 A" in act.text
    assert "51.6 A hot at 800 rpm against 74.7 A on average" in act.evidence


def test_a_shortfall_at_cruise_is_said_too_and_idle_does_not_mend_it() -> None:
    file = car(loads=(*LOADS, load("heater", 70.0, ALWAYS)))
    found = budget(file)
    assert {short.balance.speed for short in found.shortfalls} == {"hot idle", "fast idle", "cruise"}
    assert found.shortfalls[0].balance.speed == "hot idle"
    drawn = [short.battery_a for short in found.shortfalls]
    assert drawn == sorted(drawn, reverse=True)
    assert sum("At cruise" in finding.text for finding in weighing(found, "act")) == 3
    at_cruise = remedies(file, balance(file, "cruise", "night and rain"))
    assert at_cruise[0].needed is None and "no idle speed mends that" in at_cruise[0].text


def test_a_hair_below_the_demand_the_battery_gives_nothing() -> None:
    # Half an ampere short at 13.5 V; at 12.9 V the loads want some 2 A less.
    hot_a = balance(car(), "hot idle", "day").hot_a
    found = budget(car(loads=(load("lamps", hot_a + 0.5, ALWAYS),), engine=Engine(800.0, 1200.0, 2300.0)))
    short = found.shortfalls[0]
    assert short.balance.margin_a == pytest.approx(-0.5)
    assert short.battery_a == short.least_a == 0.0 and short.to_75_min == float("inf")
    assert 12.6 < short.bus_v < 13.5
    assert not weighing(found, "act")
    assert any("gives nothing yet" in finding.text for finding in weighing(found, "watch"))


@pytest.mark.parametrize(("missing_a", "said"), [(0.4, "0.4 A short."), (0.01, "just short."), (5.2, "5.2 A short.")])
def test_a_small_shortfall_is_not_rounded_away(missing_a: float, said: str) -> None:
    hot_a = balance(car(), "hot idle", "day").hot_a
    found = budget(car(loads=(load("lamps", hot_a + missing_a, ALWAYS),)))
    texts = [finding.text for finding in found.findings if "short." in finding.text]
    assert any(f"At hot idle by day the alternator is {said}" in text for text in texts)
    assert not any(" 0 A" in finding.text or "0.0 A" in finding.text for finding in found.findings)


def test_figures_that_differ_are_told_apart() -> None:
    assert told_apart(75.0, 82.0) == ("75 A", "82 A")
    assert told_apart(75.0, 75.2) == ("75.0 A", "75.2 A") and told_apart(75.0, 75.02) == ("75.00 A", "75.02 A")
    assert told_apart(75.0, 75.0) == ("75 A", "75 A")
    assert shares_apart(0.096, 0.1) == ("9.6%", "10.0%") and shares_apart(0.04, 0.1) == ("4%", "10%")
    hot_a = balance(car(), "hot idle", "day").hot_a
    notes = budget(car(loads=(load("a", 30.0, ALWAYS), load("b", hot_a - 29.8, BRIEF, duty=0.1)))).findings
    assert any(f"draws {hot_a + 0.2:.1f} A, more than the {hot_a:.1f} A available" in note.text for note in notes)
    thin = weighing(budget(car(loads=(load("a", hot_a / 1.096, ALWAYS),))), "watch")
    assert any("9.6% of the demand; 10.0% is wanted" in finding.text for finding in thin)
    none = weighing(budget(car(loads=(load("a", hot_a - 0.01, ALWAYS),))), "watch")
    assert any("next to nothing is to spare; 10% is wanted" in finding.text for finding in none)


@pytest.mark.parametrize(
    ("fans", "said"),
    [
        ((("fan", 16.0),), "with the fan off and {most} with it on"),
        ((("fans", 16.0),), "with the fans off and {most} with them on"),
        ((("left fan", 8.0), ("right fan", 8.0)), "with the fans off and {most} with them on"),
    ],
)
def test_fans_are_switched_together(fans: tuple[tuple[str, float], ...], said: str) -> None:
    # 16 A at 0.4 in all, however many loads they are: the same figures, the least with all off, the most with all on.
    rest = tuple(ld for ld in LOADS if not ld.coolant_switch)
    found = budget(car(loads=(*rest, *(load(name, a, HOT_IDLE, duty=0.4, coolant_switch=True) for name, a in fans))))
    (short,), (one,) = found.shortfalls, budget(car()).shortfalls
    assert (short.least_a, short.battery_a, short.most_a) == pytest.approx((one.least_a, one.battery_a, one.most_a))
    assert said.format(most=f"{short.most_a:.0f} A") in weighing(found, "act")[0].text


def test_a_battery_that_gives_only_while_the_fans_run_is_said() -> None:
    hot_a = balance(car(), "hot idle", "day").hot_a
    fan = load("fan", 16.0, HOT_IDLE, duty=0.4, coolant_switch=True)
    found = budget(car(loads=(load("lamps", hot_a - 6.0, ALWAYS), fan)))
    (short,) = [short for short in found.shortfalls if short.balance.situation == "day"]
    assert short.battery_a == 0.0 < short.most_a
    assert any(
        f"With the fan on all the time it gives {short.most_a:.1f} A" in f.text for f in weighing(found, "watch")
    )


def test_loads_that_no_voltage_feeds_are_said() -> None:
    found = budget(car(loads=(load("inverter", 900.0, ALWAYS, constant_power=True),)))
    assert not found.shortfalls and not found.cycling
    assert any("at any voltage" in finding.text for finding in weighing(found, "act"))


# -- what is said of the rest -----------------------------------------------------------------


def test_a_thin_margin_is_watched() -> None:
    thin = next(finding for finding in weighing(budget(car()), "watch"))
    assert thin.text.startswith("At fast idle by night and in rain 2.5 A are to spare, 4% of the demand; 10% is wanted")


def test_peaks_and_inrush_are_the_batterys_ordinary_work() -> None:
    notes = " ".join(finding.text for finding in weighing(budget(car()), "note"))
    assert "At hot idle by night everything at once draws 67 A, more than the 52 A available" in notes
    assert "switching on headlamps takes the draw to 81 A for a moment" in notes


def test_all_carried_is_well() -> None:
    found = budget(light())
    (well,) = weighing(found, "well")
    assert "carries everything, hot, at every speed: 48 A are to spare where it is tightest" in well.text
    assert not found.remedies and not found.shortfalls
    assert {finding.weight for finding in found.findings} == {"note", "well"}
    assert not weighing(budget(car()), "well")


def test_findings_come_gravest_first() -> None:
    order = [WEIGHTS.index(finding.weight) for finding in budget(car()).findings]
    assert order == sorted(order) and len(set(order)) == 3


@pytest.mark.parametrize(
    ("ratio", "remark"),
    [(1.5, "That is little"), (1.9, "30% to 60% is usual (from memory)."), (2.4, "That is a good deal")],
)
def test_the_share_at_idle_is_held_against_what_is_usual(ratio: float, remark: str) -> None:
    found = budget(light(alternator=alternator(pulley_ratio=ratio)))
    assert remark in next(finding.text for finding in found.findings if "ISO 8854" in finding.text)


def test_the_picture_has_the_curves_well_past_cruise() -> None:
    found = budget(car())
    assert found.curve_rpm[0] == 400.0 and found.curve_rpm[-1] >= 1.5 * 2300.0
    assert len(found.curve_rpm) == len(found.curve_hot_a) == len(found.curve_cold_a)
    at = found.curve_rpm.index(800.0)
    assert found.curve_hot_a[at] == found.balances[0].hot_a
    assert found.curve_cold_a[at] == found.balances[0].cold_a


def test_the_bus_is_a_place_of_the_hand_built_car() -> None:
    file = car()
    assert file.bus == BUS and any(cable.start == BUS for cable in file.cables)
    assert sustained(file.loads) > 0.0
