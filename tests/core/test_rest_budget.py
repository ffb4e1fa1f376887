"""The days in docs/rest.md follow from the currents it names, and those from the front end's values."""

import re
from pathlib import Path

import pytest

from underdash.frontend import parts
from underdash.frontend.constants import arm

TEXT = (Path(__file__).resolve().parents[2] / "docs" / "rest.md").read_text()

VALUES = parts.load()
DIVIDER_KOHM = (
    sum(arm(VALUES, *nodes) for nodes in (("fused", "sensed"), ("sensed", "bus_mid"), ("bus_mid", "ground"))) / 1e3
)
AWAKE, ASLEEP, DISPLAY, CLAMP, GUARD = 21.0, 1.3, 10.0, 10.0, 0.1
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
    regulator = VALUES["U1"]
    total = (
        (load_ma + GUARD) * (1 + regulator["quiescent_share"]) + regulator["quiescent_amps"] * 1e3 + 12.6 / DIVIDER_KOHM
    )
    assert float(row[0]) == pytest.approx(total, abs=0.06)
    assert int(row[1]) == pytest.approx(12_500 / total / 24, abs=1.5)


def test_the_parts_are_those_in_the_table() -> None:
    for said in (
        "| 21 mA |",
        "| 1.3 mA ",
        "| 10 mA at a fifth",
        "| 10 mA, never off",
        "= 2.5 mA",
        f"/ {DIVIDER_KOHM:.2f} kOhm",
    ):
        assert said in TEXT, said
    assert abs(SLEEPING - 2.5) < 0.05
