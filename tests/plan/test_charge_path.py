"""Charge path and ground: hand-worked, against ngspice, and never better for worse copper."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from loops import (
    BATTERY_CABLE,
    CHARGE_CABLE,
    GROUND_CABLES,
    MACHINE,
    SUPPLY,
    car,
    copper,
    example,
    spice_currents,
    stated,
)

from underdash.carfile.model import ALTERNATOR, BATTERY, BODY, CHARGE, ENGINE, GROUND, GROUND_SIDE, SUPPLY_SIDE, Limits
from underdash.plan.charge_path import charge_path
from underdash.plan.charge_path.drops import flow
from underdash.plan.results import WEIGHTS
from underdash.wire.ampacity import conductor_c
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
    said = next(found.text for found in remote.findings if "senses at the battery" in found.text)
    assert "0.21 V above" in said and "far over its set point" in said  # the sense wire's risk is named


@pytest.mark.parametrize(
    # 0.2 V on the charge side: Hyundai 2007 Azera and 2009 Elantra manuals; 0.3 V at 30 A: Mitsubishi Attrage.
    ("amps", "limit_v", "ohm", "weight"),
    [(70.0, 0.2, 0.0027, "well"), (70.0, 0.2, 0.0029, "act"), (30.0, 0.3, 0.0099, "well"), (30.0, 0.3, 0.0101, "act")],
)
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


# -- worse copper never looks better ----------------------------------------------------------

GAUGES = ("10 AWG", "8 AWG", "6 AWG", "4 AWG", "2 AWG", "1/0 AWG")


def charged_by(gauge: str, length_m: float, ambient_c: float, joints_ohm: float) -> tuple[float, float]:
    """(drop [V], volts between the battery's posts [V]) with this charge cable."""
    cable = copper(
        "charge cable", ALTERNATOR, "starter", gauge, length_m,
        ambient_c=ambient_c, insulation_c=125.0, joints_ohm=joints_ohm, carries=(CHARGE,), added=True,
    )  # fmt: skip
    path = charge_path(car(supply=(cable, *SUPPLY[1:])))
    return path.drops[0].volts, path.battery_v


@given(
    st.integers(0, len(GAUGES) - 2), st.floats(0.3, 6.0), st.floats(20.0, 90.0), st.floats(0.0, 0.005),
    st.sampled_from(["thinner", "longer", "hotter", "worse joints"]),
)  # fmt: skip
def test_worse_copper_never_looks_better(size: int, length_m: float, air_c: float, joints: float, change: str) -> None:
    better = charged_by(GAUGES[size + 1], length_m, air_c, joints)
    worse = {
        "thinner": charged_by(GAUGES[size], length_m, air_c, joints),
        "longer": charged_by(GAUGES[size + 1], length_m * 1.3, air_c, joints),
        "hotter": charged_by(GAUGES[size + 1], length_m, air_c + 10.0, joints),
        "worse joints": charged_by(GAUGES[size + 1], length_m, air_c, joints + 0.001),
    }[change]
    assert worse[0] > better[0]
    assert worse[1] < better[1]


@given(st.floats(1e-4, 0.1))
def test_one_more_ground_never_raises_the_drop(ohm: float) -> None:
    added = stated("second ground", ENGINE, GROUND, ohm, side=GROUND_SIDE, added=True)
    path = charge_path(car(ground=(*GROUND_CABLES[:3], added)))
    assert path.ground_without_added_v is not None
    assert path.drops[1].volts < path.ground_without_added_v


def test_the_gravest_comes_first_and_names_the_cable_and_its_line() -> None:
    cable = replace(CHARGE_CABLE, length_m=8.0, line=17)
    findings = charge_path(car(supply=(cable, BATTERY_CABLE), ammeter=None)).findings
    weights = [WEIGHTS.index(found.weight) for found in findings]
    assert weights == sorted(weights)
    assert (findings[0].weight, findings[0].line) == ("act", 17)
    assert "'charge cable'" in findings[0].text
