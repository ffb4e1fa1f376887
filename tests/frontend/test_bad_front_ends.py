"""Front ends that a builder could make by mistake: each is caught, and for the right reason."""

import pytest

from frontend.benches import COLD_MOST, changed
from underdash.frontend import checks, netlist, parts, proof, spice, table
from underdash.frontend.cases import cases


def failures(values, *names):
    return proof.prove(values, names, quick=True).failures


def told(found):
    return [(one.subject, one.what) for one in found]


def test_no_clamp_diode_on_the_pin(tmp_path):
    found = failures(changed(tmp_path, without=("D5",)), "dump-a-upper")
    assert ("gp26", "volts over the chip's supply") in told(found)
    line = next(one for one in found if one.subject == "gp26")
    assert "Schottky" in line.remedy and "bus_mid" in line.remedy
    assert {one.subject for one in found} == {"gp26"}


def test_no_clamp_to_ground_on_the_key(tmp_path):
    found = failures(changed(tmp_path, without=("D11",)), "pulse-1", "reverse-battery")
    assert ("gp18", "volts below ground") in told(found)


def test_nothing_takes_what_the_clamps_push_into_a_dead_rail(tmp_path):
    found = failures(changed(tmp_path, without=("U3",)), "clamp-shorted-dead", "fuse-pulled-jump")
    assert ("A1", "3.3 V rail (IOVDD)") in told(found)


def test_limiting_resistor_of_1_ohm(tmp_path):
    found = failures(changed(tmp_path, ("R1", "ohms", "1.0")), "dump-a-upper", "dump-a-lower")
    assert ("F1", "melting integral") in told(found)
    assert any(one.subject == "D1" and one.what.startswith("pulse power") for one in found)
    assert any("more ohms" in one.remedy for one in found)


def test_divider_resistors_too_small(tmp_path):
    found = failures(changed(tmp_path, ("R2", "ohms", "10.0")), "dump-a-upper")
    assert any(one.subject == "D4" and one.what.startswith("pulse power") for one in found)
    assert ("R2", "energy of a pulse") in told(found)
    found = failures(changed(tmp_path, ("R3", "ohms", "100.0")), "dump-a-upper")
    assert ("gp26", "volts over the chip's supply") in told(found)


@pytest.mark.parametrize("ref", ["D1", "D4"])
def test_suppressor_of_10_volts_conducts_in_normal_operation(tmp_path, ref):
    found = failures(changed(tmp_path, (ref, "breakdown_volts", "10.0")), "running")
    line = next(one for one in found if one.what == "current in normal operation")
    assert line.subject == ref and "too low" in line.remedy


def test_supply_suppressor_of_60_volts_kills_the_regulator(tmp_path):
    found = failures(changed(tmp_path, ("D1", "breakdown_volts", "60.0")), "dump-a-upper")
    assert ("U1", "input volts, a moment") in told(found)
    assert any("over its limit" in one.remedy for one in found)


def test_sense_suppressor_of_60_volts_leaves_the_pin_nothing_in_hand(tmp_path):
    values = changed(tmp_path, ("D4", "breakdown_volts", "60.0"))
    case = next(case for case in cases() if case.name == "dump-a-upper")
    trace = spice.run(netlist.deck(values, case, COLD_MOST), "cold")
    found = [one for one in checks.check(values, case, COLD_MOST, trace) if not one.passed]
    assert ("gp26", "volts over the chip's supply") in told(found)


def test_supply_diode_the_wrong_way_round(tmp_path):
    found = failures(changed(tmp_path, ("D2", "nodes", '["held", "limited"]')), "running")
    line = next(one for one in found if one.what == "the board must keep running")
    assert "way round" in line.remedy


def test_fuse_too_small(tmp_path):
    small = changed(tmp_path, ("F1", "amps", "0.1"), ("F1", "melting_a2s", "0.005"))
    found = failures(small, "running", "dump-a-upper")
    assert {("F1", "melting integral"), ("F1", "steady current")} <= set(told(found))


def test_holding_capacitor_too_small(tmp_path):
    found = failures(changed(tmp_path, ("C2", "farads", "47e-6")), "drop")
    line = next(one for one in found if one.what == "the board must keep running")
    assert "larger capacitor" in line.remedy


def test_regulator_too_hot_without_a_cooler(tmp_path):
    values = changed(tmp_path, ("U1", "theta_ja", "150.0"))
    assert ("U1", "junction") in told(failures(values, "jump-start"))


def test_a_failure_is_told_in_one_line_with_its_remedy(tmp_path):
    result = proof.prove(changed(tmp_path, without=("D5",)), ["dump-a-upper"], quick=True).results[0]
    for line in table.failures(result):
        assert line.startswith("dump-a-upper: gp26, ") and "limit" in line and ";" in line and "\n" not in line


def test_shipped_values_fail_none_of_these():
    names = ["running", "dump-a-upper", "pulse-1", "drop", "jump-start", "clamp-shorted-dead", "fuse-pulled-jump"]
    assert proof.prove(parts.load(), names, quick=True).failures == []
