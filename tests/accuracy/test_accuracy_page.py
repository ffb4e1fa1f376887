"""docs/accuracy.md holds what the commands print."""

import re

import accuracy_tables as tables
import pytest

from conftest import measured_data


def held(name: str) -> str:
    found = re.search(f"<!-- table: {name} -->\n\n(.*?)\n\n<!-- end -->", tables.PAGE.read_text("utf-8"), re.DOTALL)
    assert found, f"docs/accuracy.md has no table {name!r}"
    return found[1]


@pytest.mark.parametrize("name", ["budget board", "budget shunt", "better", "monte carlo", "sources"])
def test_the_budgets_tables_are_current(name: str) -> None:
    made = tables.sections(tables.PAGE.parent)[name]()
    assert held(name) == made, "run tests/accuracy/accuracy_tables.py --write"


@pytest.mark.parametrize("name", ["curves", "averaging", "widths"])
def test_the_measured_tables_are_current(name: str) -> None:
    made = tables.sections(measured_data("rp2040-adc"))[name]()
    assert held(name) == made, "run tests/accuracy/accuracy_tables.py --write"
