"""Charge path and ground: hand-worked, and against ngspice."""

import re
from dataclasses import replace

import pytest
from loops import (
    BATTERY_CABLE,
    CHARGE_CABLE,
    MACHINE,
    car,
    copper,
    example,
    spice_currents,
    stated,
)

from underdash.carfile.model import (
    ALL_LOADS,
    ALTERNATOR,
    BATTERY,
    BODY,
    CHARGE,
    CRANK,
    ENGINE,
    GROUND,
    GROUND_SIDE,
    SUPPLY_SIDE,
    Cable,
    CarFile,
    Limits,
)
from underdash.plan.charge_path import charge_path
from underdash.plan.charge_path.currents import flow
from underdash.plan.charge_path.stray import FEW_A, stray, stray_ways
from underdash.plan.results import WEIGHTS, Finding
from underdash.wire.ampacity import conductor_c
from underdash.wire.gauge import parse
from underdash.wire.network import Unconnected

# Resistances only: 2 mohm to the starter, 1 mohm on; engine to ground 3 mohm, beside it 2 + 4 mohm by the body.
PLAIN = {
    "supply": (stated("out", ALTERNATOR, "starter", 0.002), stated("on", "starter", BATTERY, 0.001)),
    "ground": (
        stated("strap", ENGINE, GROUND, 0.003, side=GROUND_SIDE),
        stated("mounts", ENGINE, BODY, 0.002, side=GROUND_SIDE),
        stated("body lead", BODY, GROUND, 0.004, side=GROUND_SIDE),
    ),
    "ammeter": None,
}


def test_by_hand() -> None:
    path = charge_path(car(**PLAIN))
    supply_side, ground_side, body = path.drops
    assert path.output_a == 70.0
    # 70 A x 3 mohm; 70 A x (3 || 6) mohm = 2 mohm; engine and body see 2 || (3 + 4) = 14/9 mohm.
    assert supply_side.volts == pytest.approx(0.210)
    assert ground_side.volts == pytest.approx(0.140)
    assert body.volts == pytest.approx(70.0 * 0.014 / 9.0)
    assert [(drop.start, drop.end) for drop in path.drops] == [(ALTERNATOR, BATTERY), (ENGINE, GROUND), (ENGINE, BODY)]
    # 14.4 V - 10 mV/K x 50 K; the regulator's other end is its case.
    assert path.set_point_v == pytest.approx(13.9)
    assert path.battery_v == pytest.approx(13.9 - 0.210 - 0.140)
    assert path.sensed_at_battery_v == pytest.approx(13.9 - 0.140)
    assert path.bus_over_battery_v == pytest.approx(0.070)
    # Two thirds by the strap; mounts and body lead follow one another and carry the other third, both.
    assert dict(path.ground_shares) == pytest.approx({"strap": 2 / 3, "mounts": 1 / 3, "body lead": 1 / 3})
    assert path.ground_shares[0][0] == "strap"


def test_a_separate_ground_lies_beside_block_mounts_and_strap() -> None:
    added = stated("second ground", ENGINE, GROUND, 0.002, side=GROUND_SIDE, added=True)
    path = charge_path(car(**{**PLAIN, "ground": (*PLAIN["ground"], added)}))
    # 2 mohm beside 2 mohm: half of the drop, half of the current.
    assert path.ground_without_added_v == pytest.approx(0.140)
    assert path.drops[1].volts == pytest.approx(0.070)
    assert dict(path.ground_shares)["second ground"] == pytest.approx(0.5)
    finding = next(found for found in path.findings if "'second ground'" in found.text)
    assert "50%" in finding.text and "140 mV without, 70 mV with" in finding.text


def test_a_ground_that_only_the_conversion_makes_has_no_before() -> None:
    added = stated("new ground", ENGINE, GROUND, 0.002, side=GROUND_SIDE, added=True)
    path = charge_path(car(**{**PLAIN, "ground": (added, stated("lead", BODY, GROUND, 0.004, side=GROUND_SIDE))}))
    assert path.ground_without_added_v is None
    assert any(found.weight == "watch" and "no ground at all" in found.text for found in path.findings)


