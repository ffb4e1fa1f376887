"""What flows, where fuses go and what a whole path loses, by the network and not by names."""

from dataclasses import replace
from typing import Any

import pytest
from wired import BUS, car, load, sized, test_of, wire

from underdash.carfile import example
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
    LOOP,
    STARTER,
    Ammeter,
    Cable,
    CarFile,
    Limits,
)
from underdash.plan.ammeter.loop import find_loop
from underdash.plan.ammeter.old_loop import old_loop
from underdash.plan.cables import size
from underdash.plan.cables.charge import paths_of
from underdash.plan.cables.sources import fuse_ends
from underdash.plan.charge_path import charge_path
from underdash.plan.results import CableResult, Cables
from underdash.wire.gauge import Gauge, parse

HEATER = load("heater", 70.0)


def of(found: Cables, name: str) -> CableResult:
    return next(result for result in found.results if result.cable.name == name)


def said(found: Cables, weight: str) -> str:
    return " ".join(finding.text for finding in found.findings if finding.weight == weight)


def changed(file: CarFile, name: str, **changes: Any) -> CarFile:
    """`file` with one cable changed."""
    assert name in {cable.name for cable in file.cables}
    return replace(file, cables=tuple(replace(c, **changes) if c.name == name else c for c in file.cables))


def turned(file: CarFile) -> CarFile:
    """Every cable written the other way round."""
    return replace(file, cables=tuple(replace(c, start=c.end, end=c.start) for c in file.cables))


def ends(file: CarFile) -> dict[str, tuple[str, ...]]:
    return {cable.name: fuse_ends(file, cable) for cable in file.cables if cable.side == "supply"}


# -- where fuses go ---------------------------------------------------------------------------


def boot_battery() -> CarFile:
    """The battery in the boot, all that is in front joined at a post of its own."""
    return car(
        wire("4 AWG", name="charge", start=ALTERNATOR, end="front post", carries=(CHARGE,), fuse_a=125.0),
        wire("1/0 AWG", name="boot", start=BATTERY, end="front post", carries=(CRANK, CHARGE)),
        wire("2 AWG", name="starter lead", start="front post", end=STARTER, carries=(CRANK,)),
        wire("6 AWG", name="feed", start="front post", end=BUS, carries=(ALL_LOADS,), fuse_a=100.0),
        wire("10 AWG", name="relay feed", start=BUS, end="relay", carries=("heater",), fuse_a=80.0),
        wire("10 AWG", name="heater lead", start="heater", end="relay", carries=("heater",), fuse_a=80.0),
        loads=(HEATER,),
    )


@pytest.mark.parametrize("turn", [False, True])
def test_a_fuse_goes_to_the_end_that_the_battery_feeds(turn: bool) -> None:
    file = turned(boot_battery()) if turn else boot_battery()
    assert ends(file) == {
        "charge": ("front post",),
        "boot": (BATTERY,),
        "starter lead": ("front post",),
        "feed": ("front post",),
        "relay feed": (BUS,),
        "heater lead": ("relay",),
    }


@pytest.mark.parametrize("turn", [False, True])
def test_the_shipped_car_has_each_fuse_at_one_end(turn: bool) -> None:
    found = ends(turned(example()) if turn else example())
    assert found == {
        "charge cable": (STARTER,),
        "fuse box feed": (STARTER,),
        "battery cable": (BATTERY,),
        "old charge wire": (ALTERNATOR,),
        "old battery wire": (STARTER,),
        "old fuse box wire": ("fuse box",),
        "fan feed": ("fuse box",),
        "pump feed": ("fuse box",),
    }


def test_the_old_loops_ends_are_those_of_the_ammeters_part() -> None:
    file = example()
    strands = old_loop(file, find_loop(file)).strands
    assert {strand.cable.name for strand in strands} == {c.name for c in file.cables if LOOP in c.carries}
    for strand in strands:
        assert len(fuse_ends(file, strand.cable)) == strand.sources == 1


def test_without_a_battery_the_alternators_end_counts_and_dead_ends_come_last() -> None:
    apart = wire("10 AWG", start="lamp", end=ALTERNATOR)
    assert fuse_ends(car(apart), apart) == (ALTERNATOR,)
    nowhere = wire("10 AWG", start="one", end="other")
    assert fuse_ends(car(nowhere), nowhere) == ("one",)


def parallel(one: str, other: str, **more: Any) -> CarFile:
    """Two charge cables side by side."""
    common: dict[str, Any] = {"start": ALTERNATOR, "end": BATTERY, "carries": (CHARGE,), "fuse_a": 60.0}
    return car(wire(one, name="first", **common), wire(other, name="second", **common), **more)


