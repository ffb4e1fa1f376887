"""The plan's page: the same numbers as the JSON, nothing from elsewhere, a page in a real browser."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from outline import Outline
from plan.browser import opened
from plan.cars import car, load
from plan.plans import CABLES, crowded, made, with_circuits
from underdash.carfile import example
from underdash.carfile.model import ALWAYS, CarFile
from underdash.plan.report import as_dict, plan
from underdash.plan.results import Finding, Plan
from underdash.plan.show.page import render


class Page(Outline):
    """Keeps the tables too, by their heading."""

    def __init__(self, text: str) -> None:
        self.heading = ""
        self.rows: dict[str, list[list[str]]] = {}
        super().__init__(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        super().handle_starttag(tag, attrs)
        if tag in ("h2", "h3"):
            self.heading = ""
        elif tag == "tr":
            self.rows.setdefault(self.heading.strip(), []).append([])
        elif tag in ("td", "th"):
            self.rows[self.heading.strip()][-1].append("")

    def handle_data(self, data: str) -> None:
        super().handle_data(data)
        if self.open[-1:] in (["h2"], ["h3"]):
            self.heading += data
        elif "td" in self.open or "th" in self.open:
            self.rows[self.heading.strip()][-1][-1] += data

    def table(self, heading: str) -> list[list[str]]:
        """Cells of the body's rows, blanks made one."""
        return [[re.sub(r"\s+", " ", cell).strip() for cell in row] for row in self.rows[heading][1:]]


def number(text: str) -> float:
    found = re.match(r"(?:× )?([+−-]?[\d,.]+)", text)
    assert found, text
    return float(found[1].replace("−", "-").replace(",", ""))


@pytest.fixture(scope="module")
def real() -> Plan:
    return plan(example())


@pytest.fixture(scope="module", params=["by hand", "shipped"])
def both(request: pytest.FixtureRequest, real: Plan) -> tuple[dict[str, Any], Page]:
    one = real if request.param == "shipped" else made()
    return as_dict(one), Page(render(one))


def same(cells: list[str], values: list[float | None], digits: list[int]) -> None:
    """Each cell is its value, rounded; a dash where there is none."""
    assert len(cells) == len(values) == len(digits)
    for cell, value, places in zip(cells, values, digits, strict=True):
        if value is None:
            assert cell in ("-", "none")
        else:
            assert number(cell) == pytest.approx(value, abs=0.5001 * 10**-places), (cell, value)


def test_the_balance(both: tuple[dict[str, Any], Page]) -> None:
    told, page = both
    rows = page.table("Balance")
    assert len(rows) == len(told["budget"]["balances"]) == 9
    for row, each in zip(rows, told["budget"]["balances"], strict=True):
        values = [each[f"{name}_amps"] for name in ("hot", "cold", "sustained", "margin")]
        same(row[2:6], values, [1, 1, 1, 1])
        same(row[6:7], [100 * each["margin_share"]], [0])
        thin = each["margin_share"] < told["limits"]["margin_share"]
        assert row[7] == ("▲ short" if each["margin_amps"] < 0 else "▲ thin" if thin else "")
        same(row[8:10], [each["peak_amps"], each["inrush_amps"]], [1, 1])


def test_shortfalls_remedies_and_cycling(both: tuple[dict[str, Any], Page]) -> None:
    told, page = both
    for row, each in zip(page.table("Where the battery makes up for it"), told["budget"]["shortfalls"], strict=True):
        same(row[2:7], [-each["margin_amps"], each["bus_volts"], each["battery_amps"], each["least_amps"],
                        each["most_amps"]], [1, 2, 1, 1, 1])  # fmt: skip
        if each["to_75_minutes"] < 119:
            same(row[7:8], [each["to_75_minutes"]], [0])
    rows = page.table("What alone would close the worst of them, margin included")
    for row, each in zip(rows, told["budget"]["remedies"], strict=True):
        assert row[0] == each["kind"] and row[3] == each["text"]
        assert (row[2] == "no such value") == (each["needed"] is None)
    for row, each in zip(page.table("A day of traffic lights"), told["budget"]["cycling"], strict=True):
        deepest = max((cycle["depth"] for cycle in each["cycles"]), default=0.0)
        same(row[1:], [each["stops"], each["discharged_ah"], sum(cycle["count"] for cycle in each["cycles"]),
                       100 * deepest, 100 * each["life_share"]], [0, 2, 1, 2, 3])  # fmt: skip