def test_a_body_that_nothing_joins_is_left_out() -> None:
    path = charge_path(car(**{**PLAIN, "ground": PLAIN["ground"][:1]}))
    assert [drop.end for drop in path.drops] == [BATTERY, GROUND]


def test_an_alternator_that_nothing_joins_is_refused() -> None:
    with pytest.raises(Unconnected, match="alternator"):
        charge_path(car(**{**PLAIN, "supply": PLAIN["supply"][1:]}))


def test_sensing_at_the_battery_gives_the_supply_side_back_but_not_ground() -> None:
    own = charge_path(car(**PLAIN))
    remote = charge_path(car(**PLAIN, alternator=replace(MACHINE, senses=BATTERY)))
    assert own.battery_v == own.sensed_at_alternator_v
    assert remote.battery_v == remote.sensed_at_battery_v == pytest.approx(own.battery_v + 0.210)
    told = next(found.text for found in remote.findings if found.text.startswith("The regulator senses at the battery"))
    assert "0.21 V above" in told and "far over its set point" in told  # the sense wire's risk is named


@pytest.mark.parametrize(
    # 0.2 V on the charge side: Hyundai 2007 Azera and 2009 Elantra manuals; 0.3 V at 30 A: Mitsubishi Attrage.
    ("amps", "limit_v", "ohm", "weight"),
    [
        (70.0, 0.2, 0.0027, "well"), (70.0, 0.2, 0.0029, "watch"), (70.0, 0.2, 0.0032, "act"),
        (30.0, 0.3, 0.0099, "well"), (30.0, 0.3, 0.0101, "watch"), (30.0, 0.3, 0.0111, "act"),
    ],
)  # fmt: skip
def test_published_limits_decide(amps: float, limit_v: float, ohm: float, weight: str) -> None:
    one = (stated("out", ALTERNATOR, BATTERY, ohm),)
    machine = replace(MACHINE, hot_a=(0.0, amps, amps))
    path = charge_path(car(**{**PLAIN, "supply": one}, bus=BATTERY, alternator=machine, limits=Limits(limit_v, 0.2)))
    finding = next(found for found in path.findings if found.text.startswith("From the alternator"))
    assert finding.weight == weight


def test_the_remedy_named_is_just_enough() -> None:
    one = stated("out", ALTERNATOR, BATTERY, 0.006)
    path = charge_path(car(**{**PLAIN, "supply": (one,)}, bus=BATTERY))
    finding = next(found for found in path.findings if found.weight == "act")
    # 0.2 V / 70 A = 2.857 mohm wanted; 1 / (1/2.857 - 1/6) = 5.45 mohm beside it.
    assert "at most 5.5 mohm" in finding.text
    beside = stated("beside", ALTERNATOR, BATTERY, 0.00545)
    assert charge_path(car(**{**PLAIN, "supply": (one, beside)}, bus=BATTERY)).drops[0].volts <= 0.2


def said(file: CarFile, start: str) -> Finding:
    """The finding that begins so."""
    return next(found for found in charge_path(file).findings if found.text.startswith(start))


def figure(text: str, before: str) -> float:
    """The mohm that follow these words [ohm]."""
    found = re.search(re.escape(before) + r", of at most ([\d.]+) mohm", text)
    assert found, text
    return float(found[1]) / 1000.0


# A battery in the boot: 1.1 mohm to the starter, then 4.6 m of 50 mm2; 92 A through it.
BOOT = (
    stated("charge cable", ALTERNATOR, "starter", 0.0011, carries=(CHARGE,)),
    copper("boot cable", BATTERY, "starter", "50 mm2", 4.6, joints_ohm=0.0005, carries=(CRANK, CHARGE), line=110),
)
BOOT_MACHINE = replace(MACHINE, hot_a=(0.0, 50.0, 92.0), cold_a=(0.0, 60.0, 108.0))
BOOT_CAR = car(**{**PLAIN, "supply": BOOT}, bus="starter", alternator=BOOT_MACHINE)


def boot(*cables: Cable) -> float:
    """The supply side's drop of that car with these cables [V]."""
    return charge_path(replace(BOOT_CAR, cables=(*cables, *BOOT_CAR.cables[2:]))).drops[0].volts


