"""Pages of many drives and findings: what is folded, what is printed, what the bars show, and one page with it all."""

import copy
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import page_stand
import pytest
from chromium import Browser
from test_page_files import words
from test_pages_browser import pages_of

from underdash.review import page
from underdash.review.pages import drive_page, season_page
from underdash.review.pages.season import told
from underdash.review.pages.season_plots import quantity_svg, shown
from underdash.review.pages.strip import strip_svg
from underdash.review.pages.words import duration, folded, summary
from underdash.review.season.words import findings as of_season
from underdash.review.text import summary as summary_text

LONG = (
    "The battery fed the car for 14 min 40 s, in 3 stretches. It gave 0.54 Ah, 6.5 A on average. The alternator was "
    "about 7 A short of the load while it lasted; it charged at 13.80 V at other times of this drive, so the machine "
    "works, and what is missing is output at low speed: a hot idle with everything on. "
) * 2


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Any]:
    report, rows = page_stand.stand(tmp_path_factory.mktemp("log"), [900, 300, 450])
    report["season"] = page_stand.season(report)
    return report, rows


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with Browser(tmp_path_factory.mktemp("profile")) as one:
        yield one
        assert one.errors == [] and one.requests == []


def finding(weight: str, number: int, drive: int | None = None) -> dict[str, Any]:
    return {
        "weight": weight,
        "text": f"{weight} {chr(97 + number % 26) * (1 + number // 26)}",  # figures alone would make them alike
        "evidence": "seen",
        "drive": drive,
        "row": None,
        "t_s": None,
    }


def crowded(report: dict[str, Any]) -> dict[str, Any]:
    """41 drives, 40 findings of many words, a dozen quantities, and whatever else a page can hold."""
    full = copy.deepcopy(report)
    dates = [f"2026-0{1 + n // 28}-{1 + n % 28:02d}T19:00:00" for n in range(41)]
    full["drives"] = [{**full["drives"][0], "number": n, "dated": dated} for n, dated in enumerate(dates, 1)]
    weights = ("act", "watch", "note", "well")
    full["findings"] = [finding(weights[n % 4], n, n + 1) for n in range(40)]
    for one in full["findings"]:
        one |= {"text": f"{one['text']}: {LONG}", "evidence": LONG[:240]}
    full["season"] = page_stand.season(full)
    full["season"]["quantities"] *= 4
    for verdict in full["season"]["verdicts"].values():
        verdict |= {"reason": LONG, "evidence": LONG}
    full["answers"] = [{"question": f"Question {n}?", "answer": LONG} for n in range(5)]
    full["parked_episodes"] = [{**full["drives"][0]["episodes"][0], "dated": "2026-02-01T03:00:00"}] * 20
    full["gaps"] = [
        {"boot": 1, "start_s": 10.0 * n, "length_s": 20.0, "why": "no rows were written"} for n in range(30)
    ]
    return full


def test_like_findings_are_folded_behind_the_first(made: Any) -> None:
    report, rows = copy.deepcopy(made[0]), made[1]
    report["findings"] = [finding("act", n, 1) for n in range(18)] + [finding("note", n) for n in range(40)]
    for text in (season_page(report), page.render(report, rows)):
        assert text.count("<details>") == 2
        told = words(text)
        assert re.search(r"act f .{0,80}12 more of this weight .{0,40}act g ", told)
        assert re.search(r"note c .{0,80}37 more of this weight .{0,40}note d ", told)
        for one in report["findings"]:
            assert f" {one['text']} " in told
        first = [told.index(word) for word in ("Battery Drifting", "Is the battery being cycled?", "act a", "note a")]
        assert first == sorted(first)
    assert "<details>" in drive_page(report, rows, 1) and "<details>" not in drive_page(report, rows, 2)