def test_two_alike_guard_each_other_and_a_thinner_one_needs_two_fuses() -> None:
    assert ends(parallel("8 AWG", "8 AWG")) == {"first": (BATTERY,), "second": (BATTERY,)}
    file = changed(parallel("12 AWG", "4 AWG"), "second", fuse_a=125.0)
    assert ends(file) == {"first": (BATTERY, ALTERNATOR), "second": (BATTERY,)}
    found = size(file)
    fuse = of(found, "first").fuse
    assert fuse is not None and fuse.place.startswith("at the battery end and at the alternator end; ")
    assert "First is fed from both ends, battery and alternator" in said(found, "watch")


# -- what flows -------------------------------------------------------------------------------


def test_a_battery_cable_that_the_file_calls_a_starter_cable_carries_the_charge_too() -> None:
    file = changed(example(), "battery cable", carries=(CRANK,), gauge=parse("10 AWG"))
    found = size(file)
    result = of(found, "battery cable")
    assert result.amps == pytest.approx(75.0 * 53.0 / 48.0)
    assert not test_of(result, "ampacity").passed
    assert "The file says that battery cable carries crank; 83 A of charge flow there too. It fails by that." in said(
        found, "act"
    )


def test_a_charge_cable_that_feeds_the_loads_while_nothing_is_given() -> None:
    file = car(
        wire("4 AWG", name="charge", start=ALTERNATOR, end=BUS, carries=(CHARGE,)),
        wire("8 AWG", name="boot", start=BATTERY, end=BUS, carries=(CHARGE,), fuse_a=60.0),
        loads=(HEATER,),
        output_a=42.0,
    )
    found = size(file)
    assert (of(found, "charge").amps, of(found, "boot").amps) == (pytest.approx(42.0), pytest.approx(70.0))
    assert test_of(of(found, "boot"), "load on the fuse").value == pytest.approx(70.0 / 0.8)
    assert "The file says that boot carries charge; 70 A for the loads flow there too. It fails by that." in said(
        found, "act"
    )


def test_amps_that_the_file_understates() -> None:
    found = size(changed(example(), "fuse box feed", carries=(), stated_a=10.0, fuse_a=15.0))
    assert of(found, "fuse box feed").amps == pytest.approx(81.4, abs=0.1)
    assert "The file says that fuse box feed carries 10 A; 81 A for the loads flow there too." in said(found, "act")
    assert "fuse box feed carries" not in said(size(example()), "act") + said(size(example()), "watch")


def test_a_thin_strap_beside_a_long_ground_cable() -> None:
    file = changed(example(), "old engine strap", gauge=parse("14 SAE"), length_m=0.3, joints_ohm=0.0002)
    file = changed(file, "engine ground", gauge=parse("6 AWG"), length_m=2.5, joints_ohm=0.002, carries=(CHARGE,))
    strap = of(size(file), "old engine strap")
    assert strap.amps > 30.0 and not test_of(strap, "ampacity").passed


def test_the_shipped_cars_strap_has_its_share() -> None:
    found = size(example())
    strap, ground = of(found, "old engine strap"), of(found, "engine ground")
    output = 75.0 * 53.0 / 48.0
    # Without the mounts the two share the whole of it, as the inverse of their resistances.
    assert strap.amps + ground.amps == pytest.approx(output)
    assert 22.0 < strap.amps < 28.0
    assert strap.alone_a == pytest.approx(output) and strap.opened == "engine ground"
    assert "old engine strap 83 A of 90 A if engine ground does" in said(found, "note")


def test_a_strap_that_the_file_gives_the_starter_alone_carries_charge_too() -> None:
    found = size(changed(example(), "old engine strap", carries=(CRANK,)))
    assert "The file says that old engine strap carries crank; 25 A of charge flow there too." in said(found, "watch")


def test_nobody_counts_on_the_old_loop_to_relieve_a_cable() -> None:
    found = size(example())
    # The feed carries all that is on, though part of it could come by the dash.
    assert of(found, "fuse box feed").amps == pytest.approx(81.08 + 0.02 * 18.0)
    assert of(found, "charge cable").amps == pytest.approx(75.0 * 53.0 / 48.0)
    assert all(test.passed for result in found.results for test in result.criteria)


