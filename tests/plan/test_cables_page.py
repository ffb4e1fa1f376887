"""docs/cables.md: every line worked by hand is computed again, and is what the program says."""

import ast
import math
import operator
import re
from pathlib import Path

import pytest
from wired import FEET, sized, wire

from underdash.carfile.model import CHARGE
from underdash.plan.results import CableResult
from underdash.wire.gauge import MM2_PER_CIRCULAR_MIL, awg_diameter_mm

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "cables.md").read_text(encoding="utf-8")
BLOCKS = dict(re.findall(r"```worked (.+?)\n(.+?)```", PAGE, re.DOTALL))
LINE = re.compile(r"(?P<label>[^:]+): (?P<sum>.+) = (?P<value>-?[\d.]+)")

DOING = {ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv, ast.Pow: pow}
CALLS = {"sqrt": math.sqrt, "min": min, "max": max}


def value_of(node: ast.expr) -> float:
    """A sum of numbers, and nothing else."""
    match node:
        case ast.Constant(value=int() | float()):
            return float(node.value)
        case ast.Name(id="pi"):
            return math.pi
        case ast.BinOp():
            return float(DOING[type(node.op)](value_of(node.left), value_of(node.right)))
        case ast.Call(func=ast.Name(id=name)):
            return float(CALLS[name](*(value_of(argument) for argument in node.args)))
    raise AssertionError(f"no sum: {ast.dump(node)}")


def worked(block: str) -> dict[str, tuple[str, float, float]]:
    """{label: (its sum, its printed value, one unit of its last figure)} of a block."""
    found = {}
    for line in BLOCKS[block].splitlines():
        parts = LINE.fullmatch(line)
        assert parts, line
        decimals = len(parts["value"].partition(".")[2])
        found[parts["label"]] = (parts["sum"], float(parts["value"]), 10.0**-decimals)
    return found


LINES = [(block, label) for block in BLOCKS for label in worked(block)]


def test_the_blocks_are_there() -> None:
    assert list(BLOCKS) == list(OURS) == ["8 AWG 75 C", "4 AWG 105 C", "12 SAE 80 C", "10 A over 21 ft"]


@pytest.mark.parametrize(("block", "label"), LINES)
def test_the_arithmetic_of_the_page_is_right(block: str, label: str) -> None:
    text, printed, unit = worked(block)[label]
    tree = ast.parse(text.replace("^", "**").replace(" x ", " * "), mode="eval")
    assert value_of(tree.body) == pytest.approx(printed, abs=0.501 * unit)


def area(result: CableResult) -> float:
    assert result.cable.gauge is not None
    return result.cable.gauge.area_mm2


def charge(gauge: str, insulation_c: float) -> CableResult:
    more = {"carries": (CHARGE,), "length_m": 1.5, "ambient_c": 50.0, "joints_ohm": 0.0006}
    return sized(wire(gauge, insulation_c=insulation_c, **more), output_a=85.0)


def of_charge(result: CableResult) -> dict[str, float]:
    assert result.ampacity_a is not None
    assert result.conductor_c is not None
    assert result.fuse is not None
    over = result.amps - result.ampacity_a
    return {
        "copper mm2": area(result),
        "engine space": dict(result.factors)["engine space"],
        "allowed A": result.ampacity_a,
        "more than the table A": over,
        "the same in per cent": 100.0 * over / result.ampacity_a,
        "copper C": result.conductor_c,
        "resistance ohm": result.ohm,
        "lost V": result.drop_v,
        "least fuse A": result.fuse.least_a,
        "largest fuse A": result.fuse.most_a,
    }


def of_fan() -> dict[str, float]:
    result = sized(wire("12 SAE", 20.0, insulation_c=80.0, ambient_c=40.0, bundle=4))
    assert result.table_a is not None
    assert result.ampacity_a is not None
    assert result.fuse is not None
    return {
        "copper mm2": area(result),
        "table A": result.table_a,
        **dict(result.factors),
        "allowed A": result.ampacity_a,
        "more than the table A": result.amps - result.ampacity_a,
        "least fuse A": result.fuse.least_a,
        "largest fuse A": result.fuse.most_a,
    }


def of_pump() -> dict[str, float]:
    found = {"circular mils": 10.75 * 10.0 * 21.0 / 0.36, "length m": 21.0 * FEET}
    for gauge in ("12 AWG", "12 SAE", "10 SAE"):
        result = sized(wire(gauge, 10.0, length_m=21.0 * FEET))
        assert result.conductor_c is not None
        found[f"{gauge} copper C"] = result.conductor_c
        found[f"{gauge} lost V"] = result.drop_v
    return found


OURS = {
    "8 AWG 75 C": of_charge(charge("8 AWG", 75.0)),
    "4 AWG 105 C": of_charge(charge("4 AWG", 105.0)),
    "12 SAE 80 C": of_fan(),
    "10 A over 21 ft": of_pump(),
}


@pytest.mark.parametrize(("block", "label"), LINES)
def test_the_page_says_what_the_program_says(block: str, label: str) -> None:
    _, printed, unit = worked(block)[label]
    # The page goes on from rounded figures: a unit of the last one more.
    assert OURS[block][label] == pytest.approx(printed, abs=1.2 * unit)


def test_the_words_between_the_lines_hold_too() -> None:
    assert "It carries 37 A (75 %) more than the table" in PAGE
    assert "37 A (75 %) more than the table" in charge("8 AWG", 75.0).findings[0].text
    assert "80 x 0.85 = 68 A" in PAGE
    assert dict(charge("8 AWG", 75.0).by_insulation)[105] == pytest.approx(68.0)
    assert "A 125 A fuse lies between the two." in PAGE
    fuse = charge("4 AWG", 105.0).fuse
    assert fuse is not None
    assert fuse.choice_a == 125.0
    assert "12 AWG would allow 35 x 0.894 x 0.6 = 18.8 A" in PAGE
    bundled = {"insulation_c": 80.0, "ambient_c": 40.0}
    assert sized(wire("12 AWG", 20.0, bundle=4, **bundled)).ampacity_a == pytest.approx(18.8, abs=0.05)
    assert "12 SAE alone, out of the bundle, would allow 28 A" in PAGE
    assert sized(wire("12 SAE", 20.0, **bundled)).ampacity_a == pytest.approx(28.0, abs=0.5)


def test_the_published_example_is_quoted_rightly() -> None:
    # 6,530 and 5,833 circular mils lie on either side of the formula's 6,271.
    assert (awg_diameter_mm("12") / 0.0254) ** 2 > worked("10 A over 21 ft")["circular mils"][1] > 5833.0
    assert area(sized(wire("12 SAE", 1.0))) / MM2_PER_CIRCULAR_MIL == pytest.approx(5833.0)