def test_beside_the_path_beside_a_cable_and_in_its_place_are_three_figures() -> None:
    text = said(BOOT_CAR, "From the alternator").text
    all_the_way = figure(text, "from alternator to battery")
    beside, instead = figure(text, "one beside 'boot cable'"), figure(text, "one in place of 'boot cable'")
    # 0.2 V / 92 A = 2.17 mohm are wanted; 1.1 of them the charge cable has, so 1.07 are left for the boot cable.
    assert instead == pytest.approx(0.2 / 92.0 - 0.0011, abs=5e-6)
    now = next(b.ohm for b in flow(BOOT_CAR, SUPPLY_SIDE, 92.0, ALTERNATOR, BATTERY).branches if b.name == "boot cable")
    assert 1.0 / beside + 1.0 / now == pytest.approx(1.0 / instead, rel=0.01)
    assert 1.0 / all_the_way + 1.0 / (0.0011 + now) == pytest.approx(92.0 / 0.2, rel=0.02)
    for cables in (
        (BOOT[0], stated("boot cable", BATTERY, "starter", instead)),
        (*BOOT, stated("beside", BATTERY, "starter", beside)),
        (*BOOT, stated("all the way", ALTERNATOR, BATTERY, all_the_way)),
    ):
        assert boot(*cables) == pytest.approx(0.2, abs=0.002)


def test_the_gauge_that_does_it_is_the_smallest_that_does() -> None:
    text = said(BOOT_CAR, "From the alternator").text
    assert "(70 mm² does it at its 4.6 m)" in text  # beside it
    assert boot(*BOOT, replace(BOOT[1], name="second", gauge=parse("70 mm2"))) <= 0.2
    assert boot(*BOOT, replace(BOOT[1], name="second", gauge=parse("50 mm2"))) > 0.2
    assert "(no listed size does it at its 4.6 m with joints of 0.50 mohm)" in text  # in its place
    assert boot(BOOT[0], replace(BOOT[1], gauge=parse("120 mm2"))) > 0.2


def test_a_second_cable_is_no_thinner_than_the_first_and_fused_for_itself() -> None:
    thick = copper("charge cable", ALTERNATOR, BATTERY, "4 AWG", 3.0, joints_ohm=0.0005, carries=(CHARGE,))
    text = said(car(**{**PLAIN, "supply": (thick,)}, bus=BATTERY), "From the alternator").text
    # One that joins the same two posts: the whole path's figure and the cable's are one.
    assert "one beside" not in text
    assert re.search(r"from end to end \(4 AWG does it at its 3 m\)", text)  # a thinner one would do, but for a fault
    assert "has its own fuse" in text


def test_joints_that_lose_it_all_come_first() -> None:
    bad = copper("charge cable", ALTERNATOR, "starter", "4 AWG", 1.0, joints_ohm=0.008, carries=(CHARGE,))
    text = said(car(**{**PLAIN, "supply": (bad, PLAIN["supply"][1])}), "From the alternator").text
    assert "the joints of 'charge cable' alone have 8.0 mohm: those first" in text


def test_a_miss_by_less_than_a_tenth_is_watched() -> None:
    def weight(ohm: float) -> Finding:
        return said(car(**{**PLAIN, "supply": (stated("out", ALTERNATOR, BATTERY, ohm),)}, bus=BATTERY), "From the alt")

    assert weight(0.2199 / 70.0).weight == "watch" and "That is close" in weight(0.2199 / 70.0).text
    assert weight(0.2201 / 70.0).weight == "act" and "That is close" not in weight(0.2201 / 70.0).text
    assert "0.201 V are lost" not in weight(0.2004 / 70.0).text and "0.2004 V" in weight(0.2004 / 70.0).text


def test_a_regulator_that_senses_at_the_battery_makes_up_for_the_supply_side() -> None:
    supply = (stated("out", ALTERNATOR, "starter", 0.004), PLAIN["supply"][1])
    own = said(car(**{**PLAIN, "supply": supply}), "From the alternator")
    remote = said(
        car(**{**PLAIN, "supply": supply}, alternator=replace(MACHINE, senses=BATTERY)), "From the alternator"
    )
    assert (own.weight, remote.weight) == ("act", "watch")
    # 70 A x 5 mohm on top of 13.9 V.
    assert "own post then stands at 14.25 V hot, not at 13.90 V" in remote.text and "own post" not in own.text
    # The ground is not made up for.
    bad = (stated("strap", ENGINE, GROUND, 0.004, side=GROUND_SIDE), *PLAIN["ground"][1:])
    remote = said(car(**{**PLAIN, "ground": bad[:1]}, alternator=replace(MACHINE, senses=BATTERY)), "From the engine")
    assert remote.weight == "act"


