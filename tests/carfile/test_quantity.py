"""Quantities: units there and back, against GNU units as an independent oracle."""

import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from conftest import gnu_units
from underdash.carfile import quantity
from underdash.carfile.quantity import Kind, parse

KINDS = [value for value in vars(quantity).values() if isinstance(value, Kind)]
# Our units as GNU units calls them, and the SI unit that ours are parsed to.
THEIRS = {
    "length": ("m", {"m": "m", "cm": "cm", "mm": "mm", "ft": "ft", "in": "inch"}),
    "current": ("A", {"A": "A", "mA": "mA"}),
    "voltage": ("V", {"V": "V", "mV": "mV"}),
    "power": ("W", {"W": "W", "kW": "kW"}),
    "resistance": ("ohm", {"ohm": "ohm", "mohm": "milliohm"}),
    "time": ("s", {"s": "s", "ms": "ms", "min": "min", "h": "hour"}),
    "capacity": ("A hour", {"Ah": "A hour"}),
    "speed": ("rpm", {"rpm": "rpm"}),
    "slope": ("V/K", {"V/K": "V/K", "mV/K": "mV/K"}),
}


@given(st.sampled_from(KINDS), st.data(), st.floats(0.001, 9999.0))
def test_a_quantity_comes_back_in_any_of_its_units(kind: Kind, data: st.DataObject, number: float) -> None:
    unit = data.draw(st.sampled_from(sorted(kind.units)))
    size = kind.units[unit]
    si = parse(f"{number!r} {unit}", kind)
    back = si / size + (32.0 if unit.endswith("F") else 0.0)
    assert back == pytest.approx(number, rel=1e-9, abs=1e-9)
    assert parse(f"{number!r}{unit}", kind) == si  # with or without a blank


def test_units_are_what_gnu_units_says() -> None:
    program = gnu_units()
    for kind in KINDS:
        if kind.name == "temperature":
            continue
        si, names = THEIRS[kind.name]
        for ours, theirs in names.items():
            told = subprocess.run(
                [program, "-t", f"2.5 {theirs}", si], capture_output=True, text=True, check=True
            ).stdout
            assert parse(f"2.5 {ours}", kind) == pytest.approx(float(told), rel=1e-6), (kind.name, ours)


def test_fahrenheit() -> None:
    # The two fixed points of water.
    assert parse("32 F", quantity.TEMPERATURE) == pytest.approx(0.0)
    assert parse("212 °F", quantity.TEMPERATURE) == pytest.approx(100.0)


@pytest.mark.parametrize("text", ["\u2126", "\u03a9"])
def test_either_ohm_sign(text: str) -> None:
    assert parse(f"2 {text}", quantity.RESISTANCE) == 2.0
    assert parse(f"2 m{text}", quantity.RESISTANCE) == 0.002


@pytest.mark.parametrize("kind", KINDS, ids=[kind.name for kind in KINDS])
@pytest.mark.parametrize("value", [3, 3.5, "3", "three", "", True, [], "nan m", "inf A", "1e300 V", "3 parsec"])
def test_what_is_not_clear_is_refused(kind: Kind, value: object) -> None:
    with pytest.raises(ValueError, match=r"write|too large"):
        parse(value, kind)


@pytest.mark.parametrize("kind", KINDS, ids=[kind.name for kind in KINDS])
def test_every_refused_unit_says_what_to_write(kind: Kind) -> None:
    assert parse(kind.example, kind) is not None
    for unit in kind.refused:
        assert unit not in kind.units
        with pytest.raises(ValueError, match=r"write|look for"):
            parse(f"3 {unit}", kind)
