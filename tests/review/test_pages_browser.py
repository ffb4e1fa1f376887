"""The pages in a real Chromium: opened from disk, zoomed by wheel, key, finger and link, printed, in both schemes."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import page_stand
import pytest
from chromium import Browser

from chargecore.engine import STATE_NAMES
from underdash.review import page
from underdash.review.pages import drive_page, write_pages
from underdash.review.plots import places

CHART = "canvas.rows"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Any, Path]:
    """(report, rows, folder of pages) of four drives and an invented season."""
    folder = tmp_path_factory.mktemp("pages")
    report, rows = page_stand.stand(folder, [900, 300, 1800, 450])
    report["season"] = page_stand.season(report)
    write_pages(report, rows, folder)
    (folder / "one.html").write_text(page.render(report, rows))
    return report, rows, folder


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with Browser(tmp_path_factory.mktemp("profile")) as browser:
        yield browser


@pytest.fixture
def browser(shared: Browser) -> Iterator[Browser]:
    """A browser as a desk has it; that no page complained or asked for anything is checked after each test."""
    shared.size(1200, 900)
    shared.dark(False)
    shared.errors.clear()
    shared.requests.clear()
    yield shared
    assert shared.errors == [] and shared.requests == []


def whole(report: dict[str, Any], rows: Any, number: int) -> tuple[float, float]:
    """What a drive's chart shows at first."""
    mine = places(report["drives"][number - 1], rows, 90.0)
    return float(rows.t_s[mine[0]]) - 1.0, float(rows.t_s[mine[-1]]) + 1.0


def inked(browser: Browser) -> np.ndarray:
    """The colours [r, g, b] that cover more than a few pixels of the first chart; none if it is blank."""
    pixels = browser.pixels(CHART).reshape(-1, 4)
    colours, counts = np.unique(pixels[pixels[:, 3] > 200][:, :3], axis=0, return_counts=True)
    return colours[counts > 60].astype(int)


@pytest.mark.parametrize("name", ["season", "drive-001", "drive-002", "drive-003", "drive-004", "one"])
def test_opens_from_disk_quietly(made: Any, browser: Browser, name: str) -> None:
    _, _, folder = made
    browser.open(folder / f"{name}.html")
    charts = {"season": 0, "one": 4}.get(name, 1)
    assert browser.run("document.querySelectorAll('figure.chart.live').length") == charts
    if charts:
        assert len(inked(browser)) >= 4
        assert browser.run("getComputedStyle(document.querySelector('figure.chart > svg')).display") == "none"
    assert browser.run("document.documentElement.scrollWidth <= innerWidth")


def test_a_script_that_is_not_the_pages_own_does_not_run(made: Any, browser: Browser, tmp_path: Path) -> None:
    text = (made[2] / "drive-001.html").read_text()
    foreign = tmp_path / "page.html"
    foreign.write_text(text.replace("</main>", "<script>document.title = 'taken'</script></main>"))
    browser.open(foreign)
    assert browser.run("document.title") == "Drive 1, log.csv"
    assert len(browser.errors) == 1 and "Content Security Policy" in browser.errors[0]
    browser.errors.clear()


def test_the_wheel_zooms_about_the_pointer_and_lets_the_page_scroll(made: Any, browser: Browser) -> None:
    report, rows, folder = made
    browser.open(folder / "drive-001.html")
    all_of_it = whole(report, rows, 1)
    assert browser.view() == pytest.approx(all_of_it)
    x, y = browser.middle(CHART, 0.3)
    box = browser.run(
        f"(() => {{ const b = document.querySelector('{CHART}').getBoundingClientRect(); return [b.x, b.width] }})()"
    )
    part = (x - box[0] - 78) / (box[1] - 78 - 164)  # margins of a wide chart
    at = all_of_it[0] + part * (all_of_it[1] - all_of_it[0])
    browser.mouse("mouseWheel", x, y, deltaX=0, deltaY=-200)
    first, last = browser.view()
    assert (last - first) / (all_of_it[1] - all_of_it[0]) == pytest.approx(np.exp(-0.6), rel=0.01)
    assert first + part * (last - first) == pytest.approx(at, abs=1.0)
    for _ in range(4):
        browser.mouse("mouseWheel", x, y, deltaX=0, deltaY=200)
    assert browser.view() == pytest.approx(all_of_it)
    before = browser.run("scrollY")
    browser.mouse("mouseWheel", x, y, deltaX=0, deltaY=200)
    browser.run("new Promise(done => setTimeout(() => done(1), 600))")  # scrolling is smooth
    assert browser.run("scrollY") > before and browser.view() == pytest.approx(all_of_it)


