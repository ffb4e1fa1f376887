"""The plan as data: nothing lost, nothing that JSON cannot hold, and every key documented."""

import json
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from plan.cars import load
from plan.plans import crowded, made, with_circuits
from underdash.carfile import example
from underdash.carfile.model import PARKED, CarFile
from underdash.plan.report import CAUTIONS, as_dict, plan
from underdash.plan.results import WEIGHTS, Balance, Plan

DOCS = Path(__file__).resolve().parents[2] / "docs" / "plan.md"


def numbers(value: Any) -> Iterator[float]:
    """Every number in a plan's results or in its JSON, but the car's own and a simulation's samples."""
    if isinstance(value, bool | str) or value is None or isinstance(value, CarFile):
        return
    if isinstance(value, int | float):
        yield float(value)
    elif is_dataclass(value):
        for field in fields(value):
            if field.name not in ("t_s", "charge", "cable", "load", "loads"):
                yield from numbers(getattr(value, field.name))
    else:
        for each in value.values() if isinstance(value, dict) else value:
            yield from numbers(each)


@pytest.mark.parametrize("file", [example, with_circuits, crowded])
def test_goes_through_json_and_comes_back_the_same(file: Any) -> None:
    told = as_dict(made(file()))
    assert json.loads(json.dumps(told, allow_nan=False)) == told


@pytest.fixture(scope="module")
def real() -> Plan:
    return plan(example())


def test_of_the_shipped_car(real: Plan) -> None:
    told = as_dict(real)
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert {cable["name"] for cable in told["cables"]} == {cable.name for cable in real.car.cables}
    assert {each["name"] for each in told["loads"]} == {each.name for each in real.car.loads}
    ranks = [WEIGHTS.index(finding["weight"]) for finding in told["findings"]]
    assert ranks == sorted(ranks) and len(ranks) > 5
    assert told["cautions"] == list(CAUTIONS) and "fuel" in CAUTIONS[0] and "local codes" in CAUTIONS[-1]


@pytest.mark.parametrize("which", ["by hand", "shipped"])
def test_no_result_is_lost(which: str, real: Plan) -> None:
    one = made() if which == "by hand" else real
    told = set(numbers(as_dict(one)))
    for part in (one.budget, one.cables, one.charge_path, one.ammeter):
        found = set(numbers(part))
        assert len(found) > 5 and found <= told, part


def test_what_is_computed_from_results() -> None:
    one = made()
    told = as_dict(one)
    for balance, each in zip(one.budget.balances, told["budget"]["balances"], strict=True):
        assert each["margin_amps"] == balance.hot_a - balance.sustained_a
        assert each["margin_share"] == each["margin_amps"] / balance.sustained_a
    for result, cable in zip(one.cables.results, told["cables"], strict=True):
        assert cable["passed"] == all(test.value <= test.limit for test in result.criteria)
        failed = [test for test in result.criteria if test.value > test.limit]
        shares = [test.value / test.limit for test in result.criteria]
        # The gravest that fails is told, and ampacity is the gravest; else the hardest used.
        gravest = next((test.value / test.limit for test in failed if test.name == "ampacity"), None)
        assert cable["used_share"] == (gravest if gravest is not None else max(shares, default=0.0))
        allowed = dict(result.by_insulation)
        if 75 in allowed:
            assert cable["gain_of_105_amps"] == allowed[105] - allowed[75]


def test_without_a_finite_value_stands_null() -> None:
    idle = Balance("hot idle", 800.0, "day", 40.0, 50.0, 0.0, 0.0, 0.0, "", ((load("standby", 0.0, PARKED), 0.0),))
    one = made()
    forever = replace(one.budget.shortfalls[0], to_50_min=float("inf"), bus_v=float("nan"))
    told = as_dict(replace(one, budget=replace(one.budget, balances=(idle,), shortfalls=(forever,)), ammeter=None))
    assert told["budget"]["balances"][0]["margin_share"] is None
    assert told["budget"]["shortfalls"][0]["to_50_minutes"] is None
    assert told["budget"]["shortfalls"][0]["bus_volts"] is None
    assert told["ammeter"] is None
    json.dumps(told, allow_nan=False)


def keys(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        yield from value
        for each in value.values():
            yield from keys(each)
    elif isinstance(value, list):
        for each in value:
            yield from keys(each)


def test_every_key_is_documented() -> None:
    text = DOCS.read_text()
    named = set(re.findall(r"`(\w+)`", text))
    used = set(keys(as_dict(made())))
    assert used <= named, used - named
    listed = set(re.findall(r"`(\w+)`", text[text.index("## As data") : text.index("## The page")]))
    assert listed - used <= {"null"}, "documented, but not there"