def test_what_drives_show_alike_is_said_once_with_a_link_to_each(made: Any) -> None:
    report, rows = copy.deepcopy(made[0]), made[1]
    alike = [{**finding("act", n, n + 1), "text": f"It fell to {11 + n / 10:.2f} V for {n + 3} min."} for n in range(3)]
    report["findings"] = [*alike, {**finding("act", 9, 2), "text": "Something else, at 12.00 V."}]
    text = season_page(report)
    assert text.count("It fell to") == 1 and text.count("Something else") == 1
    assert re.search(
        r"Much the same in 2 more drives:\s*<a href=\"drive-002.html[^>]*>2</a>,\s*<a href=\"drive-003.html", text
    )
    assert words(drive_page(report, rows, 3)).count("It fell to 11.20 V for 5 min.") == 1


def test_what_one_drive_shows_twice_does_not_name_it_as_another(made: Any) -> None:
    report = copy.deepcopy(made[0])
    twice = [{**finding("act", n, 2), "text": f"It fell to {11 + n / 10:.2f} V."} for n in range(2)]
    report["findings"] = [*twice, {**finding("act", 2, 3), "text": "It fell to 11.90 V."}]
    assert re.search(r'Much the same in 1 more drive:\s*<a href="drive-003.html[^>]*>3</a>\.', season_page(report))
    assert "    and much the same in 1 more drive: 3" in summary_text(report).splitlines()
    report["findings"] = twice
    assert "Much the same once more in this drive." in words(season_page(report))
    assert "    and much the same once more in this drive" in summary_text(report).splitlines()


def test_what_is_of_no_drive_and_alike_is_said_once(made: Any) -> None:
    report = copy.deepcopy(made[0])
    report["findings"] = [
        {**finding("watch", n), "text": f"Something drew {n + 2} A for {n + 1} h.", "evidence": f"night {n}", "row": n}
        for n in range(5)
    ]
    told = words(season_page(report))
    assert told.count("Something drew") == 1 and "Much the same 4 more times, the last night 4." in told
    assert "    and much the same 4 more times, the last night 4" in summary_text(report).splitlines()


def test_a_verdict_is_told_in_its_card_with_the_way_to_its_row_and_in_no_finding(made: Any) -> None:
    report, rows = copy.deepcopy(made[0]), made[1]
    regulator = report["season"]["verdicts"]["regulator"]
    report["findings"] = [*of_season(report["season"]), finding("note", 1)]
    text = season_page(report)
    assert words(text).count(regulator["reason"]) == 1 and "over 3 drives" not in words(text)
    assert f'href="drive-002.html#drive=2&amp;row={regulator["row"]}">Show row {regulator["row"]:,}</a>' in text
    assert "note b" in words(text)
    report["findings"] = of_season(report["season"])
    assert "No findings beside these verdicts." in words(season_page(report))
    assert regulator["reason"] in words(drive_page(report, rows, 2))


def test_a_fold_never_hides_a_single_one() -> None:
    groups = folded([finding("watch", n) for n in range(7)] + [finding("note", n) for n in range(5)])
    assert [(len(group["first"]), len(group["rest"])) for group in groups] == [(7, 0), (3, 2)]
    assert [one["printed"] for group in groups for one in group["first"]] == [True] * 3 + [False] * 7


def test_what_is_folded_opens_without_a_script(made: Any, browser: Browser, tmp_path: Path) -> None:
    report = copy.deepcopy(made[0])
    report["findings"] = [finding("act", n, 1) for n in range(18)]
    (tmp_path / "season.html").write_text(season_page(report))
    browser.open(tmp_path / "season.html")
    shown = "[...document.querySelectorAll('.findings li.act')].filter(e => e.checkVisibility()).length"
    assert browser.run(shown) == 6
    browser.click(".rest summary")
    assert browser.run(shown) == 18


def test_the_season_prints_on_two_sheets_whatever_there_is(made: Any, browser: Browser, tmp_path: Path) -> None:
    report, _ = made
    full = crowded(report)
    for name, one in (("full", full), ("undated", {**full, "drives": [{**d, "dated": None} for d in full["drives"]]})):
        (tmp_path / f"{name}.html").write_text(season_page(one))
        browser.open(tmp_path / f"{name}.html")
        assert pages_of(browser.pdf()) == 2, name
        browser.run("document.querySelectorAll('details').forEach(e => e.open = true)")
        assert pages_of(browser.pdf()) == 2, name
    browser.call("Emulation.setEmulatedMedia", media="print")
    text = browser.run("document.body.innerText")
    browser.call("Emulation.setEmulatedMedia", media="")
    for words_of in ("37 more findings", "35 more drives", "6 more quantities", "18 more episodes"):
        assert f"And {words_of}: see the page on a screen." in text


