"""The days in docs/rest.md follow from the currents it names."""

import re
from pathlib import Path

import pytest

TEXT = (Path(__file__).resolve().parents[2] / "docs" / "rest.md").read_text()

AWAKE, ASLEEP, DIVIDER, REGULATOR, DISPLAY, CLAMP = 21.0, 1.3, 0.13, 0.1, 10.0, 10.0
SLEEPING = 0.94 * ASLEEP + 0.06 * AWAKE
BATTERY = {
    "asleep, no clamp": SLEEPING,
    "asleep, clamp": SLEEPING + CLAMP,
    "awake all the time, display dark": AWAKE,
    "awake all the time, display lit": AWAKE + DISPLAY + CLAMP,
}


@pytest.mark.parametrize(("case", "load_ma"), BATTERY.items())
def test_each_case_adds_up(case: str, load_ma: float) -> None:
    (row,) = re.findall(rf"^\| {case}[^|]* \| ([\d.]+) \| (\d+) \|$", TEXT, re.MULTILINE)
    total = load_ma + DIVIDER + REGULATOR
    assert float(row[0]) == pytest.approx(total, abs=0.06)
    assert int(row[1]) == pytest.approx(12_500 / total / 24, abs=1.5)


def test_the_parts_are_those_in_the_table() -> None:
    for said in ("| 21 mA |", "| 1.3 mA ", "| 10 mA at a fifth", "| 10 mA, never off", "= 2.5 mA", "= 0.13 mA"):
        assert said in TEXT, said
    assert abs(SLEEPING - 2.5) < 0.05