def test_keys_buttons_and_dragging(made: Any, browser: Browser) -> None:
    report, rows, folder = made
    browser.open(folder / "drive-003.html")
    begin, end = whole(report, rows, 3)
    browser.run(f"document.querySelector('{CHART}').focus()")
    browser.key("+")
    browser.key("+")
    first, last = browser.view()
    assert last - first == pytest.approx((end - begin) / 4)
    browser.key("ArrowRight")
    assert browser.view() == pytest.approx((first + 0.15 * (last - first), last + 0.15 * (last - first)))
    browser.key("ArrowLeft")
    assert browser.view() == pytest.approx((first, last))
    browser.key("-")
    assert browser.view()[1] - browser.view()[0] == pytest.approx((end - begin) / 2)
    browser.key("Home")
    assert browser.view() == pytest.approx((begin, end))
    browser.click(".tools button:nth-child(1)")
    first, last = browser.view()
    assert last - first == pytest.approx((end - begin) / 2)
    x, y = browser.middle(CHART)
    browser.mouse("mousePressed", x, y, button="left", buttons=1)
    browser.mouse("mouseMoved", x + 120, y, button="left", buttons=1)
    browser.mouse("mouseReleased", x + 120, y, button="left")
    assert browser.view()[0] < first - 10 and browser.view()[1] - browser.view()[0] == pytest.approx(last - first)
    browser.click("canvas.strip")
    assert sum(browser.view()) / 2 == pytest.approx((begin + end) / 2, rel=0.05)
    browser.click(".tools button:nth-of-type(5)")
    assert browser.view() == pytest.approx((begin, end))


def test_fingers(made: Any, browser: Browser) -> None:
    report, rows, folder = made
    browser.size(390, 844, 2.0, phone=True)
    browser.open(folder / "drive-003.html")
    begin, end = whole(report, rows, 3)
    x, y = browser.middle(CHART)
    browser.touch("touchStart", (x - 20, y), (x + 20, y))
    for apart in (30, 40, 60, 80):
        browser.touch("touchMove", (x - apart, y), (x + apart, y))
    browser.touch("touchEnd")
    first, last = browser.view()
    assert last - first == pytest.approx((end - begin) / 4, rel=0.05)
    browser.touch("touchStart", (x, y))
    for by in (20, 40, 60):
        browser.touch("touchMove", (x - by, y))
    browser.touch("touchEnd")
    assert browser.view()[0] > first + 10 and browser.view()[1] - browser.view()[0] == pytest.approx(last - first)
    assert browser.run("document.documentElement.scrollWidth <= innerWidth")


def test_at_the_closest_zoom_each_row_tells_its_numbers(made: Any, browser: Browser) -> None:
    report, rows, folder = made
    drive = report["drives"][2]
    place = int(np.searchsorted(rows.t_s, drive["episodes"][0]["shown_s"])) + 4
    browser.open(folder / "drive-003.html", f"#drive=3&from={rows.t_s[place] - 0.5}&to={rows.t_s[place]}")
    browser.run(f"document.querySelector('{CHART}').focus()")
    while browser.view()[1] - browser.view()[0] > 2.01:
        browser.key("+")

    def row(index: int) -> str:
        volts, low, high, amps = (each[index] for each in (rows.volts, rows.low, rows.high, rows.amps))
        clock = f"{int(rows.t_s[index] // 3600)}:{int(rows.t_s[index] // 60 % 60):02d}:{rows.t_s[index] % 60:04.1f}"
        warnings = "discharging" if rows.warnings[index] == 1 else "none"
        span = f" ({low:.3f} V to {high:.3f} V)" if low < high else ""
        told = (f"Row {index:,}, {clock}: {volts:.3f} V{span}, {amps:.2f} A; "
                f"{STATE_NAMES[rows.state[index]]}; warnings: {warnings}")  # fmt: skip
        return told.replace("-", "\u2212")

    assert rows.warnings[place] == 1 and rows.volts[place] < 13
    assert browser.readout() == row(place)
    for index in range(place + 1, place + 8):
        browser.key("ArrowRight", shift=True)
        assert browser.readout() == row(index)
    browser.key("ArrowLeft", shift=True)
    assert browser.readout() == row(place + 6)
    crank = int(np.searchsorted(rows.t_s, drive["cranks"][0]["start_s"])) + 3
    browser.open(folder / "drive-003.html", f"#drive=3&row={crank}")
    assert browser.readout() == row(crank) and "crank" in row(crank)


def test_far_out_the_pointer_tells_the_range_of_its_column(made: Any, browser: Browser) -> None:
    _, rows, folder = made
    browser.size(700, 900)
    browser.open(folder / "drive-003.html")
    x, y = browser.middle(CHART, 0.35)
    browser.mouse("mouseMoved", x, y)
    told = re.match(r"([\d,]+) rows, (\S+) to (\S+): (\S+) V to (\S+) V", browser.readout())
    assert told

    def seconds(clock: str) -> float:
        hours, minutes, rest = clock.split(":")
        return int(hours) * 3600 + int(minutes) * 60 + float(rest)

    first = int(np.searchsorted(rows.t_s, seconds(told[2]) - 0.01))
    last = int(np.searchsorted(rows.t_s, seconds(told[3]) - 0.01))
    assert last - first + 1 == int(told[1])
    assert float(told[4]) == pytest.approx(rows.low[first : last + 1].min(), abs=5e-4)
    assert float(told[5]) == pytest.approx(rows.high[first : last + 1].max(), abs=5e-4)