# -- losses in words ----------------------------------------------------------------------------


def test_the_losses_of_one_way_add_up_and_the_rest_lies_side_by_side() -> None:
    for file in (car(), example()):
        for start, drop in zip(("From the alternator", "From the engine"), charge_path(file).drops, strict=False):
            evidence = said(file, start).evidence
            main, _, beside = evidence.partition("; side by side with that: ")
            lost = [float(volts) for volts in re.findall(r" ([\d.]+) V at", main)]
            assert sum(lost) == pytest.approx(drop.volts, abs=0.0006 * len(lost))
            assert beside
    evidence = said(example(), "From the alternator").evidence
    assert evidence.index("charge cable") < evidence.index("battery cable") < evidence.index("side by side")
    assert re.search(r"ammeter \S+ V at \S+ A \+ old battery wire", evidence)  # one after the other, with the same amps
    assert re.search(r"old fuse box wire \S+ V at \S+ A \+ fuse box feed", evidence)


def test_the_grounds_shares_are_told_as_ways() -> None:
    path = charge_path(example())
    told = next(found.evidence for found in path.findings if "parallel path" in found.text)
    assert told.startswith("side by side: engine ground")
    assert "mounts and linkage and then body ground" in told
    assert sum(int(share) for share in re.findall(r"(\d+)%", told)) == pytest.approx(100, abs=1)


def test_other_amps_than_the_cables_are_explained() -> None:
    evidence = said(BOOT_CAR, "From the alternator").evidence
    assert "92 A is the output hot; the table of cables has 108 A, the most that it gives cold" in evidence
    even = replace(
        BOOT_CAR, alternator=replace(MACHINE, rated_a=92.0, hot_a=(0.0, 50.0, 92.0), cold_a=(0.0, 60.0, 92.0))
    )
    assert "cold" not in said(even, "From the alternator").evidence


# -- mounts and linkage -------------------------------------------------------------------------


def mounted(strap_ohm: float, mounts_ohm: float = 0.005) -> CarFile:
    """Mounts and a body lead of 1 mohm beside the strap."""
    return car(
        **{
            **PLAIN,
            "ground": (
                stated("strap", ENGINE, GROUND, strap_ohm, side=GROUND_SIDE, carries=(CRANK, CHARGE)),
                stated("mounts", ENGINE, BODY, mounts_ohm, side=GROUND_SIDE, line=286),
                stated("body lead", BODY, GROUND, 0.001, side=GROUND_SIDE, carries=(ALL_LOADS,)),
            ),
        }
    )


def test_mounts_that_carry_the_charge_are_graver_than_a_drop() -> None:
    file = mounted(0.018)
    found = said(file, "'mounts' carries")
    # 18 mohm beside 6: three quarters, of 70 A and of 140 A; for the loads 5 beside 19.
    assert (found.weight, found.line) == ("act", 286)
    assert "carries 52 A at full output into the battery, 55 A if the loads take it, and 105 A while the" in found.text
    assert "burns them" in found.text
    ohm = figure(found.text, "from the engine to the battery's negative post")
    cure = stated("cure", ENGINE, GROUND, ohm, side=GROUND_SIDE, carries=(CHARGE,))
    cured = replace(file, cables=(*file.cables, cure))
    (mounts,) = stray_ways(cured)
    left = stray(cured, mounts, 70.0)
    assert left.within(FEW_A * 1.02, 20.4) and not left.within(FEW_A * 0.9, 18.0)
    assert not any(one.weight == "act" and "'mounts' carries" in one.text for one in charge_path(cured).findings)


def test_mounts_that_carry_little_are_not_spoken_of() -> None:
    assert not [one for one in charge_path(mounted(0.0002, 1.0)).findings if "'mounts'" in one.text]
    few = said(mounted(0.0003, 0.012), "'mounts' carries")  # cranking and loads only, and no more than 20 A
    assert few.weight == "watch" and "burns" not in few.text


