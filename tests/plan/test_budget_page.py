"""docs/budget.md: every sum in it is done again, and the program asked for the same."""

import ast
import operator
from collections.abc import Callable
from pathlib import Path

import pytest

from plan.cars import alternator, car, load
from underdash.carfile import example
from underdash.carfile.model import ALWAYS, HOT_IDLE, NIGHT, Engine
from underdash.cycles import count, life_share
from underdash.plan.budget import budget
from underdash.plan.budget.balance import balance, output_a
from underdash.plan.budget.remedies import machine_speed, remedies
from underdash.plan.budget.whole import minutes

PAGE = (Path(__file__).parents[2] / "docs" / "budget.md").read_text(encoding="utf-8")
PROSE = " ".join(PAGE.split())
OPERATORS: dict[type, Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
}


def rows(heading: str) -> dict[str, list[str]]:
    """{first cell: other cells} of the table under a heading."""
    section = PAGE.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    lines = [line for line in section.splitlines() if line.startswith("|")][2:]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    return {first: rest for first, *rest in cells}


def worth(text: str) -> float:
    """What a sum of plain numbers comes to."""

    def value(node: ast.expr) -> float:
        if isinstance(node, ast.BinOp):
            return OPERATORS[type(node.op)](value(node.left), value(node.right))
        assert isinstance(node, ast.Constant), f"no plain sum: {text}"
        return float(node.value)

    return value(ast.parse(text, mode="eval").body)


def half_a_digit(text: str) -> float:
    """Half of the last digit that a number is printed with."""
    return 0.5 * 10.0 ** -len(text.partition(".")[2]) * 1.0001


# -- by hand ------------------------------------------------------------------------------------

FIVE = (
    load("ignition", 3.0, ALWAYS),
    load("injection", 4.0, ALWAYS),
    load("pump", 8.0, ALWAYS),
    load("fan", 16.0, HOT_IDLE, duty=0.4, coolant_switch=True),
    load("headlamps", 8.5, NIGHT, inrush=5.0),
)
AT_2500 = balance(car(loads=FIVE, engine=Engine(2500.0 / 2.4, 1200.0, 2300.0)), "hot idle", "night")
SHORT_CAR = car(loads=(load("all", 58.23, ALWAYS),))
SHORT = balance(SHORT_CAR, "hot idle", "day")
WANTED_A = SHORT.sustained_a * (1.0 + SHORT_CAR.limits.margin_share)
WANTED_RPM = machine_speed(SHORT_CAR.alternator, WANTED_A) or 0.0
STOPS = count([1.0, 1.0 - 15.0 * 30.0 / 3600.0 / 60.0] * 60 + [1.0])

PROGRAM = {
    "machine's speed at an idle of 800 rpm [rpm]": 800.0 * alternator().pulley_ratio,
    "hot output at 2,500 rpm of the machine [A]": output_a(alternator(), [2500.0 / 2.4], hot=True)[0],
    "cold output there [A]": AT_2500.cold_a,
    "sustained demand [A]": AT_2500.sustained_a,
    "peak [A]": AT_2500.peak_a,
    "inrush, of the headlamps [A]": AT_2500.inrush_a,
    "margin at 2,500 rpm [A]": AT_2500.margin_a,
    "margin [%]": 100.0 * AT_2500.margin_share,
    "minutes from full to 75 % at 15 A [min]": minutes(60.0, 0.75, 15.0),
    "minutes from full to 50 % at 15 A [min]": minutes(60.0, 0.50, 15.0),
    "wanted for a demand of 58.23 A [A]": WANTED_A,
    "idle that gives it [rpm]": WANTED_RPM / 2.4,
    "pulley ratio that gives it at 800 rpm": WANTED_RPM / 800.0,
    "rated output that gives it at 800 rpm, where this one gives 51.63 A [A]": 75.0 * WANTED_A / SHORT.hot_a,
    "charge of 60 stops of 30 s at 15 A [Ah]": sum(depth * many for depth, many in STOPS) * 60.0,
    "depth of one of them [%]": 100.0 * STOPS[0][0],
    "share of a cycle life that all of them are, 1 of": 1.0 / life_share(STOPS),
}
BY_HAND = rows("Worked by hand")


def test_every_row_is_asked_of_the_program() -> None:
    assert set(BY_HAND) == set(PROGRAM)
    idle, pulley, rating, _ = remedies(SHORT_CAR, SHORT)
    assert f"an idle of {idle.needed:,.0f} rpm, a pulley ratio of {pulley.needed:.2f} to 1" in PROSE
    assert f"a machine of {rating.needed:.0f} A." in PROSE


@pytest.mark.parametrize("what", BY_HAND)
def test_the_sum_comes_to_its_result(what: str) -> None:
    working, result = BY_HAND[what]
    assert worth(working) == pytest.approx(float(result), abs=half_a_digit(result), rel=2e-4)


@pytest.mark.parametrize("what", BY_HAND)
def test_the_program_says_the_same(what: str) -> None:
    # Depths are rounded to a thousandth of a per cent; 64.05 A is met just below 2,500 rpm.
    result = BY_HAND[what][1]
    assert PROGRAM[what] == pytest.approx(float(result), abs=half_a_digit(result), rel=1.5e-3)


# -- the shipped car, and what the text states --------------------------------------------------


def test_the_shipped_cars_figures_are_todays() -> None:
    short = budget(example()).shortfalls[0]
    found = {
        "hot output [A]": short.balance.hot_a,
        "sustained demand [A]": short.balance.sustained_a,
        "margin [A]": short.balance.margin_a,
        "out of the battery on average [A]": short.battery_a,
        "with the fan off [A]": short.least_a,
        "with the fan on [A]": short.most_a,
        "minutes from full to 75 % [min]": short.to_75_min,
        "minutes from full to 50 % [min]": short.to_50_min,
    }
    page = rows("The shipped car")
    assert set(page) == set(found)
    assert f"At {short.balance.speed} by {short.balance.situation.replace(' and', ' and in')}" in PROSE
    for what, (result,) in page.items():
        assert found[what] == pytest.approx(float(result), abs=half_a_digit(result)), what


def test_the_limits_that_the_page_names_are_the_programs() -> None:
    from underdash import cycles
    from underdash.plan.budget import remedies as limits

    assert f"not beyond {limits.IDLE_MOST_RPM:,.0f} rpm" in PROSE
    assert f"not beyond {limits.RATIO_MOST} to 1" in PROSE
    assert f"not beyond {limits.RATED_MOST_A:.0f} A" in PROSE
    assert f"{limits.MACHINE_MOST_RPM:,.0f} to 18,000 rpm" in PROSE
    assert f"{cycles.LIFE_CYCLES:.0f} × {cycles.LIFE_DEPTH:.2f} / depth" in PROSE
    assert f"less than {100.0 * cycles.LEAST_DEPTH:.2f} % of the capacity" in PROSE
