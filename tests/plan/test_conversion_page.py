"""The pages on conversion and ammeter: sums worked anew, limits as the program has them, links that lead somewhere."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from loops import MACHINE, car, stated

from chargecore import thresholds
from underdash.carfile.model import ALTERNATOR, BATTERY, BODY, ENGINE, GROUND, GROUND_SIDE, Limits
from underdash.plan.charge_path import charge_path
from underdash.plan.charge_path.findings import LONG_M
from underdash.plan.results import ChargePath

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGE = (DOCS / "conversion.md").read_text()
WORDS = " ".join(PAGE.split())


def row(number: int) -> str:
    """A row of the table of checks."""
    return next(line for line in PAGE.splitlines() if line.startswith(f"| {number} |"))


def worked(supply: tuple, senses: str = ALTERNATOR) -> ChargePath:
    """The page's own charge path: 75 A, 13.9 V hot, 1.5 mohm of ground."""
    ground = (
        stated("strap", ENGINE, GROUND, 0.0015, side=GROUND_SIDE),
        stated("lead", BODY, GROUND, 0.002, side=GROUND_SIDE),
    )
    machine = replace(MACHINE, hot_a=(0.0, 60.0, 75.0), senses=senses)
    return charge_path(car(supply=supply, ground=ground, bus=BATTERY, alternator=machine, ammeter=None))


def test_the_charge_path_is_worked_out_as_the_plan_does() -> None:
    one = stated("cable", ALTERNATOR, BATTERY, 0.004)
    path = worked((one,))
    assert path.output_a == 75.0 and path.set_point_v == pytest.approx(13.9)
    assert f"75 × 0.004 = {path.drops[0].volts:.2f} V" in WORDS
    assert f"75 × 0.0015 = {path.drops[1].volts:.2f} V" in WORDS
    assert f"13.9 - 0.30 - 0.11 = {path.battery_v:.2f} V" in WORDS
    assert f"13.9 - 0.11 = {worked((one,), BATTERY).battery_v:.2f} V" in WORDS
    both = worked((one, stated("second", ALTERNATOR, BATTERY, 0.008)))
    assert (
        f"4 × 8 / (4 + 8) = {both.drops[0].ohm * 1000:.2f} mohm, and 0.30 V into {both.drops[0].volts:.2f} V" in WORDS
    )


def test_the_sums_of_lamp_belt_and_pulley_are_right() -> None:
    for left, value, digits in (
        ("2.2 / 12", 2.2 / 12.0, 2),
        ("12.6 / 68", 12.6 / 68.0, 2),
        ("12.6² / 68", 12.6**2 / 68.0, 1),
        ("75 × 14 / 0.55", 75.0 * 14.0 / 0.55 / 1000.0, 1),
    ):
        assert re.search(re.escape(f"{left} = {value:.{digits}f}") + r" (A|W|kW)\b", WORDS), left
    assert f"{75 * 14 / 0.55 / 745.7:.1f} hp" in WORDS
    assert f"2.4 × 6,000 = {2.4 * 6000:,.0f} rpm" in WORDS


def test_the_limits_are_those_of_the_program() -> None:
    limits = Limits()
    assert f"at most {limits.charge_supply_v:g} V" in row(9)
    assert f"at most {limits.charge_ground_v:g} V" in row(10)
    assert f"below {limits.crank_v:g} V" in row(15)
    defaults = {name: default for name, default, *_ in thresholds.FIELDS}
    assert f"at least {defaults['weak_crank_mv'] / 1000:.1f} V" in row(2)
    assert f"{defaults['discharging_mv'] / 1000:.1f} V or more" in row(7)


def test_a_battery_in_the_boot_has_its_section() -> None:
    section = " ".join(PAGE.split("\n## The battery in the boot\n")[1].split("\n## ")[0].split())
    assert f"more than {LONG_M:g} m" in section
    assert f"below {Limits().crank_v:g} V" in section
    said = ("rated for cranking", "isolator", "grommet", "fuel line", "vented", "clamped", "same size", "seams")
    for words in (*said, "common practice, no source", "manual", "licensed practice"):
        assert words in section, words


def test_every_check_has_a_pass_value_and_a_source() -> None:
    rows = [line for line in PAGE.splitlines() if re.match(r"\| \d+ \|", line)]
    assert [int(line.split("|")[1]) for line in rows] == list(range(1, 16))
    for line in rows:
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        assert len(cells) == 5 and all(cells), line


@pytest.mark.parametrize("name", ["conversion.md", "ammeter.md"])
def test_links_lead_somewhere(name: str) -> None:
    text = (DOCS / name).read_text()
    links = re.findall(r"\]\(([^)]+)\)", text)
    assert len(links) > 5
    for link in links:
        file, _, anchor = link.partition("#")
        target = DOCS / (file or name)
        assert target.is_file(), link
        if anchor:
            headings = re.findall(r"^#+ (.+)$", target.read_text(), re.MULTILINE)
            slugs = {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}
            assert anchor in slugs, link