def test_the_cables(both: tuple[dict[str, Any], Page]) -> None:
    told, page = both
    rows = page.table("By how much of the hardest test they use")
    for row, each in zip(rows, told["cables"], strict=True):
        assert row[0] == each["name"] and row[1] == (each["gauge"] or "")
        assert row[4] == ("" if each["passed"] else "▲ over")
        if each["tests"]:
            same(row[3:4], [100 * each["used_share"]], [0])
            failed = [test for test in each["tests"] if not test["passed"]]
            shown = failed or [max(each["tests"], key=lambda test: test["used_share"])]
            limits = re.findall(r" of ([\d.]+)", row[5])
            assert [float(limit) for limit in limits] == pytest.approx([test["limit"] for test in shown], abs=0.51)
            assert each["used_share"] == shown[0]["used_share"]
        assert (each["smallest"] or "-") in row[6] or row[6].startswith("none listed")
    for row, each in zip(page.table("Currents, drops and temperatures"), told["cables"], strict=True):
        same(row[5:7], [each["amps"], each["brief_amps"]], [1, 1])
        same(row[8:11], [each["ampacity_amps"], 1000 * each["ohm"], each["drop_volts"]], [1, 2, 2])
        same(row[11:], [each["crank_volts"] if each["crank_amps"] else None, each["conductor_c"]], [2, 0])
    rows = page.table("What 105 °C insulation allows over 75 °C, same gauge, same place")
    for row, each in zip(rows, [each for each in told["cables"] if each["by_insulation"]], strict=True):
        allowed = {one["class_c"]: one["amps"] for one in each["by_insulation"]}
        same(row[3:], [allowed.get(60), allowed.get(75), allowed.get(105), each["gain_of_105_amps"]], [1, 1, 1, 1])
    for row, each in zip(page.table("Drop of each load's own circuit"), told["circuits"], strict=True):
        values = [each["amps"], each["supply_volts"], each["ground_volts"], each["drop_volts"], each["limit_volts"]]
        assert [cell == "not in the file" for cell in row[1:6]] == [value is None for value in values]
        cells = [cell.replace("not in the file", "-") for cell in row[1:6]]
        same(cells, values, [1, 2, 2, 2, 2])


def test_charge_path_and_ammeter(both: tuple[dict[str, Any], Page]) -> None:
    told, page = both
    for row, each in zip(page.table("Charge path and grounds"), told["charge_path"]["drops"], strict=True):
        same(row[1:5], [each["amps"], 1000 * each["ohm"], each["volts"], each["limit_volts"]], [1, 2, 2, 2])
        assert row[5] == ("▲ over" if each["passed"] is False else "")
    for row, each in zip(page.table("The dash ammeter's share"), told["ammeter"]["needles"], strict=True):
        names = ("alternator", "loads", "battery", "before", "after")
        same(row[1:], [each[f"{name}_amps"] for name in names], [1] * 5)


def test_findings_line_and_cautions_are_said(both: tuple[dict[str, Any], Page]) -> None:
    told, page = both
    said = re.sub(r"\s+", " ", page.words)
    for finding in told["findings"]:
        assert finding["text"] in said
        if finding["line"]:
            assert f"; line {finding['line']} " in said
    for caution in told["cautions"]:
        assert caution in said
    grave = [finding["text"] for finding in told["findings"] if finding["weight"] in ("act", "watch")]
    assert all(said.index(text) < said.index("Output against demand") for text in grave) and grave


@pytest.mark.parametrize("file", [example, with_circuits, crowded])
def test_asks_for_nothing_from_elsewhere_and_keeps_its_ids_apart(file: Any) -> None:
    text = render(made(file()))
    page = Page(text)
    assert "http:" not in text and "https:" not in text and "@import" not in text and "default-src 'none'" in text
    assert page.outer == ["data:,"] and not set(page.tags) & {"script", "img", "iframe", "object"}
    assert page.ids.most_common(1)[0][1] == 1 and set(page.inner) <= set(page.ids)
    assert not re.search(r"\b(nan|None|inf)\b", re.sub(r"<svg.*?</svg>", "", text, flags=re.DOTALL))


def test_drawings_follow_the_light_or_dark_scheme(real: Plan) -> None:
    """A colour of its own would be lost on one of the two grounds; matplotlib's are those of the review's page."""
    text = render(real)
    for drawn in (text[text.index('<svg class="wiring"') :], text[text.index("<h2>The dash ammeter") :]):
        svg = drawn[drawn.index("<svg") : drawn.index("</svg>")]
        assert "var(--" in svg and not re.search(r'(?:fill|stroke)="(?:#|white|black)', svg)


def test_nothing_read_from_a_file_becomes_markup() -> None:
    evil = "<script>alert(1)</script>\"'&"
    file = with_circuits()
    cables = (*file.cables, replace(CABLES[0], name=evil, start=evil, added=False))
    one = made(replace(file, name=evil, path=Path(evil), loads=(*file.loads, load(evil, 1.0, ALWAYS)), cables=cables))
    finding = Finding("act", evil, evil)
    page = Page(render(replace(one, charge_path=replace(one.charge_path, findings=(finding,)))))
    assert page.tags["script"] == 0 and page.words.count("<script>") >= 6


def bare() -> CarFile:
    return car(ammeter=None)


def test_a_car_without_ammeter_and_without_a_shortfall() -> None:
    one = made(bare())
    calm = replace(one.budget, shortfalls=(), remedies=(), cycling=(), findings=())
    page = Page(render(replace(one, budget=calm, cables=replace(one.cables, circuits=()))))
    assert "ammeter" not in page.words and "makes up for it" not in page.words and "traffic" not in page.words


def test_drawing_twice_gives_the_same_bytes() -> None:
    assert render(made()) == render(made())


@pytest.mark.parametrize("which", ["shipped", "crowded"])
def test_in_a_browser(which: str, real: Plan, tmp_path: Path) -> None:
    one = real if which == "shipped" else made(crowded())
    page = tmp_path / "plan.html"
    page.write_text(render(one), encoding="utf-8")
    shown = opened(page, tmp_path / "profile")
    told = as_dict(one)
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", shown))
    assert f"{told['budget']['balances'][2]['hot_amps']:.1f} A" in words
    assert shown.count("<figure>") == 4 and shown.count("<svg") >= 4