def test_one_page_has_what_the_pages_have(made: Any) -> None:
    report, rows = copy.deepcopy(made[0]), made[1]
    report["drives"][0] |= {"dated": "2026-10-21T19:06:12"}
    report["drives"][1]["episodes"] = report["drives"][0]["episodes"]
    report["drives"][1]["episodes"][0] |= {"closes": ["Raise the idle to 900 rpm."]}
    one, season = page.render(report, rows), season_page(report)
    told, seasons = words(one), words(season)
    for answer in report["answers"]:
        assert f"{answer['question']} {answer['answer']}" in told and answer["question"] in seasons
    for part, verdict in report["season"]["verdicts"].items():
        assert f"{part.capitalize()} {verdict['verdict'].capitalize()} {verdict['reason']}" in told
    for quantity in report["season"]["quantities"]:
        assert quantity["name"].capitalize() in told
    assert one.count("<h3>Rested volts</h3>") == 1 and one.count('class="strip"') == 1
    assert "Drive 1: 2026-10-21 19:06, 15 min 1 s" in told and "Drive 1 2026-10-21 19:06 " in told
    assert "What would close it Raise the idle to 900 rpm." in told and told.count("What a board would have shown") == 3
    assert set(re.findall(r'xlink:href="([^"]*)"|class="strip".*?<a href="([^"]*)"', one)) >= {("#drive-2", "")}
    assert "drive-001.html" not in one and "season.png" not in one


def test_a_click_on_a_bar_or_a_dot_of_the_one_page_goes_to_the_drive(
    made: Any, browser: Browser, tmp_path: Path
) -> None:
    report, rows = made
    (tmp_path / "one.html").write_text(page.render(report, rows))
    browser.open(tmp_path / "one.html")
    for place in (".strip a:nth-of-type(2)", ".quantities a[*|href='#drive-3']"):
        browser.run(f"document.querySelector({place!r}).dispatchEvent(new MouseEvent('click', {{bubbles: true}}))")
        assert browser.run("location.hash") == ("#drive-2" if "strip" in place else "#drive-3")


def drive(minutes: float, low: float = 0.0, dated: str | None = None) -> dict[str, Any]:
    return {"length_s": minutes * 60, "low_s": low * 60, "dated": dated}


def bars(svg: str) -> list[float]:
    return [float(each) for each in re.findall(r'class="bar"[^>]*height="([\d.]+)"', svg)]


def test_bars_are_as_tall_as_the_minutes_driven_though_one_drive_is_enormous() -> None:
    tall = bars(strip_svg([drive(10), drive(20), drive(15, 5), drive(46_000)], {}))
    assert tall[0] / tall[1] == pytest.approx(0.5) and tall[2] / tall[1] == pytest.approx(0.75) and tall[3] == tall[1]
    svg = strip_svg([drive(10), drive(20), drive(15, 5), drive(46_000)], {4: "act"})
    assert (
        ">20 min</text>" in svg and '<tspan class="act">!</tspan> 767 h</text>' in svg and svg.count('class="cut"') == 1
    )
    foot = re.findall(r'height="([\d.]+)" fill="url\(#low\)"', svg)
    assert [float(each) for each in foot] == pytest.approx([0, 0, tall[2] / 3, 0], abs=0.06)
    usual = bars(strip_svg([drive(8), drive(8), drive(40)], {}))
    assert usual[0] / usual[2] == pytest.approx(0.2, abs=0.01)  # a day out among errands is not cut
    assert bars(strip_svg([drive(0.0)], {}))[0] > 0 and bars(strip_svg([drive(600)], {}))[0] > 100


