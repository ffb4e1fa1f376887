"""The dash ammeter's share, its needle and its old loop: by hand, against ngspice, and never better for worse."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from loops import (
    BATTERY_CABLE,
    CHARGE_CABLE,
    LOADS,
    OLD_BACK,
    OLD_OUT,
    SUPPLY,
    car,
    copper,
    example,
    needle,
    seen,
    spice_currents,
    stated,
)

from underdash.carfile.model import (
    ALL_LOADS,
    ALTERNATOR,
    BATTERY,
    CHARGE,
    CRANK,
    LOOP,
    STARTER,
    Ammeter,
    Cable,
    CarFile,
)
from underdash.carfile.paths import AMMETER, supply
from underdash.plan.ammeter import share
from underdash.plan.ammeter.cases import (
    AFTER_START,
    CRANKING,
    CRUISE,
    ENGINE_OFF,
    FLAT_BATTERY,
    HOT_IDLE_ALL,
    NO_OUTPUT,
    cases,
)
from underdash.plan.ammeter.drawing import drawing
from underdash.plan.ammeter.loop import find_loop
from underdash.plan.results import AmmeterShare
from underdash.wire.network import Unconnected, currents, reached

# -- the divider --------------------------------------------------------------------------------


def test_two_ways_divide_as_the_other_ways_resistance() -> None:
    found = seen(car())
    assert found.other_path_ohm is not None
    assert found.after_share == pytest.approx(found.other_path_ohm / (found.meter_path_ohm + found.other_path_ohm))
    assert found.before_share == pytest.approx(1.0)
    loop = find_loop(car())
    assert loop is not None and loop.simply_parallel
    assert (loop.near, loop.far) == (ALTERNATOR, STARTER)
    assert [branch.name for branch in loop.chain] == ["old charge wire", AMMETER, "old battery wire"]


def test_the_shares_of_all_ways_sum_to_one() -> None:
    for file in (car(), example()):
        loop = find_loop(file)
        assert loop is not None
        amps = currents(supply(file), {ALTERNATOR: 1.0}, BATTERY)
        into = [b for b in supply(file) if ALTERNATOR in (b.start, b.end)]
        assert sum(abs(amps[b.name]) for b in into) == pytest.approx(1.0)


def test_a_meter_stated_the_other_way_round_reads_the_other_way() -> None:
    turned = replace(car(), ammeter=Ammeter("meter out", "meter in", 0.001, 60.0, 3.0))
    one, other = seen(car()), seen(turned)
    assert other.after_share == pytest.approx(one.after_share)
    for a, b in zip(one.needles, other.needles, strict=True):
        assert (b.before_a, b.after_a) == pytest.approx((-a.before_a, -a.after_a))
    assert any("exchange meter out and meter in" in finding.text for finding in other.findings)
    assert not any("exchange" in finding.text for finding in one.findings)


def test_without_an_ammeter_there_is_no_share() -> None:
    assert share(car(supply=(CHARGE_CABLE, BATTERY_CABLE), ammeter=None)) is None


def test_an_alternator_that_nothing_joins_is_refused() -> None:
    with pytest.raises(Unconnected):
        share(car(supply=(OLD_BACK, BATTERY_CABLE)))


# -- the needle ---------------------------------------------------------------------------------


def test_the_cases_balance_by_the_cars_own_figures() -> None:
    told = {case.name: case for case in cases(car())}
    assert (told[AFTER_START].loads_a, told[AFTER_START].battery_a) == (15.0, 30.0)
    assert (told[CRUISE].loads_a, told[CRUISE].battery_a) == (15.0, 0.0)
    # Hot idle: 800 rpm x 2.5 = 2,000 rpm of the machine, 40 A; 15 + 20 x 0.5 + 12 + 23 = 60 A.
    assert told[HOT_IDLE_ALL].alternator_a == pytest.approx(40.0)
    assert told[HOT_IDLE_ALL].battery_a == pytest.approx(-20.0)
    assert (told[ENGINE_OFF].battery_a, told[CRANKING].battery_a) == (-10.0, -140.0)
    assert (told[FLAT_BATTERY].alternator_a, told[FLAT_BATTERY].battery_a) == (70.0, 55.0)
    assert (told[NO_OUTPUT].loads_a, told[NO_OUTPUT].battery_a) == (60.0, -60.0)


def test_a_machine_that_has_less_charges_with_less() -> None:
    weak = replace(
        car(), alternator=replace(car().alternator, rated_a=20.0, hot_a=(0.0, 8.0, 20.0), cold_a=(0.0, 10.0, 22.0))
    )
    told = {case.name: case for case in cases(weak)}
    assert told[AFTER_START].alternator_a < 22.0
    assert told[AFTER_START].battery_a < 7.0
    assert told[HOT_IDLE_ALL].battery_a == pytest.approx(8.0 - 60.0)


def test_what_is_brief_or_parked_counts_by_its_duty_always() -> None:
    brief = replace(LOADS[0], amps=10.0, duty=0.1, when=frozenset({"brief"}))
    parked = replace(LOADS[0], amps=0.5, when=frozenset({"parked"}))
    told = {case.name: case for case in cases(replace(car(), loads=(brief, parked, *LOADS[1:])))}
    assert told[CRUISE].loads_a == pytest.approx(1.5)
    assert told[HOT_IDLE_ALL].loads_a == pytest.approx(1.5 + 45.0)


def test_the_needle_shows_charge_while_the_battery_gives_twenty_amps() -> None:
    found = seen(car())
    idle = needle(found, HOT_IDLE_ALL)
    assert idle.battery_a == pytest.approx(-20.0)
    # All of the alternator's 40 A goes to the starter's post, the loads are taken there: the loop has its share of it.
    assert idle.after_a == pytest.approx(40.0 * found.after_share)
    assert idle.before_a == pytest.approx(40.0)
    warned = next(finding for finding in found.findings if finding.weight == "watch")
    assert "gives 20 A" in warned.text and "Believe the volts" in warned.text


def test_a_fuse_box_fed_from_both_sides_is_a_bridge() -> None:
    # Resistances in mohm: 6 to the post, meter and wire 2 + 4 back, old feed 3, new feed 2, charge cable 1; tail 1.
    file = car(
        supply=(
            stated("out", ALTERNATOR, "meter in", 0.006, carries=(LOOP,)),
            stated("back", "meter out", STARTER, 0.004, carries=(LOOP,)),
            stated("old feed", "meter in", "fuse box", 0.003, carries=(LOOP,)),
            stated("new feed", STARTER, "fuse box", 0.002, carries=(ALL_LOADS,), added=True),
            stated("charge cable", ALTERNATOR, STARTER, 0.001, carries=(CHARGE,), added=True),
            stated("tail", STARTER, BATTERY, 0.001, carries=(CRANK,)),
        ),
        bus="fuse box",
        ammeter=Ammeter("meter in", "meter out", 0.002, 60.0, 3.0),
    )
    found, loop = seen(file), find_loop(file)
    assert loop is not None and not loop.simply_parallel
    assert (loop.near, loop.far) == (ALTERNATOR, STARTER)
    # The post sees the starter by 6 mohm (meter, back) beside 5 (feeds): 30/11; with 6 before it 96/11 beside 1.
    # Of the charge the outer way takes 1 / (1 + 96/11) = 11/107, the meter 5/11 of that.
    assert found.after_share == pytest.approx(5.0 / 107.0)
    # The loads' 1 A at the fuse box: volts there against the starter's post, by the post's and the box's equations,
    #   p (1/7 + 1/6 + 1/3) = b/3 (6 + 1 = 7 mohm to the starter by the alternator);  b (1/3 + 1/2) - p/3 = -1
    #   so p = 14 b / 27, b (5/6 - 14/81) = -1, b = -162/107, p = -84/107 mV; the meter p / 6 = -14/107 A.
    idle = needle(found, HOT_IDLE_ALL)
    assert idle.after_a == pytest.approx(40.0 * 5.0 / 107.0 - 60.0 * 14.0 / 107.0)
    # Before: the loads hang on the post, so the needle shows the battery's own amps.
    assert idle.before_a == pytest.approx(-20.0)


@pytest.mark.parametrize(
    "file", [car(), example(), replace(car(), bus="meter in")], ids=["plain", "shipped", "at post"]
)
def test_ngspice_finds_the_same_needles(file: CarFile) -> None:
    found = seen(file)
    for case in cases(file):
        for before, shown in ((True, needle(found, case.name).before_a), (False, needle(found, case.name).after_a)):
            branches = supply(file, before=before)
            joined = [b for b in branches if not {b.start, b.end} - reached(branches, BATTERY)]
            expected = spice_currents(joined, case.injected(file.bus), BATTERY)[AMMETER]
            assert shown == pytest.approx(expected, rel=1e-4, abs=1e-5)


def test_cranking_goes_through_a_loop_that_lies_beside_the_starters_cable() -> None:
    landed = replace(OLD_BACK, end=BATTERY)
    found = seen(car(supply=(CHARGE_CABLE, OLD_OUT, landed, BATTERY_CABLE)))
    amps = {branch.name: branch.ohm for branch in supply(car())}
    tail = amps["battery cable"]
    loop = amps["old charge wire"] + amps["old battery wire"] + amps[AMMETER] + amps["charge cable"]
    assert needle(found, CRANKING).after_a == pytest.approx(-140.0 * tail / (tail + loop))
    assert any(finding.text.startswith("While the starter turns") for finding in found.findings)
    assert needle(seen(car()), CRANKING).after_a == pytest.approx(0.0, abs=1e-9)


def test_what_was_before_is_not_known_where_the_old_cables_are_not_stated() -> None:
    found = seen(car(supply=(CHARGE_CABLE, OLD_OUT, replace(OLD_BACK, added=True), BATTERY_CABLE)))
    assert not found.before_known
    assert any("is not known" in finding.text for finding in found.findings)
    assert seen(car()).before_known


def test_a_meter_off_the_way_sees_no_charge() -> None:
    aside = (CHARGE_CABLE, BATTERY_CABLE, stated("tap", STARTER, "meter in", 0.001))
    found = seen(car(supply=aside))
    assert found.after_share == pytest.approx(0.0, abs=1e-12)
    assert any("sees no charging at all" in finding.text for finding in found.findings)
    assert "No way" in drawing(found, car(supply=aside))


# -- the old loop -------------------------------------------------------------------------------


def loop_of(out: Cable = OLD_OUT, back: Cable = OLD_BACK, charge: Cable = CHARGE_CABLE) -> AmmeterShare:
    return seen(car(supply=(charge, out, back, BATTERY_CABLE)))


def test_if_the_charge_cable_opens_all_of_it_comes_through_the_loop() -> None:
    found = loop_of()
    assert found.loop_a == pytest.approx(80.0 * found.after_share)  # 80 A: the cold machine's most
    assert found.loop_alone_a == pytest.approx(80.0)
    assert found.loop_ampacity_a == pytest.approx(50.0)  # 33 CFR 183.425 Table 5, 10 AWG at 80 C, alone in 30 C
    assert found.verdict == "fuse"
    said = next(finding for finding in found.findings if finding.weight == "act")
    assert "at most 75 A" in said.text  # 33 CFR 183.455(c)(1): 150 % of 50 A
    assert "If 'charge cable' opens" in said.text and "80 A go through" in said.text
    assert "80 A if one of the conversion's cables opens (the most that the alternator gives, cold)" in said.evidence
    assert "7.5 A holds" in said.text  # 80 A x 6.6 % / 0.8 = 6.6 A, and the next standard size


def test_a_fuse_at_each_end_that_is_fed_lets_it_stay() -> None:
    fused = loop_of(replace(OLD_OUT, fuse_a=60.0), replace(OLD_BACK, fuse_a=60.0))
    assert fused.verdict == "leave"
    assert fused.findings[-1].weight == "well"
    assert loop_of(replace(OLD_OUT, fuse_a=60.0)).verdict == "fuse"  # the battery's end is bare
    assert loop_of(replace(OLD_OUT, fuse_a=80.0), replace(OLD_BACK, fuse_a=60.0)).verdict == "fuse"  # above 75 A


def test_a_wire_within_the_loop_needs_no_fuse_of_its_own() -> None:
    out, back = replace(OLD_OUT, end="splice", fuse_a=60.0), replace(OLD_BACK, fuse_a=60.0)
    within = replace(OLD_OUT, name="within", start="splice")
    assert seen(car(supply=(CHARGE_CABLE, out, within, back, BATTERY_CABLE))).verdict == "leave"


def test_a_wire_that_both_ends_can_feed_is_not_protected_by_one_fuse() -> None:
    fused = (replace(OLD_OUT, fuse_a=60.0), replace(OLD_BACK, fuse_a=60.0))
    across = copper("across", ALTERNATOR, STARTER, "10 AWG", 4.0, carries=(LOOP,), fuse_a=60.0)
    assert seen(car(supply=(CHARGE_CABLE, *fused, across, BATTERY_CABLE))).verdict == "fuse"


def test_a_meter_on_the_starters_own_post_leaves_that_end_bare() -> None:
    file = car(
        supply=(CHARGE_CABLE, replace(OLD_OUT, fuse_a=60.0), BATTERY_CABLE),
        ammeter=Ammeter("meter in", STARTER, 0.001, 60.0, 3.0),
    )
    assert seen(file).verdict == "fuse"


def test_a_fuse_too_small_for_what_flows_protects_nothing() -> None:
    assert loop_of(replace(OLD_OUT, fuse_a=3.0), replace(OLD_BACK, fuse_a=3.0)).verdict == "fuse"


def test_a_loop_that_carries_more_than_it_may_goes() -> None:
    thin = {"gauge": replace(OLD_OUT.gauge, size="16"), "bundle": 6}  # type: ignore[type-var]
    long = replace(CHARGE_CABLE, length_m=8.0)
    found = loop_of(replace(OLD_OUT, **thin, length_m=0.5), replace(OLD_BACK, **thin, length_m=0.5), long)
    assert found.loop_ampacity_a is not None and found.loop_a > found.loop_ampacity_a
    assert found.verdict == "remove"
    said = next(finding for finding in found.findings if finding.weight == "act")
    assert "off at both ends" in said.text and "insulate each end" in said.text


def test_the_worst_is_an_alternator_without_a_battery() -> None:
    leap = "the alternator runs without a battery: its volts leap"
    said = next(finding for finding in loop_of().findings if finding.weight == "act").text
    assert f"the loop's small fuses follow, and {leap}" in said
    assert "taking it out is the plainer choice" in said and "all hangs on the charge cable" in said
    fused = loop_of(replace(OLD_OUT, fuse_a=60.0), replace(OLD_BACK, fuse_a=60.0))  # 80 A come if the other way opens
    assert fused.verdict == "leave" and f"fuses follow, and {leap}" in fused.findings[-1].text
    gone = loop_of(stated("old charge wire", ALTERNATOR, "meter in", 0.01, carries=(LOOP,)))
    said = next(finding for finding in gone.findings if finding.weight == "act").text
    assert "The charge cable is then the only way" in said and leap in said
    only = seen(car(supply=SUPPLY[1:]))
    assert any("the alternator's only way to the battery" in f.text and leap in f.text for f in only.findings)


def test_fuses_that_hold_all_of_it_lose_no_battery() -> None:
    thick = {"gauge": replace(OLD_OUT.gauge, size="4"), "fuse_a": 100.0}  # type: ignore[type-var]
    found = loop_of(replace(OLD_OUT, **thick), replace(OLD_BACK, **thick))
    assert found.verdict == "leave" and found.loop_alone_a < 100.0
    assert not any("without a battery" in finding.text for finding in found.findings)


def test_a_loop_of_unknown_gauge_goes() -> None:
    bare = stated("old charge wire", ALTERNATOR, "meter in", 0.01, carries=(LOOP,))
    found = loop_of(bare)
    assert found.verdict == "remove"
    assert any("no gauge" in finding.text for finding in found.findings)


def test_loads_that_hang_on_the_loop_get_a_feed_of_their_own_first() -> None:
    found = seen(car(bus="meter in"))
    assert found.verdict == "fuse"
    assert any("cable of their own first" in finding.text for finding in found.findings)


def test_without_a_charge_cable_nothing_changes() -> None:
    found = seen(car(supply=SUPPLY[1:]))
    assert found.other_path_ohm is None
    assert (found.before_share, found.after_share) == pytest.approx((1.0, 1.0))
    assert all(one.before_a == one.after_a for one in found.needles)
    assert found.verdict == "fuse"


# -- never better for worse ---------------------------------------------------------------------

GAUGES = ("10 AWG", "8 AWG", "6 AWG", "4 AWG", "2 AWG", "1/0 AWG")


def with_charge(gauge: str, length_m: float, joints_ohm: float = 0.0) -> AmmeterShare:
    cable = copper(
        "charge cable", ALTERNATOR, STARTER, gauge, length_m, joints_ohm=joints_ohm, carries=(CHARGE,), added=True
    )
    return loop_of(charge=cable)


@settings(deadline=None)
@given(st.integers(0, len(GAUGES) - 2), st.floats(0.3, 8.0), st.floats(1.01, 3.0))
def test_a_thicker_or_shorter_charge_cable_never_raises_the_meters_share(
    size: int, length_m: float, more: float
) -> None:
    thin, thick = with_charge(GAUGES[size], length_m), with_charge(GAUGES[size + 1], length_m)
    assert thick.after_share < thin.after_share
    assert thick.loop_a < thin.loop_a
    longer = with_charge(GAUGES[size], length_m * more)
    assert longer.after_share > thin.after_share
    assert longer.loop_a > thin.loop_a


@settings(deadline=None)
@given(st.floats(0.2, 5.0), st.floats(1.01, 3.0))
def test_nor_does_it_where_the_ways_make_a_bridge(length_m: float, more: float) -> None:
    def shipped(length: float) -> AmmeterShare:
        file = example()
        cables = [replace(c, length_m=length) if c.name == "charge cable" else c for c in file.cables]
        return seen(replace(file, cables=tuple(cables)))

    short, long = shipped(length_m), shipped(length_m * more)
    assert long.after_share > short.after_share
    assert long.other_path_ohm is not None and short.other_path_ohm is not None
    assert long.other_path_ohm > short.other_path_ohm


@settings(deadline=None)
@given(st.floats(0.1, 8.0), st.floats(0.1, 8.0), st.floats(0.0, 0.01), st.sampled_from(GAUGES))
def test_the_two_ways_shares_sum_to_one(out_m: float, back_m: float, joints_ohm: float, gauge: str) -> None:
    cable = replace(CHARGE_CABLE, joints_ohm=joints_ohm)
    file = car(
        supply=(
            cable,
            copper("old charge wire", ALTERNATOR, "meter in", gauge, out_m, carries=(LOOP,)),
            replace(OLD_BACK, length_m=back_m),
            BATTERY_CABLE,
        )
    )
    found = seen(file)
    beside = currents(supply(file), {ALTERNATOR: 1.0}, BATTERY)["charge cable"]
    assert found.after_share + beside == pytest.approx(1.0)
    assert found.other_path_ohm is not None
    assert beside == pytest.approx(found.meter_path_ohm / (found.meter_path_ohm + found.other_path_ohm))