def test_a_findings_click_moves_the_view_there(made: Any, browser: Browser) -> None:
    report, _, folder = made
    for name, number in (("drive-001", 1), ("one", 3)):
        episode = report["drives"][number - 1]["episodes"][0]
        browser.open(folder / f"{name}.html")
        chart = f"#drive-{number} figure.chart"
        begin, end = browser.view(chart)
        link = f'.findings a[href^="#drive={number}&"]'
        for _ in range(2):  # the second click, after a reset, goes to the address that is there already
            browser.click(link)
            start, stop = browser.view(chart)
            assert begin < start < episode["start_s"] < episode["start_s"] + episode["length_s"] < stop < end
            told = browser.run(f"document.querySelector('{chart} .readout').textContent")
            place = next(f["row"] for f in report["findings"] if f.get("drive") == number)
            assert told.startswith(f"Row {place:,}, ")
            marked = browser.run(f"document.querySelector('{chart}').dataset.marked").split()
            assert [float(each) for each in marked] == pytest.approx(
                [episode["start_s"], episode["start_s"] + episode["length_s"]]
            )
            browser.run(f"document.querySelector('{chart} .tools button:nth-of-type(5)').click()")
            browser.painted()


def test_from_the_season_into_a_drive(made: Any, browser: Browser) -> None:
    report, _, folder = made
    browser.open(folder / "season.html")
    target = browser.run("document.querySelector('.findings a').href")
    assert target.startswith((folder / "drive-").as_uri())
    name, _, anchor = target.rpartition("/")[2].partition("#")
    browser.open(folder / name, f"#{anchor}")
    number = int(name[6:9])
    episode = report["drives"][number - 1]["episodes"][0]
    begin, end = browser.view()
    assert episode["start_s"] - 60 < begin < episode["start_s"] and end - begin < 2 * episode["length_s"]


def cells(browser: Browser, table: str) -> list[list[str]]:
    """The words in each line of a table."""
    line = "r => [...r.cells].map(c => c.innerText.trim())"
    return list(browser.run(f"[...document.querySelectorAll({table + ' tbody tr'!r})].map({line})"))


def test_numbers_on_the_page_are_those_of_json(made: Any, browser: Browser) -> None:
    report, _, folder = made
    for number, drive in enumerate(report["drives"], 1):
        browser.open(folder / f"drive-{number:03d}.html")
        pairs = "[...document.querySelectorAll('dl.facts > div')].map(d => [...d.children].map(c => c.textContent))"
        facts = dict(browser.run(pairs))
        assert facts["set point"] == f"{drive['set_point_volts']:.2f} V"
        assert facts["charge in"] == f"{drive['in_ah']:.2f} Ah"
        rows = cells(browser, ".card table")
        for index, episode in enumerate(drive["episodes"], 1):
            (row,) = (row for row in rows if row[:2] == [str(index), episode["kind"]])
            assert row[4:6] == [f"{episode['lowest_volts']:.2f} V", f"{episode['mean_volts']:.2f} V"]
        for index, crank in enumerate(drive["cranks"], 1):
            assert any(row[0] == str(index) and f"{crank['lowest_volts']:.2f} V" in row for row in rows)
    browser.open(folder / "season.html")
    shown = cells(browser, "table.drives")
    assert [row[0] for row in shown] == [f"Drive {number}" for number in range(1, 5)]
    for row, drive in zip(shown, report["drives"], strict=True):
        assert f"{drive['rested_volts']:.2f} V" in row and f"{drive['out_ah']:.2f} Ah" in row
        assert row[-2] == str(len(drive["episodes"]))


