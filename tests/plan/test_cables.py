"""Every cable of a file: what flows, what it may carry and loses, which fuse, and what is said of it."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest
from wired import BUS, FEET, car, load, sized, test_of, wire

from underdash.carfile.model import (
    ALL_LOADS,
    ALTERNATOR,
    BATTERY,
    BODY,
    BRIEF,
    CHARGE,
    CRANK,
    ENGINE,
    GROUND,
    GROUND_SIDE,
    HOT_IDLE,
    LOOP,
    STARTER,
    Ammeter,
    Limits,
)
from underdash.carfile.reader import read
from underdash.plan.cables import fuses, size
from underdash.plan.results import CableResult, Cables
from underdash.wire.gauge import Gauge

FAN = load("fan", 20.0, HOT_IDLE, duty=0.4, inrush=2.5)
WINDOWS = load("windows", 18.0, BRIEF, duty=0.01, inrush=1.8)


def of(cables: Cables, name: str) -> CableResult:
    return next(result for result in cables.results if result.cable.name == name)


def said(result: CableResult, weight: str) -> str:
    return " ".join(finding.text for finding in result.findings if finding.weight == weight)


# -- what flows -------------------------------------------------------------------------------


def test_the_charge_cable_carries_the_cold_output() -> None:
    result = sized(wire("4 AWG", carries=(CHARGE,), start=ALTERNATOR, end=BATTERY), output_a=85.0)
    assert result.amps == result.brief_amps == 85.0
    assert result.drop_amps == pytest.approx(0.9 * 85.0)  # the path is held to its limit at full hot output


def test_a_rating_above_the_curve_counts() -> None:
    file = car(wire("4 AWG", carries=(CHARGE,)), output_a=85.0)
    file = replace(file, alternator=replace(file.alternator, rated_a=95.0))
    assert size(file).results[0].amps == 95.0


def test_a_load_counts_in_full_on_its_own_cable_and_among_all_but_for_what_is_brief() -> None:
    # A fan that a thermal switch turns on runs minutes on end, and a cable is warm in minutes.
    lamp = load("lamp", 5.0, inrush=4.0)
    cables = (wire("12 AWG", name="fan feed", carries=("fan",)), wire("6 AWG", name="feed", carries=(ALL_LOADS,)))
    found = size(car(*cables, loads=(FAN, lamp)))
    fan, feed = of(found, "fan feed"), of(found, "feed")
    assert (fan.amps, fan.brief_amps) == (20.0, 50.0)
    assert feed.amps == pytest.approx(20.0 + 5.0)
    with_windows = of(size(car(*cables, loads=(FAN, lamp, WINDOWS))), "feed")
    assert with_windows.amps == pytest.approx(20.0 + 5.0 + 18.0 * 0.01)
    assert feed.brief_amps == pytest.approx(20.0 + 5.0 + 1.5 * 20.0)  # the fan's inrush is the worst


def test_what_the_driver_holds_on_warms_with_the_root_of_its_duty_and_drops_in_full() -> None:
    result = sized(wire("14 AWG", carries=("windows",), fuse_a=15.0), loads=(WINDOWS,))
    assert result.amps == pytest.approx(1.8)
    assert result.drop_amps == 18.0
    assert result.brief_amps == pytest.approx(32.4)
    # Its fuse has to carry the 18 A all the same.
    assert result.fuse is not None
    assert result.fuse.choice_a == 20.0
    assert not test_of(result, "load on the fuse").passed


def test_cranking_is_brief_and_costs_volts_only() -> None:
    result = sized(wire("2 AWG", carries=(CRANK,), start=BATTERY, end=STARTER))
    assert (result.amps, result.brief_amps, result.conductor_c) == (0.0, 136.0, 30.0)
    assert [criterion.name for criterion in result.criteria] == ["crank drop"]
    assert result.criteria[0].limit == 0.5
    assert result.criteria[0].value == result.crank_v == pytest.approx(136.0 * result.ohm)


def test_several_flows_do_not_add_up() -> None:
    both = wire("4 AWG", carries=(CHARGE, ALL_LOADS, CRANK))
    result = sized(both, loads=(load("lamp", 5.0),), output_a=85.0)
    assert (result.amps, result.brief_amps) == (85.0, 136.0)


def test_stated_amps() -> None:
    result = sized(wire("10 AWG", 22.0))
    assert result.amps == result.brief_amps == 22.0


def loop_car(**more: object) -> Cables:
    """The old loop through the dash beside a charge cable straight to the battery."""
    return size(
        car(
            wire("10 AWG", name="out", start=ALTERNATOR, end="dash in", carries=(LOOP,), length_m=2.0),
            wire("10 AWG", name="back", start="dash out", end=BATTERY, carries=(LOOP,), length_m=2.0),
            wire("10 AWG", name="feed", start="dash in", end=BUS, carries=(LOOP,), length_m=0.5),
            wire("4 AWG", name="charge", start=ALTERNATOR, end=BATTERY, carries=(CHARGE,), length_m=1.0),
            loads=(load("heater", 30.0),),
            ammeter=Ammeter("dash in", "dash out", 0.001, 60.0, 3.0),
            **more,
        )
    )


def test_the_loop_carries_what_the_network_says() -> None:
    found = loop_car(output_a=85.0)
    # The feed hangs on the dash: all that the loads take, whoever gives it.
    assert of(found, "feed").amps == pytest.approx(30.0)
    # By hand: resistance of a metre of 10 and 4 AWG in 30 C air, stranded.
    ten, four = (1.02 * (1 + 0.00393 * 10.0) / (58.0 * mm2) for mm2 in (5.261155, 21.150639))
    by_dash, straight = 4.0 * ten + 0.001, 1.0 * four
    alone = 85.0 * straight / (by_dash + straight)
    # All loads on: 30 A leave at `dash in`, coming from the battery's side by the charge cable and by the meter.
    by_out, by_back = straight + 2.0 * ten, 2.0 * ten + 0.001
    assert of(found, "out").amps == pytest.approx(alone + 30.0 * by_back / (by_out + by_back), rel=1e-6)
    # With no output the meter's side gives its share of them, more than ever charges by that way.
    assert of(found, "back").amps == pytest.approx(30.0 * by_out / (by_out + by_back), rel=1e-6)


def test_a_loop_that_leads_nowhere_is_taken_at_full_output() -> None:
    assert sized(wire("10 AWG", carries=(LOOP,), start="dash in", end="dash out"), output_a=85.0).amps == 85.0


# -- limits of the drop -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "test", "limit_v"),
    [
        ({"carries": (CHARGE,)}, "drop", 0.21),
        ({"carries": (CHARGE,), "start": ALTERNATOR, "end": BATTERY}, "path drop", 0.21),
        ({"carries": (CHARGE,), "side": GROUND_SIDE, "start": ENGINE, "end": GROUND}, "path drop", 0.22),
        ({"carries": (CHARGE,), "start": ALTERNATOR, "end": BATTERY, "drop_limit_v": 0.1}, "drop", 0.1),
        ({"carries": (CRANK,)}, "crank drop", 0.4),
        ({"carries": (CRANK,), "drop_limit_v": 0.3}, "crank drop", 0.3),
        ({"carries": ("fan",)}, "drop", 0.6),
        ({"stated_a": 5.0}, "drop", 0.6),
        ({"stated_a": 5.0, "drop_limit_v": 0.1}, "drop", 0.1),
    ],
)
def test_each_drop_has_its_limit(more: dict[str, object], test: str, limit_v: float) -> None:
    limits = Limits(charge_supply_v=0.21, charge_ground_v=0.22, load_share=0.05, crank_v=0.4)
    result = sized(wire("8 AWG", **more), loads=(FAN,), limits=limits)
    assert test_of(result, test).limit == pytest.approx(limit_v)


def test_charging_and_cranking_are_two_tests() -> None:
    for limit_v in (0.01, 5.0):
        both = sized(wire("2 AWG", carries=(CHARGE, CRANK), drop_limit_v=limit_v), output_a=85.0)
        assert (both.drop_amps, test_of(both, "drop").limit) == (85.0, limit_v)
        assert both.drop_v == pytest.approx(85.0 * both.ohm)
        assert (both.crank_amps, test_of(both, "crank drop").limit) == (136.0, 0.5)


def test_a_published_example_of_the_circular_mil_formula() -> None:
    # sportsmensmarine.com/archives/1034: 10 A, 11 ft there and 10 ft back, 3 % of 12 V: 12 AWG does, 10 SAE must.
    awg, sae = (sized(wire(f"12 {system}", 10.0, length_m=21.0 * FEET)) for system in ("AWG", "SAE"))
    assert (awg.smallest, awg.decided_by) == (Gauge("AWG", "12"), "drop")
    assert (sae.smallest, sae.decided_by) == (Gauge("SAE", "10"), "drop")
    assert not test_of(sae, "drop").passed


# -- sizes and classes ------------------------------------------------------------------------


def test_a_popular_choice_is_told_by_how_much_it_exceeds_the_table() -> None:
    cable = wire("8 AWG", insulation_c=75.0, ambient_c=50.0, carries=(CHARGE,), name="charge cable", line=7)
    result = sized(cable, output_a=85.0)
    assert result.table_a == 65.0
    assert result.factors == (("engine space", pytest.approx(0.7454, abs=1e-4)),)
    assert result.ampacity_a == pytest.approx(48.4, abs=0.05)
    assert said(result, "act") == (
        "Charge cable carries 85 A; 8 AWG with 75 °C insulation in 50 °C air allows 48 A by 33 CFR 183.425 Table 5: "
        "37 A (75 %) more than the table. 4 AWG of the same insulation would carry it."
    )
    assert {finding.line for finding in result.findings} == {7}
    assert test_of(result, "ampacity").smallest == Gauge("AWG", "4")
    assert (result.smallest, result.decided_by) == (Gauge("AWG", "4"), "ampacity")


def test_what_each_class_allows_stands_side_by_side() -> None:
    result = sized(wire("8 AWG", 10.0, insulation_c=75.0, ambient_c=50.0))
    assert [kind for kind, _ in result.by_insulation] == [60, 75, 80, 90, 105, 125, 200]
    allowed = dict(result.by_insulation)
    assert allowed[75] == result.ampacity_a == pytest.approx(65.0 * (25.0 / 45.0) ** 0.5)
    assert allowed[105] == pytest.approx(80.0 * 0.85)
    hot = sized(wire("8 AWG", 10.0, insulation_c=125.0, ambient_c=90.0))
    assert [kind for kind, _ in hot.by_insulation] == [105, 125, 200]


def test_insulation_that_its_air_uses_up_carries_nothing() -> None:
    # 85 C insulation counts in the 80 C column, and the air has 82 C.
    result = sized(wire("8 AWG", 10.0, insulation_c=85.0, ambient_c=82.0, name="lamp feed"))
    assert result.ampacity_a == 0.0
    assert result.smallest is None
    assert "air is as hot as its insulation" in said(result, "act")
    assert "(the table's 80 °C column)" in said(result, "act")
    assert "8 AWG of 90 °C insulation would carry it" in said(result, "act")


def test_metric_sizes_stay_metric() -> None:
    result = sized(wire("4 mm2", 45.0, insulation_c=80.0))
    assert (result.smallest, result.decided_by) == (Gauge("mm2", "6"), "ampacity")


def test_no_size_may_do() -> None:
    result = sized(wire("4 AWG", 600.0))
    assert (result.smallest, result.decided_by) == (None, "ampacity")
    assert "No size of the table would, as it lies here." in said(result, "act")
    joints = sized(wire("4 AWG", 50.0, joints_ohm=0.01))
    assert (joints.smallest, joints.decided_by) == (None, "drop")
    assert "No size would keep within it: make it shorter, or see to its joints." in said(joints, "watch")


def test_nothing_decides_where_the_thinnest_does() -> None:
    result = sized(wire("4 AWG", 1.0))
    assert (result.smallest, result.decided_by) == (Gauge("AWG", "18"), "")


def test_a_stated_resistance_is_tested_for_its_drop_alone() -> None:
    result = sized(wire("4 AWG", 30.0, gauge=None, insulation_c=0.0, stated_ohm=0.015, fuse_a=60.0))
    assert (result.table_a, result.ampacity_a, result.conductor_c, result.fuse) == (None, None, None, None)
    assert (result.ohm, result.drop_v) == (0.015, pytest.approx(0.45))
    assert [criterion.name for criterion in result.criteria] == ["drop", "load on the fuse"]
    assert (result.smallest, result.by_insulation, result.factors) == (None, (), ())
    assert "loses 0.45 V at 30 A; the limit is 0.36 V." in said(result, "watch")


def test_a_cable_that_nothing_is_known_of() -> None:
    result = sized(wire("4 AWG"))
    assert (result.amps, result.criteria, result.used, result.fuse) == (0.0, (), 0.0, None)


# -- fuses ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    # 10 AWG of 105 C in 30 C air: 60 A, so at most 90 A; blade and bolt-down ratings.
    ("amps", "choice_a"),
    [(1.0, 2.0), (20.0, 25.0), (24.1, 40.0), (60.0, 80.0), (72.0, None), (80.0, None)],
)
def test_the_fuse_lies_between_the_load_and_the_copper(amps: float, choice_a: float | None) -> None:
    result = sized(wire("10 AWG", amps))
    assert result.fuse is not None
    assert (result.fuse.least_a, result.fuse.most_a) == (pytest.approx(amps / 0.8), pytest.approx(90.0))
    assert result.fuse.choice_a == choice_a


def test_a_cable_that_passes_but_leaves_no_room_for_a_fuse() -> None:
    # 3/0 AWG of 60 C: 260 A; 250 A asks for 312.5 A, the next rating is 400 A, and 390 A is the most.
    result = sized(wire("3/0 AWG", 250.0, insulation_c=60.0, length_m=0.1))
    assert test_of(result, "ampacity").passed
    assert (
        "no standard fuse both carries its load, which asks for 312 A or more, and protects its copper, which 390 A"
        in (said(result, "watch"))
    )


def test_a_fuse_too_large_for_the_copper() -> None:
    result = sized(wire("14 AWG", 10.0, fuse_a=60.0, name="lamp feed"))
    fuse = test_of(result, "fuse")
    assert (fuse.value, fuse.limit, fuse.smallest) == (60.0, 52.5, Gauge("AWG", "12"))
    assert said(result, "act") == (
        "Lamp feed has a 60 A fuse; its copper is protected up to 52 A. A 15 A fuse fits load and copper."
    )
    assert (result.smallest, result.decided_by) == (Gauge("AWG", "12"), "fuse")


@pytest.mark.parametrize(("fuse_a", "words"), [(20.0, "it may tire and open"), (15.0, "it will open")])
def test_a_fuse_too_small_for_the_load(fuse_a: float, words: str) -> None:
    result = sized(wire("10 AWG", 18.0, fuse_a=fuse_a))
    assert f"has a {fuse_a:.0f} A fuse, and its load asks for 22 A or more: {words}." in said(result, "watch")


def test_fuse_and_place_of_a_charge_cable() -> None:
    result = sized(wire("4 AWG", carries=(CHARGE,), start=ALTERNATOR, end=BATTERY, ambient_c=50.0), output_a=85.0)
    assert result.fuse is not None
    assert result.fuse.choice_a == 125.0
    assert result.fuse.place.startswith("at the battery end; where that cannot be, within 7 in (18 cm)")
    assert "within 40 in (1 m) if the cable is sheathed" in result.fuse.place
    assert "two sources" in result.fuse.place


def test_neither_grounds_nor_starter_cables_are_fused() -> None:
    assert sized(wire("4 AWG", 30.0, side=GROUND_SIDE, start=BODY, end=GROUND)).fuse is None
    cable = wire("2 AWG", name="starter cable", carries=(CRANK, ALL_LOADS), start=BATTERY, end=STARTER)
    found = size(car(cable, loads=(load("lamp", 5.0),)))
    assert found.results[0].fuse is None
    assert any(f.text.startswith("Starter cables (starter cable) usually carry no fuse") for f in found.findings)
    fused = sized(replace(cable, fuse_a=100.0), loads=(load("lamp", 5.0),))
    assert "the starter takes 136 A through it" in said(fused, "watch")


def test_the_standard_ratings_rise() -> None:
    assert list(fuses.STANDARD) == sorted(set(fuses.STANDARD))


# -- circuits, and the whole ------------------------------------------------------------------


def fan_car(**limits: float) -> Cables:
    return size(
        car(
            wire("6 AWG", name="feed", start=STARTER, end=BUS, carries=(ALL_LOADS,)),
            wire("2 AWG", name="battery", start=BATTERY, end=STARTER, carries=(CRANK,)),
            wire("8 AWG", name="branch", start=BUS, end="relays", carries=(ALL_LOADS,)),
            wire("12 AWG", name="there", start="relays", end="fan", carries=("fan", "lamp")),
            wire("12 AWG", name="back", start="fan", end=BODY, carries=("fan",), side=GROUND_SIDE),
            wire("6 AWG", name="body", start=BODY, end=GROUND, carries=(ALL_LOADS,), side=GROUND_SIDE),
            loads=(FAN, load("lamp", 5.0), load("radio", 2.0)),
            limits=Limits(**limits),
        )
    )


def test_a_circuit_is_supply_and_ground_from_the_bus_to_the_body() -> None:
    found = fan_car()
    assert [circuit.load.name for circuit in found.circuits] == ["fan", "lamp"]
    fan = found.circuits[0]
    there, back, branch = of(found, "there"), of(found, "back"), of(found, "branch")
    # The branch behind the bus carries every load; feed and body strap lie before bus and behind body.
    assert fan.supply_v == pytest.approx(25.0 * there.ohm + branch.amps * branch.ohm)
    assert fan.ground_v == pytest.approx(20.0 * back.ohm)
    assert (fan.amps, fan.limit_v) == (20.0, pytest.approx(0.36))


def test_a_circuit_that_loses_too_much_is_told() -> None:
    fan = fan_car().circuits[0]
    lost_v = fan.supply_v + fan.ground_v
    for share, told in ((0.99, True), (1.01, False)):
        found = fan_car(load_share=share * lost_v / 12.0).findings
        words = f"Fan loses {lost_v:.2f} V on the way there and back; the limit is {share * lost_v:.2f} V."
        assert any(finding.weight == "watch" and finding.text.startswith(words) for finding in found) is told


def test_the_hardest_used_comes_first_and_missing_fuses_are_named_once() -> None:
    found = fan_car()
    assert [result.used for result in found.results] == sorted((r.used for r in found.results), reverse=True)
    missing = [finding for finding in found.findings if "names no fuse" in finding.text]
    assert len(missing) == 1
    assert "names no fuse for branch, feed, there." in missing[0].text
    assert all(finding in found.findings for result in found.results for finding in result.findings)


def test_all_is_well_is_said_only_where_it_is() -> None:
    assert "well" in {finding.weight for finding in fan_car().findings}
    assert "well" not in {finding.weight for finding in size(car(wire("18 AWG", 40.0))).findings}


def test_the_shipped_car_file_is_sized() -> None:
    file = read(Path(str(files("underdash.carfile").joinpath("example.toml"))))
    found = size(file)
    assert {result.cable.name for result in found.results} == {cable.name for cable in file.cables}
    charge = of(found, "charge cable")
    # Cold, a machine of the class gives 53/48 of what it gives hot at high speed.
    assert charge.amps == pytest.approx(75.0 * 53.0 / 48.0)
    assert charge.ampacity_a == pytest.approx(160.0 * 0.85)
    assert {finding.weight for finding in found.findings} <= {"watch", "note", "well"}