def test_months_stand_below_the_bars_where_all_are_dated() -> None:
    days = ["2025-12-03", "2025-12-28", "2026-01-05", "2026-01-07", "2026-02-07"]
    svg = strip_svg([drive(10, dated=f"{day}T07:00:00") for day in days], {})
    assert re.findall(r'class="month"[^>]*>([^<]*)', svg) == ["Dec 2025", "Jan 2026", "Feb"]
    assert 'class="month"' not in strip_svg([drive(10, dated=f"{days[0]}T07:00:00"), drive(10)], {})


def test_summary_says_how_long_and_from_when_to_when(made: Any) -> None:
    report = {
        "rows": 9,
        "drives": [{**drive(275, dated=f"2026-{month}-13T19:00:00"), "episodes": []} for month in ("09", 11)],
    }
    assert summary(report) == "2 drives, 9 h 10 min in all, 13 September to 13 November 2026. No episode of any kind."
    report["drives"][0]["dated"] = None
    assert summary(report).startswith("2 drives, 9 h 10 min in all. ")
    assert duration(41.26) == "41.3 s" and duration(221.0) == "3 min 41 s"


def quantity(unit: str, values: list[float], **more: Any) -> dict[str, Any]:
    points = [{"drive": n, "date": f"2026-09-{n:02d}T07:00:00", "value": value} for n, value in enumerate(values, 1)]
    return {"name": "x", "unit": unit, "points": points, "slope": None, "per": "month", "change": None} | more


def test_a_trend_of_nothing_has_no_sign_and_equal_ends_are_one() -> None:
    none = quantity("V", [12.6, 12.6], slope=-1e-7, slope_low=-2e-7, slope_high=3e-7)
    assert told(none)["trend"] == "0 V a month, 95 % at 0: no trend shown"
    small = quantity("V", [12.6, 12.6], slope=-0.01234567, slope_low=-0.02, slope_high=-0.000049)
    assert told(small)["trend"] == "\u22120.0123 V a month, 95 % between \u22120.02 and 0"


def test_a_resistance_is_told_in_milliohms() -> None:
    change = {"drive": 2, "date": "2026-09-02", "before": 0.008, "after": 0.0101, "confidence": 0.99}
    one = shown(quantity("ohm", [0.008, 0.0101], slope=0.0004, slope_low=0.0003, slope_high=0.0005, change=change))
    assert told(one)["trend"] == "+0.4 m\u03a9 a month, 95 % between +0.3 and +0.5"
    assert "8.00 m\u03a9 before, 10.10 m\u03a9 after" in str(told(one)["change"])
    assert [point["value"] for point in one["points"]] == pytest.approx([8.0, 10.1])


def test_the_values_fill_the_picture_of_a_quantity_and_its_days_are_named() -> None:
    steep = quantity("V", [12.6, 12.61, 12.6, 12.62], slope=0.01, slope_low=-40.0, slope_high=40.0)
    svg = quantity_svg(steep, 1)
    assert re.search(r">12\.6\d*<", svg) and ">10" not in svg and re.search(r">\d Sep<", svg)


def test_paper_has_the_quantities_that_changed_before_those_that_did_not(made: Any) -> None:
    report = copy.deepcopy(made[0])
    rested, changed, even = report["season"]["quantities"]
    report["season"]["quantities"] = [even] * 7 + [rested, changed]
    hidden = re.findall(r'<figure class="flat more"><h3>(.*?)</h3>', season_page(report))
    assert hidden == ["Resistance at the crank"] * 3


def test_paper_has_the_drives_with_the_gravest_findings(made: Any) -> None:
    report = crowded(made[0])
    report["findings"] = [finding("act", n, n) for n in (30, 31, 40)] + [finding("watch", 1, 12)]
    text = season_page(report)
    lines = re.findall(r"<tr( class=\"more\")?><th><a href=\"drive-0*(\d+)", text)
    assert [int(number) for more, number in lines if not more] == [1, 2, 12, 30, 31, 40]
    assert [int(number) for _, number in lines] == list(range(1, 42))


def test_many_holes_are_folded(made: Any) -> None:
    report = crowded(made[0])
    assert "<summary>30 holes in the rows</summary>" in season_page(report)
    report["gaps"] = report["gaps"][:6]
    text = season_page(report)
    assert "holes in the rows</summary>" not in text and "Holes in the rows</h3>" in text
