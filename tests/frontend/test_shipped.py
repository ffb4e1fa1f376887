"""The shipped front end: every case in every corner, and where the wide codes lie."""

from functools import cache

import pytest

from chargecore import calibration
from frontend.benches import changed
from underdash.frontend import cases, constants, corners, fullscale, netlist, parts, proof, spice, table


@cache
def proven():
    return proof.prove(parts.load())


def test_every_case_passes_in_every_corner():
    found = proven()
    assert [line for result in found.results for line in table.failures(result)] == []
    assert len(found.corners) == 9
    assert {result.case.name for result in found.results} == {case.name for case in cases.cases()}


def test_what_the_board_does():
    """It runs through what the standards ask of a unit that is needed while starting, but for level III."""
    words = {result.case.name: result.outcome.words for result in proven().results}
    runs = {"running", "dump-a-upper", "dump-a-lower", "dump-b", "pulse-2a", "pulse-3a", "pulse-3b", "jump-start",
            "overvoltage", "crank-I", "crank-II", "crank-IV", "drop", "usb-live", "clamp-unplugged",
            "clamp-shorted", "ground-lost-usb"}  # fmt: skip
    assert {words[name] for name in runs} == {"runs"}
    assert "starts again" in words["crank-III"] and "starts again" in words["slow-ramp"]
    assert words["reverse-battery"] == words["ground-lost"] == "off"


def test_it_runs_down_to_the_lowest_supply_code_but_a_little():
    """Code A asks for 6 V (ISO 16750-2 table 1, opened). The worst corner, at -40 C, gives up a little above."""
    ramp = next(result for result in proven().results if result.case.name == "slow-ramp")
    assert ramp.outcome.low < 6.3


def test_every_pin_and_every_part_is_looked_at():
    checked = {found.subject for result in proven().results for found in result.checks}
    assert {"gp26", "gp27", "gp18", "gp19", "gp15"} <= checked
    simulated = ("fuse", "resistor", "tvs", "schottky", "capacitor", "regulator", "board", "shunt", "clamp")
    outputs = {"gp16", "gp17"}
    parts_there = [part for part in parts.load().present() if not outputs & set(part.nodes)]
    assert {part.ref for part in parts_there if part.kind in simulated} <= checked


@pytest.mark.parametrize("fitted", [("clamp", "ripple", "reference"), ()])
def test_options(fitted):
    names = ["running", "dump-a-upper", "pulse-1", "pulse-3b", "fuse-pulled"]
    found = proof.prove(parts.load().with_options(fitted), names, quick=True)
    assert found.failures == []
    pins = {one.subject for result in found.results for one in result.checks if one.subject.startswith("gp")}
    assert ("gp28" in pins) == ("ripple" in fitted) and ("gp27" in pins) == ("clamp" in fitted)


@pytest.mark.parametrize("fitted", [("clamp",), ("clamp", "reference")])
def test_wide_codes_stay_clear_of_the_volts_that_matter(fitted):
    """Eighths of full scale, 511.5 / 1535.5 / 2559.5 / 3583.5 of 4096 (chip's erratum E11; docs/check-values.md)."""
    scale = fullscale.full_scale(parts.load().with_options(fitted))
    assert scale.clear and scale.gap > 0.0
    for number, (begin, end) in enumerate(scale.typical):
        assert begin < end
        # A zero of 14 steps and the steps that the codes below swallowed move them by less than 1 %.
        assert (begin + end) / 2 == pytest.approx(scale.nominal * (2 * number + 1) / 8, abs=0.01 * scale.nominal)
    assert scale.codes[2][1] < 11.6 and scale.codes[3][0] > 15.6


def test_wide_codes_where_the_firmware_unfolds_them():
    """The bus volts at which the board's own calibration crosses them."""
    scale = fullscale.full_scale(parts.load())
    lines = calibration.Calibration()
    for code, (begin, end) in zip((511, 1535, 2559, 3583), scale.typical, strict=True):
        assert lines.bus_mv((code * 16) - 9) == pytest.approx(begin * 1000, abs=6)
        assert lines.bus_mv((code * 16) + 9) == pytest.approx(end * 1000, abs=6)


def test_a_full_scale_of_20_volts_is_not_clear(tmp_path):
    values = changed(tmp_path, ("R3", "ohms", "8930.0"))
    scale = fullscale.full_scale(values)
    assert scale.nominal == pytest.approx(20.0, abs=0.05)
    assert not scale.clear and scale.gap < 0


def test_firmware_constants_are_those_of_the_values():
    from underdash import firmware_dir

    committed = (firmware_dir() / "lib" / "chargecore" / "nominal.py").read_text()
    assert committed == constants.nominal_module(parts.load())


def test_corners_are_at_the_ends():
    found = corners.corners()
    assert len(found) == len(set(found)) == 9
    values = parts.load()
    most = next(corner for corner in found if corner.through == 1 and corner.celsius == 85.0)
    assert most.ohms(values["R1"]) == pytest.approx(33.0 * (1 - 0.05 - 200e-6 * 60))
    assert most.ohms(values["R4"]) > 2000.0  # to ground: high lets more through
    high = next(corner for corner in found if corner.suppressors == 1 and corner.celsius == -40.0)
    d1 = values["D1"]
    wanted = d1["breakdown_volts"] * (1 + d1["tolerance"]) * (1 - 65 * d1["tempco_ppm"] * 1e-6)
    assert high.breakdown(d1) == pytest.approx(wanted)
    assert high.farads(values["C2"]) == pytest.approx(2200e-6 * 0.8 * 0.7)


def test_the_circuit_at_rest_is_ohms_law():
    """16 V: the pin sees the divider, the regulator's input what R1 and D2 leave."""
    values = parts.load()
    case = next(case for case in cases.cases() if case.name == "running")
    trace = spice.run(netlist.deck(values, case, corners.NOMINAL), "running")
    share = values["R4"]["ohms"] / sum(values[ref]["ohms"] for ref in ("R2", "R3", "R4"))
    fused = trace.volts("fused", "bgnd")[-1]
    assert trace.volts("gp26", "bgnd")[-1] == pytest.approx(fused * share, abs=0.004)  # D5's leakage is in there
    amps = (fused - trace.volts("limited", "bgnd")[-1]) / values["R1"]["ohms"]
    assert amps == pytest.approx(trace.ammeter("U1")[-1] * 1.05 + 0.4e-3, rel=0.02)
    assert trace.volts("rail", "bgnd")[-1] == pytest.approx(5.0, abs=0.05)
