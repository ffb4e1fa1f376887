"""What a front end is told without a simulation: loose ends, and sums that are not right."""

import pytest

from frontend.benches import changed
from underdash.frontend import parts
from underdash.frontend.fullscale import full_scale
from underdash.frontend.standing import check_joints, standing
from underdash.problems import UsageError


@pytest.mark.parametrize("fitted", [(), ("clamp",), ("clamp", "ripple", "reference")])
def test_the_shipped_one_is_joined_and_right(fitted):
    values = parts.load().with_options(fitted)
    check_joints(values)
    assert standing(values) == []
    assert full_scale(values).problems == []


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (("R1", "nodes", '["fused", "limitd"]'), r"R1 ends at limitd, where nothing else is"),
        (("Q1", "nodes", '["buzzer_lo", "buzzer_base", "ground"]'), r"Q1 ends at buzzer_lo"),
        (("R1", "nodes", '["fused", "fused"]'), r"R1 lies between fused and itself"),
    ],
)
def test_a_loose_end_is_named(tmp_path, edit, said):
    with pytest.raises(UsageError, match=said) as caught:
        check_joints(changed(tmp_path, edit))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (("F1", "amps", "30.0"), "F1: 30 A, the leads behind it are made for 3 A at most"),
        (("R21", "ohms", "10.0"), "R21: 10 ohm let 130 mA flow from the pin, limit 12 mA"),
        (("R22", "ohms", "100.0"), "R22: 100 ohm let 26 mA flow from the pin, limit 12 mA"),
        (("C3", "farads", "1e-6"), "rail: less than 22 uF to ground, U1 is not stable without"),
        (("C1", "farads", "1e-12"), "limited: less than 0.01 uF to ground"),
    ],
)
def test_a_sum_that_is_not_right(tmp_path, edit, said):
    (line,) = standing(changed(tmp_path, edit))
    assert line.startswith(said) and ";" in line


@pytest.mark.parametrize("ref", ["C1", "C3"])
def test_a_capacitor_that_is_not_there(tmp_path, ref):
    (line,) = standing(changed(tmp_path, without=(ref,)))
    assert "fit a capacitor there" in line


@pytest.mark.parametrize(
    ("ohms", "said"), [("4000.0", "10.77 V, must be 18 to 25"), ("500.0", "63.24 V, must be 18 to 25")]
)
def test_a_full_scale_that_does_not_fit(tmp_path, ohms, said):
    scale = full_scale(changed(tmp_path, ("R4", "ohms", ohms)))
    assert scale.clear and not scale.fits
    (line,) = scale.problems
    assert said in line and "change R3" in line
