"""A day of traffic lights: the counting against ASTM E1049, the charge against arithmetic."""

from dataclasses import replace

import pytest

from plan.cars import LOADS, alternator, car, load
from underdash.car import from_file
from underdash.carfile.model import ALWAYS, CarFile
from underdash.cycles import count, life_share
from underdash.plan.budget import budget, cycling
from underdash.plan.budget.cycling import Day, simulate
from underdash.plan.results import Cycling

RAIN = "night and rain"


def day_of(file: CarFile, situation: str = RAIN, step_s: float = cycling.STEP_S) -> Day:
    return simulate(file, from_file.build(file), situation, step_s)


def cost_of(file: CarFile, situation: str = RAIN) -> Cycling:
    return cycling.cycling(file, from_file.build(file), situation)


# -- the counting -----------------------------------------------------------------------------


def test_astm_e1049_worked_example() -> None:
    # ASTM E1049-85, figure 6, as cited in github.com/iamlikeme/rainflow issue 4.
    counted = count([-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0])
    assert counted == ((9.0, 0.5), (8.0, 1.0), (6.0, 0.5), (4.0, 1.5), (3.0, 0.5))


def test_whole_cycles_of_30_per_cent_use_up_a_life_after_sixty() -> None:
    # "50-70 cycles at 30 %" (element82.co.nz FAQ), its middle: what goes in comes out.
    assert count([1.0, 0.7] * 60 + [1.0]) == ((0.3, 60.0),)
    assert life_share(count([1.0, 0.7] * 60 + [1.0])) == pytest.approx(1.0)
    assert life_share(count([1.0, 0.7] * 6 + [1.0])) == pytest.approx(0.1)


def test_life_goes_with_charge_not_with_depth() -> None:
    deep, shallow = count([1.0, 0.8, 1.0]), count([1.0, 0.998] * 100 + [1.0])
    assert life_share(deep) == pytest.approx(0.2 / 18.0)
    assert life_share(shallow) == pytest.approx(life_share(deep))


def test_cycles_too_shallow_to_tell_are_left_out() -> None:
    assert count([1.0, 1.0 - 0.9 * cycling.LEAST_DEPTH] * 9 + [1.0]) == ()
    assert count([1.0, 1.0 - 1.1 * cycling.LEAST_DEPTH] * 9 + [1.0]) == ((pytest.approx(0.00011), 9.0),)
    assert count([1.0]) == count([1.0] * 5) == ()


# -- the day ----------------------------------------------------------------------------------


def test_every_stop_is_a_cycle() -> None:
    # 60 stops of 30 s at what the model settles at. A cycle closes only as far as the driving puts it back.
    file = car()
    (short,) = budget(file).shortfalls
    day, cost = day_of(file), cost_of(file)
    assert cost.stops == 60 and day.t_s[-1] == pytest.approx(60 * 90.0)
    per_stop_ah = short.battery_a * 30.0 / 3600.0
    assert cost.discharged_ah == pytest.approx(60 * per_stop_ah, rel=0.15)
    stops = [(depth, many) for depth, many in cost.cycles if depth < 0.01]
    assert sum(many for _, many in stops) == pytest.approx(60.0, abs=1.0)
    assert 0.5 * per_stop_ah < max(depth for depth, _ in stops) * file.battery.capacity_ah < per_stop_ah


def test_the_cycles_hold_all_the_charge_that_went_out_and_in() -> None:
    # Each cycle is its depth out and its depth in: rainflow counting loses nothing but the rounding of depths.
    file = car()
    day, cost = day_of(file), cost_of(file)
    moved_as = day.out_as + day.into_as - day.gassed_as
    counted_as = 2.0 * sum(depth * many for depth, many in cost.cycles) * file.battery.capacity_ah * 3600.0
    assert counted_as == pytest.approx(moved_as, rel=0.005)


def test_the_turns_that_are_kept_count_as_the_whole_day_does() -> None:
    file = car()
    day, cost = day_of(file), cost_of(file)
    assert len(cost.t_s) == len(cost.charge) < 200 < len(day.t_s)
    assert count(cost.charge) == cost.cycles == count(day.charge)
    assert cost.charge[0] == day.charge[0] == 1.0 and cost.charge[-1] == day.charge[-1]


def test_a_day_that_is_carried_costs_nothing() -> None:
    file = car()
    by_day = cost_of(file, "day")
    # Coming to a stop the volts fall a little; what leaves the battery then is surface charge.
    assert by_day.discharged_ah < 0.001 * file.battery.capacity_ah
    assert by_day.cycles == () and by_day.life_share == 0.0
    assert cycling.finding(file, by_day) is None


def test_the_step_is_fine_enough() -> None:
    # Ten times finer: amperes out within 1 %, share of life within 2 %. The estimate itself is good to a factor.
    coarse, fine = day_of(car()), day_of(car(), step_s=0.1)
    assert coarse.out_as == pytest.approx(fine.out_as, rel=0.01)
    assert coarse.charge[-1] == pytest.approx(fine.charge[-1], abs=0.003)
    assert life_share(count(coarse.charge)) == pytest.approx(life_share(count(fine.charge)), rel=0.02)


@pytest.mark.parametrize("internal_ohm", [0.0003, 0.003, 0.03])
def test_the_step_stays_stable_with_any_battery(internal_ohm: float) -> None:
    # Thick short cables: at 0.3 mohm the surface charge follows within 0.1 s, and steps of a second would swing.
    file = car(battery=replace(car().battery, internal_ohm=internal_ohm), lights_a_day=10)
    file = replace(file, cables=tuple(replace(one, gauge=None, stated_ohm=2e-5) for one in file.cables))
    coarse, fine = day_of(file), day_of(file, step_s=0.01)
    assert coarse.out_as == pytest.approx(fine.out_as, rel=0.02)


def test_a_battery_that_goes_flat_ends_the_day() -> None:
    file = car(
        loads=(*LOADS, load("heater", 60.0, ALWAYS)), battery=replace(car().battery, capacity_ah=12.0), lights_a_day=200
    )
    cost = cost_of(file)
    assert cost.stops < 200 and cost.charge[-1] <= 0.0
    said = cycling.finding(file, cost)
    assert said is not None and f"flat after {cost.stops} of them" in said.text


def test_the_finding_states_the_cost_as_an_estimate() -> None:
    file = car()
    cost = cost_of(file)
    (said,) = [finding for finding in budget(file).findings if "lights" in finding.text]
    assert said.weight == "note"
    assert f"A day of 60 lights by night and in rain takes {cost.discharged_ah:.1f} Ah out" in said.text
    assert "by an estimate that may be out by two or more" in said.text
    assert "ASTM E1049" in said.evidence and "60 cycles of 30%" in said.evidence
    parts = int(said.text.split("1/")[1].split(" ")[0].replace(",", ""))
    assert 1.0 / cost.life_share == pytest.approx(parts, rel=0.5)
    assert f"{parts:,}".rstrip("0,") in "123456789"


def test_what_driving_does_not_put_back_is_said() -> None:
    tight = car(alternator=alternator(rated_a=66.0))
    said = cycling.finding(tight, cost_of(tight))
    assert said is not None and "only part of it back" in said.text
    roomy = car(between_s=600.0, lights_a_day=10)
    said = cycling.finding(roomy, cost_of(roomy))
    assert said is not None and "the driving between puts it back" in said.text