def pages_of(pdf: bytes) -> int:
    """Sheets in a PDF: its page objects."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def test_prints_on_two_pages_however_much_there_is(made: Any, browser: Browser, tmp_path: Path) -> None:
    report, rows, folder = made
    for name in ("drive-001", "drive-003", "season"):
        browser.open(folder / f"{name}.html")
        assert 1 <= pages_of(browser.pdf()) <= 2, name
    full = {**report, "findings": report["findings"] * 12}
    drive = full["drives"][0]
    shown = [{"t_s": drive["start_s"], "state": "charging", "warnings": ["sensor"]}] * 90
    drive = {**drive, "episodes": drive["episodes"] * 60, "cranks": drive["cranks"] * 40, "shown": shown}
    full["drives"] = [drive]
    full["gaps"] = [{"boot": 1, "start_s": drive["start_s"], "length_s": 20.0, "why": "the power was gone"}] * 30
    (tmp_path / "full.html").write_text(drive_page(full, rows, 1))
    browser.open(tmp_path / "full.html")
    assert pages_of(browser.pdf()) == 2
    browser.call("Emulation.setEmulatedMedia", media="print")
    style = "getComputedStyle(document.querySelector('{}')).display"
    assert browser.run(style.format("figure.chart > svg")) != "none" and browser.run(style.format(".panel")) == "none"
    assert "And 52 more episodes" in browser.run("document.body.innerText")
    browser.call("Emulation.setEmulatedMedia", media="")


def test_both_schemes(made: Any, browser: Browser) -> None:
    _, _, folder = made
    browser.open(folder / "drive-001.html")
    seen = {}
    for dark in (False, True):
        browser.dark(dark)
        paper = browser.run("getComputedStyle(document.body).backgroundColor")
        seen[dark] = sum(int(each) for each in re.findall(r"\d+", paper)), inked(browser)
    assert seen[True][0] < 150 < 600 < seen[False][0]
    assert seen[True][1].max(axis=1).max() > 220 and seen[False][1].sum(axis=1).min() < 120  # light ink, dark ink


def test_without_scripts_the_static_picture_stands_there(made: Any, browser: Browser) -> None:
    _, _, folder = made
    browser.scripts(False)
    try:
        browser.open(folder / "drive-001.html")
        assert browser.run("getComputedStyle(document.querySelector('figure.chart > svg')).display") == "block"
        assert browser.run("document.querySelector('canvas')") is None
    finally:
        browser.scripts(True)


def test_states_are_told_by_lane_and_hatch_too(made: Any, browser: Browser) -> None:
    """Grey vision: the discharging lane, looked at closely, is no even patch, and each lane has a place of its own."""
    report, _, folder = made
    episode = report["drives"][2]["episodes"][0]
    browser.open(folder / "drive-003.html", f"#drive=3&from={episode['start_s'] + 20}&to={episode['start_s'] + 40}")
    top = 8 + 250 + 18 + 116 + 12  # where a wide chart's lanes begin
    grey = browser.pixels(CHART, 300, top, 60, 13)[:, :, :3] @ np.array([0.3, 0.6, 0.1])
    assert np.ptp(grey) > 30
    below = browser.pixels(CHART, 300, top + 15, 60, 13)  # the next lane, of another state, is empty there
    assert below[:, :, 3].max() == 0


def test_a_week_of_rows_opens_and_stays_usable(made: Any, browser: Browser, tmp_path: Path) -> None:
    report, rows, _ = made
    many = 600_000
    index = np.arange(many) % len(rows)
    week = type(rows)(
        **{name: getattr(rows, name)[index] for name in rows.__dataclass_fields__} | {"t_s": np.arange(1.0, many + 1)}
    )
    drive = {**report["drives"][0], "start_s": 0.0, "length_s": float(many), "cranks": [], "episodes": [
        {**report["drives"][0]["episodes"][0], "start_s": 400_000.0, "length_s": 90.0}]}  # fmt: skip
    (tmp_path / "week.html").write_text(drive_page({**report, "drives": [drive]}, week, 1))
    browser.open(tmp_path / "week.html")
    assert browser.view() == pytest.approx((0.0, many + 1.0))
    assert len(inked(browser)) >= 4
    browser.run("document.querySelector('.card td a').click()")
    browser.painted()
    begin, end = browser.view()
    assert begin == pytest.approx(400_000 - 31.5) and end == pytest.approx(400_090 + 31.5)
    place = 400_000
    assert browser.readout().startswith(f"Row {place:,}, ") or browser.readout().startswith(f"Row {place - 1:,}, ")


def test_one_row_and_none(made: Any, browser: Browser, tmp_path: Path) -> None:
    report, rows, _ = made
    drive = {**report["drives"][1], "length_s": 0.0}
    start = int(np.searchsorted(rows.t_s, drive["start_s"]))
    for name, part in (("one", slice(start, start + 1)), ("none", slice(0, 0))):
        (tmp_path / f"{name}.html").write_text(drive_page({**report, "drives": [drive]}, rows.part(part), 1))
        browser.open(tmp_path / f"{name}.html")
        assert browser.run("document.querySelectorAll('figure.live').length") == (1 if name == "one" else 0)
        assert browser.run("document.querySelector('figure.chart > svg') !== null")
    browser.open(tmp_path / "one.html")
    browser.run(f"document.querySelector('{CHART}').focus()")
    for key in ("+", "-", "ArrowLeft", "Home"):
        browser.key(key)
    browser.key("ArrowRight", shift=True)
    assert browser.readout().startswith("Row 0, ")
