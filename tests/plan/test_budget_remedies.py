"""What closes a shortfall: idle speed, pulley, a larger machine, loads to shed; by hand and by independent curves."""

from math import ceil

import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from plan.cars import CLASS_HOT_A, CLASS_RATED_A, LOADS, alternator, car, load
from underdash.carfile.model import ALWAYS, BRIEF, Engine
from underdash.plan.budget import budget
from underdash.plan.budget.remedies import machine_speed, sheddable


def test_machine_speed_is_the_curve_backwards() -> None:
    machine = alternator(rated_a=CLASS_RATED_A)
    for rpm, amps in zip((1300.0, 2500.0, 5000.0), CLASS_HOT_A[1:], strict=True):
        assert machine_speed(machine, amps) == pytest.approx(rpm, abs=0.02)
    assert machine_speed(machine, 48.1) is None
    assert machine_speed(machine, 0.0) == 1000.0


def test_every_remedy_of_a_moderate_shortfall() -> None:
    # 57 A always on and a 3 A seat heater by hand, against 51.6 A: 66 A are wanted, on an independent curve.
    file = car(loads=(load("engine", 57.0, ALWAYS), load("seat", 3.0, BRIEF)), engine=Engine(780.0, 1200.0, 2300.0))
    curve = PchipInterpolator(file.alternator.curve_rpm, file.alternator.hot_a)
    rpm = brentq(lambda at: float(curve(at)) - 66.0, 1000.0, 5000.0)
    idle, pulley, rating, shed = budget(file).remedies
    assert (idle.kind, idle.now, idle.unit) == ("idle speed", 780.0, "rpm")
    assert idle.needed == ceil(rpm / 2.4 / 10.0) * 10.0 == 1150.0
    assert (pulley.kind, pulley.now, pulley.needed, pulley.unit) == ("pulley ratio", 2.4, None, "to 1")
    assert f"a ratio of {ceil(rpm / 780.0 / 0.05) * 0.05:.2f} to 1" in pulley.text
    assert "ends at about 3.5 to 1" in pulley.text
    assert (rating.kind, rating.now, rating.unit) == ("rated output", 75.0, "A")
    assert rating.needed == ceil(75.0 * 66.0 / float(curve(780.0 * 2.4)))
    assert "hot output at 1,872 rpm" in rating.text and "66 A there" in rating.text
    assert (shed.kind, shed.needed) == ("load", None) and "what may go comes to 3.0 A" in shed.text


def test_a_pulley_that_closes_it_comes_with_the_machines_top_speed() -> None:
    file = car(loads=(load("engine", 55.0, ALWAYS),))
    pulley = budget(file).remedies[1]
    assert pulley.needed is not None and 2.4 < pulley.needed <= 3.5
    assert f"15,000 rpm when the engine does {15000.0 / pulley.needed:,.0f}" in pulley.text


def test_what_cannot_be_done_is_said() -> None:
    idle, pulley, rating, _ = budget(car()).remedies
    assert idle.needed is pulley.needed is None
    assert "75 A at its best, and 82 A are wanted" in idle.text
    assert rating.needed == 120.0
    slow = car(engine=Engine(400.0, 1200.0, 2300.0))  # 960 rpm of the machine: below its cut-in
    assert budget(slow).remedies[2].needed is None
    far = car(loads=(load("engine", 40.0, ALWAYS),), alternator=alternator(rated_a=45.0, pulley_ratio=1.6))
    assert budget(far).remedies[0].needed is None and "no idle any more" in budget(far).remedies[0].text


def test_what_carries_it_with_nothing_left_over_is_said() -> None:
    # 74.66 A of 75 A: no speed has a tenth to spare, one carries it. By an independent inverse of the curve.
    file = car()
    curve = PchipInterpolator(file.alternator.curve_rpm, file.alternator.hot_a)
    rpm = brentq(lambda at: float(curve(at)) - 74.66, 1000.0, 5000.0)
    idle, pulley, _, _ = budget(file).remedies
    assert idle.needed is pulley.needed is None
    at_rpm, ratio = ceil(rpm / 2.4 / 10.0) * 10.0, ceil(rpm / 800.0 / 0.05) * 0.05
    assert f"{at_rpm:,.0f} rpm carries it with nothing left over, but that is no idle." in idle.text
    assert f"{ratio:.2f} to 1 carries it with nothing left over, but a car's belt drive ends" in pulley.text
    # 69 A at 1,000 rpm: with a margin of a tenth no speed gives it, without one a speed and a ratio that may be do.
    file = car(loads=(load("engine", 69.0, ALWAYS),), engine=Engine(1000.0, 1200.0, 2300.0))
    rpm = brentq(lambda at: float(curve(at)) - 69.0, 1000.0, 5000.0)
    idle, pulley, _, _ = budget(file).remedies
    assert idle.needed is pulley.needed is None
    assert idle.text.endswith(f" {ceil(rpm / 2.4 / 10.0) * 10.0:,.0f} rpm carries it with nothing left over.")
    assert pulley.text.endswith(f" {ceil(rpm / 1000.0 / 0.05) * 0.05:.2f} to 1 carries it with nothing left over.")
    beyond = car(loads=(load("engine", 90.0, ALWAYS),))  # more than it ever gives
    assert not any("nothing left over" in way.text for way in budget(beyond).remedies)


def test_where_no_single_change_helps_that_is_said() -> None:
    file = car(loads=(load("engine", 100.0, ALWAYS),), alternator=alternator(rated_a=60.0, pulley_ratio=1.5))
    found = budget(file)
    assert all(way.needed is None for way in found.remedies)
    acts = [finding.text for finding in found.findings if finding.weight == "act"]
    assert sum("No single change closes it; two together may." in text for text in acts) == 1


def test_the_fan_the_engine_and_the_lamps_are_not_shed() -> None:
    shed = budget(car()).remedies[3]
    assert "do without rear heater and blower (31 A on average; 28 A is too much)" in shed.text
    assert "What is on by night draws 10.3 A" in shed.text
    free = [ld.name for ld in sheddable(list(LOADS))]
    assert free == ["rear heater", "blower", "wipers", "windows"]