def test_parallel_cables_share_the_current_and_lose_the_same() -> None:
    found = size(parallel("8 AWG", "6 AWG"))
    one, other = of(found, "first"), of(found, "second")
    assert one.amps + other.amps == pytest.approx(85.0)
    assert one.amps < other.amps
    assert one.drop_v == pytest.approx(other.drop_v, rel=1e-3)
    path = test_of(one, "path drop")
    assert path.value == pytest.approx(one.drop_v, rel=1e-3) == test_of(other, "path drop").value


def test_what_flows_if_the_other_opens_is_told() -> None:
    bare = parallel("8 AWG", "8 AWG")
    found = size(replace(bare, cables=tuple(replace(c, fuse_a=None, ambient_c=50.0) for c in bare.cables)))
    assert of(found, "first").alone_a == pytest.approx(85.0)
    assert (
        "If second opens (a loose nut, a fuse), 85 A go through first, which may carry 68 A; it has no fuse. A larger"
        in said(found, "watch")
    )
    fused = size(bare)
    assert "85 A go through first; its fuse opens then too." in said(fused, "note")


def test_no_cable_loses_more_than_the_car_has() -> None:
    result = sized(wire("18 AWG", 85.0, length_m=30.0, ambient_c=50.0), output_a=85.0)
    text = " ".join(finding.text for finding in result.findings)
    assert "loses more than the 12 V that the car has at 85 A" in text
    # Copper is followed up to 200 C: 1.02 x (1 + 0.00393 x 180) / (58 x 0.823) x 30 m.
    assert result.ohm == pytest.approx(1.02 * 1.7074 / (58.0 * 0.823) * 30.0, rel=1e-3)


# -- the charge path --------------------------------------------------------------------------


def series(**gauges: str) -> CarFile:
    """Alternator to starter to battery, both a metre and a half long."""
    common: dict[str, Any] = {"length_m": 1.5, "ambient_c": 50.0}
    return car(
        wire(gauges.get("charge", "4 AWG"), name="charge", start=ALTERNATOR, end=STARTER, carries=(CHARGE,), **common),
        wire(gauges.get("battery", "4 AWG"), name="battery", start=STARTER, end=BATTERY, carries=(CHARGE,), **common),
    )


def test_each_charge_cable_is_held_to_the_whole_path() -> None:
    file = series()
    found, path = size(file), charge_path_drop(file)
    for result in found.results:
        test = test_of(result, "path drop")
        assert (test.value, test.limit) == (pytest.approx(path), 0.2)
    assert sum(result.drop_v for result in found.results) == pytest.approx(path)


def charge_path_drop(file: CarFile) -> float:
    """As the charge path's own part has it; it wants a ground side."""
    ground = wire("2 AWG", name="ground", start=GROUND, end=ENGINE, side=GROUND_SIDE)
    return charge_path(replace(file, cables=(*file.cables, ground))).drops[0].volts


def test_the_smallest_of_one_cable_brings_the_path_within() -> None:
    file = series(charge="8 AWG", battery="2 AWG")
    result = of(size(file), "charge")
    test = test_of(result, "path drop")
    assert not test.passed and test.smallest is not None
    assert charge_path_drop(changed(file, "charge", gauge=test.smallest)) <= 0.2
    assert "mends that alone" not in said(size(file), "watch")  # it is told with the charge path
    thinner = Gauge("AWG", {"6": "8", "4": "6", "3": "4", "2": "3", "1": "2"}[test.smallest.size])
    assert charge_path_drop(changed(file, "charge", gauge=thinner)) > 0.2


def test_where_none_alone_mends_it_the_set_is_named() -> None:
    file = series(charge="10 AWG", battery="10 AWG")
    found = size(file)
    assert all(test_of(result, "path drop").smallest is None for result in found.results)
    assert {result.decided_by for result in found.results} == {"path drop"}
    mended = paths_of(file)["supply"].mended()
    assert mended is not None and set(mended) == {"charge", "battery"}
    better = file
    for name, gauge in mended.items():
        better = changed(better, name, gauge=gauge)
    assert charge_path_drop(better) <= 0.2
    text = said(found, "watch")
    assert "No larger gauge of one of them mends that alone; together these would:" in text
    assert all(f"{gauge} for {name}" in text for name, gauge in mended.items())


def test_better_insulation_is_no_remedy_where_volts_are_lost_too() -> None:
    hot: dict[str, Any] = {"start": ALTERNATOR, "end": BATTERY, "carries": (CHARGE,), "insulation_c": 75.0}
    hot["ambient_c"] = 50.0
    short = said(size(car(wire("8 AWG", length_m=0.3, **hot))), "act")
    assert "8 AWG of 200 °C insulation would carry it" in short
    assert "200 °C" not in said(size(car(wire("8 AWG", length_m=1.5, **hot))), "act")