def test_a_strap_whose_ohms_were_measured_is_no_mount() -> None:
    assert [cable.name for cable in stray_ways(mounted(0.018))] == ["mounts"]
    named = replace(mounted(0.018).cables[-2], carries=(CHARGE,))
    assert not stray_ways(replace(mounted(0.018), cables=(*PLAIN["supply"], named)))


# -- a battery far from its engine --------------------------------------------------------------


def test_a_battery_in_the_boot_is_watched() -> None:
    found = said(BOOT_CAR, "'boot cable' is 4.6 m long")
    assert (found.weight, found.line) == ("watch", 110)
    for word in ("fuse or fusible link rated for cranking", "isolator", "grommet", "vented", "fuel", "seams", "manual"):
        assert word in found.text
    assert "no fuse in the file" in found.evidence
    fused = replace(BOOT_CAR, cables=(BOOT[0], replace(BOOT[1], fuse_a=300.0), *BOOT_CAR.cables[2:]))
    assert "a 300 A fuse in the file" in said(fused, "'boot cable' is").evidence


@pytest.mark.parametrize(
    "near",
    [
        replace(BOOT[1], length_m=1.5),
        replace(BOOT[1], start="starter", end="fuse box", carries=(CHARGE,)),
        replace(BOOT[1], carries=("lamps",)),
    ],
)
def test_a_battery_near_its_engine_is_not(near: Cable) -> None:
    file = replace(BOOT_CAR, cables=(*PLAIN["supply"], replace(near, name="other"), *BOOT_CAR.cables[2:]))
    assert not [found for found in charge_path(file).findings if "m long" in found.text]


def test_copper_is_as_warm_as_its_current_makes_it() -> None:
    file = car()
    found = flow(file, SUPPLY_SIDE, 70.0, ALTERNATOR, BATTERY)
    cables = {cable.name: cable for cable in file.cables}
    for branch in found.branches:
        cable = cables.get(branch.name)
        if cable is None or cable.gauge is None:
            continue
        celsius = conductor_c(cable.gauge.area_mm2, abs(found.amps[branch.name]), cable.ambient_c, cable.bundle)
        # IACS copper, 1/58 ohm mm2/m, +0.393 %/K, strands 2 % longer.
        copper_ohm = 1.02 * cable.length_m / (58.0 * cable.gauge.area_mm2) * (1.0 + 0.00393 * (celsius - 20.0))
        assert branch.ohm == pytest.approx(copper_ohm, rel=1e-6)


@pytest.mark.parametrize("file", [car(), example()], ids=["hand-built", "shipped"])
def test_ngspice_finds_the_same_drops_and_shares(file) -> None:
    path = charge_path(file)
    there = flow(file, SUPPLY_SIDE, path.output_a, ALTERNATOR, BATTERY)
    expected = spice_currents(there.branches, {ALTERNATOR: path.output_a}, BATTERY)
    assert dict(there.amps) == pytest.approx(expected, rel=1e-5, abs=1e-5)
    back = flow(file, GROUND_SIDE, path.output_a, GROUND, ENGINE)
    expected = spice_currents(back.branches, {GROUND: path.output_a}, ENGINE)
    for name, share in path.ground_shares:
        assert share * path.output_a == pytest.approx(abs(expected[name]), rel=1e-5, abs=1e-5)
    # At the engine the shares sum to one: all of it comes home there.
    home = [b for b in back.branches if ENGINE in (b.start, b.end)]
    assert sum(dict(path.ground_shares).get(b.name, 0.0) for b in home) == pytest.approx(1.0)


def test_the_gravest_comes_first_and_names_the_cable_and_its_line() -> None:
    cable = replace(CHARGE_CABLE, length_m=8.0, line=17)
    findings = charge_path(car(supply=(cable, BATTERY_CABLE), ammeter=None)).findings
    weights = [WEIGHTS.index(found.weight) for found in findings]
    assert weights == sorted(weights)
    assert (findings[0].weight, findings[0].line) == ("act", 17)
    assert "'charge cable'" in findings[0].text