# -- order, cranking, circuits, fuses ---------------------------------------------------------


def test_a_fire_risk_comes_before_a_lost_volt() -> None:
    def each(name: str, **more: Any) -> Cable:
        return wire(more.pop("gauge", "10 AWG"), more.pop("amps", 10.0), name=name, end=f"{name} place", **more)

    found = size(
        car(
            each("long", length_m=30.0),
            each("thin", gauge="18 AWG", amps=21.0, length_m=0.1),
            each("wrong fuse", fuse_a=100.0),
            each("all of it", gauge="18 AWG", amps=25.0, length_m=20.0, fuse_a=40.0),
            each("fine"),
        )
    )
    assert [result.cable.name for result in found.results] == ["all of it", "thin", "wrong fuse", "long", "fine"]
    everything = of(found, "all of it")
    assert [test.name for test in everything.ranked if not test.passed] == ["ampacity", "fuse", "drop"]
    assert max(test.used for test in everything.ranked) == test_of(everything, "drop").used  # and yet it comes last


def test_what_the_cables_lose_while_cranking() -> None:
    found = size(example())
    told = found.cranking
    assert told is not None and told.supply_ohm is not None and told.ground_ohm is not None
    battery, strap, ground = (of(found, n) for n in ("battery cable", "old engine strap", "engine ground"))
    assert told.supply_ohm * 136.0 == pytest.approx(battery.crank_v)  # the old loop is a dead end to it
    assert told.ground_ohm * 136.0 == pytest.approx(strap.crank_v) == pytest.approx(ground.crank_v)
    assert told.volts == pytest.approx(136.0 * (told.supply_ohm + told.ground_ohm))
    assert size(car(wire("10 AWG", 5.0))).cranking is None


def test_a_starter_cable_that_the_file_calls_otherwise() -> None:
    result = sized(wire("2 AWG", carries=(CHARGE,), start=BATTERY, end=STARTER, length_m=9.0))
    assert not test_of(result, "crank drop").passed
    assert result.fuse is None


def test_a_load_without_a_ground_cable() -> None:
    feed = wire("16 AWG", name="feed", end="fan", carries=("fan",), length_m=9.0)
    back = wire("16 AWG", name="back", start="fan", end=BODY, side=GROUND_SIDE, carries=("fan",), length_m=9.0)
    fan = load("fan", 12.0)
    (one,) = size(car(feed, loads=(fan,))).circuits
    assert (one.supply_known, one.ground_known) == (True, False)
    assert "on the way there alone (its ground is not in the file)" in said(size(car(feed, loads=(fan,))), "watch")
    (both,) = size(car(feed, back, loads=(fan,))).circuits
    assert both.supply_known and both.ground_known and both.ground_v > 0.0


@pytest.mark.parametrize(("inrush", "gauge", "choice_a"), [(1.9, "10 AWG", 20.0), (2.0, "10 AWG", 25.0)])
def test_a_motor_takes_the_next_size_up(inrush: float, gauge: str, choice_a: float) -> None:
    fuse = sized(wire(gauge, carries=("fan",)), loads=(load("fan", 16.0, inrush=inrush),)).fuse
    assert fuse is not None and fuse.choice_a == choice_a


def test_but_never_more_than_protects_the_copper() -> None:
    # 16 AWG of 60 C, bundled: 15 x 0.7 = 10.5 A, so 15.75 A at most; 12 A asks for 15 A.
    fan = load("fan", 12.0, inrush=3.0)
    fuse = sized(wire("16 AWG", carries=("fan",), insulation_c=60.0, bundle=3), loads=(fan,)).fuse
    assert fuse is not None and fuse.choice_a == 15.0 and fuse.most_a == pytest.approx(15.75)


def test_the_ammeter_is_a_way_like_any_other_but_no_relief() -> None:
    file = car(
        wire("4 AWG", name="charge", start=ALTERNATOR, end=BATTERY, carries=(CHARGE,)),
        wire("10 AWG", name="out", start=ALTERNATOR, end="dash in", carries=(LOOP,)),
        wire("10 AWG", name="back", start="dash out", end=BATTERY, carries=(LOOP,)),
        ammeter=Ammeter("dash in", "dash out", 0.001, 60.0, 3.0),
        limits=Limits(),
    )
    found = size(file)
    assert of(found, "charge").amps == pytest.approx(85.0)
    assert 0.0 < of(found, "out").amps < 20.0
