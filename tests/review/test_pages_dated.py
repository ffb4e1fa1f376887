"""Moments on the pages: the local clock wherever a drive is dated, the same in words, tables, links and picture."""

import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import page_stand
import pytest
from chromium import Browser
from test_page_files import words

from underdash.review import page
from underdash.review.clock import clock
from underdash.review.pages import drive_page, season_page, write_pages
from underdash.review.plots import Picture

BOARD = "a1b2c3"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Any, Path]:
    """(report, rows, folder of pages): an evening's drive, one over midnight, and one that is only bounded."""
    folder = tmp_path_factory.mktemp("pages")
    report, rows = page_stand.stand(folder, [900, 500, 300])
    first, second, third = report["drives"]
    first["dated"], second["dated"] = "2026-10-21T19:06:12", "2026-10-22T23:57:03+02:00"
    third["dated_between"] = ["2026-10-23T07:00:00", "2026-10-25T19:00:00"]
    report |= {
        "board": BOARD,
        "season": page_stand.season(report),
        "gaps": [{"boot": 1, "start_s": first["start_s"] + 30.0, "length_s": 15.0, "why": "no rows were written"}],
    }
    write_pages(report, rows, folder)
    (folder / "one.html").write_text(page.render(report, rows))
    return report, rows, folder


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with Browser(tmp_path_factory.mktemp("profile")) as one:
        yield one
        assert one.errors == [] and one.requests == []


def counts(text: str) -> list[str]:
    """What reads like h:mm:ss with an hour of one or more than two digits."""
    return re.findall(r"(?<![\d:])(?:\d|\d{3,}):\d\d:\d\d", text)


def test_a_dated_drives_page_tells_the_clock_and_once_the_count(made: Any) -> None:
    report, rows, _ = made
    drive = report["drives"][0]
    report["findings"] = [one for one in report["findings"] if one["text"].startswith("The battery fed the car in")]
    said = words(drive_page(report, rows, 1))
    assert "2026-10-21, 19:06:12 to 19:21:13, 15 min 1 s long" in said
    assert f"19:06:12 is {counts(said)[0]} of the board's start 1." in said and len(counts(said)) == 1
    episode, crank = drive["episodes"][0], drive["cranks"][0]
    for moment in (episode["start_s"], crank["start_s"], drive["shown"][-1]["t_s"], drive["start_s"] + 30.0):
        assert clock(drive, moment).startswith("19:") and clock(drive, moment) in said
    assert f"({clock(drive, episode['start_s'])})" in said  # the finding's link


def test_over_midnight_a_moment_carries_its_date(made: Any) -> None:
    report, rows, _ = made
    drive = report["drives"][1]
    said, svg = words(drive_page(report, rows, 2)), Picture(drive, rows, report["thresholds"]).svg()
    assert "2026-10-22, 23:57:03 to 2026-10-23 00:05:24" in said
    assert clock(drive, drive["episodes"][0]["start_s"]).startswith("2026-10-23 00:0")
    (foot,) = re.findall(r' y="([\d.]+)"[^>]*>local time', svg)
    (tall,) = re.findall(r'viewBox="0 0 \S+ ([\d.]+)', svg)
    assert float(foot) < float(tall) - 3  # below a second line, it is still on the picture
    assert ">00:00:00<" in svg and ">2026-10-23<" in svg and ">23:59:00<" in svg and "local time, 2026-10-22" in svg


def test_an_undated_drive_keeps_the_count_and_says_from_where(made: Any) -> None:
    report, rows, _ = made
    said = words(drive_page(report, rows, 3))
    assert "Undated, between 2026-10-23 07:00 and 2026-10-25 19:00, " in said
    assert "those of an undated drive h:mm:ss, since the board's start." in said
    assert f"{clock(report['drives'][2], report['drives'][2]['cranks'][0]['start_s'])} " in said
    alone = {**report, "drives": report["drives"][2:], "findings": []}
    assert "Times are h:mm:ss, since the board's start." in words(season_page(alone))
    assert "since the board&#39;s start" not in Picture(report["drives"][0], rows, report["thresholds"]).svg()
    assert "h:mm:ss, since the board's start" in Picture(report["drives"][2], rows, report["thresholds"]).svg()


def test_the_bounds_of_an_undated_drive_are_on_every_page(made: Any) -> None:
    report, _, folder = made
    for name in ("season", "drive-003", "one"):
        text = (folder / f"{name}.html").read_text()
        assert "ndated, between 2026-10-23 07:00 and 2026-10-25 19:00" in words(text), name
    assert "Drive 3, undated, between" in season_page(report)  # the bar's


def test_a_hole_between_drives_is_told_by_the_clock(made: Any) -> None:
    report, _, _ = made
    assert "2026-10-21 19:06:42 15.0 s no rows were written" in words(season_page(report))
    undated = {**report, "drives": report["drives"][2:], "findings": []}
    at = clock({}, report["gaps"][0]["start_s"])
    assert f"{at} 15.0 s no rows were written" in words(season_page(undated))


def test_the_night_before_or_after_is_no_hole_in_a_drive(made: Any) -> None:
    report, rows, _ = made
    drive = report["drives"][0]
    end_s = drive["start_s"] + drive["length_s"]
    nights = [
        {**report["gaps"][0], "start_s": start_s, "length_s": 9e4} for start_s in (end_s - 0.4, drive["start_s"] - 9e4)
    ]
    assert "Holes in the rows" not in words(drive_page({**report, "gaps": nights}, rows, 1))
    assert "Holes in the rows" in words(drive_page(report, rows, 1))


def test_the_picture_tells_the_time_that_the_words_tell(made: Any, browser: Browser) -> None:
    report, rows, folder = made
    for number in (1, 2, 3):
        drive = report["drives"][number - 1]
        where = int(np.searchsorted(rows.t_s, drive["start_s"] + 140.0))
        browser.open(folder / f"drive-{number:03d}.html", f"#drive={number}&row={where}")
        for by in (0, 1, 60):
            for _ in range(by):
                browser.run("document.querySelector('canvas.rows').focus()")
                browser.key("ArrowRight", shift=True)
            where += by
            assert browser.readout().startswith(f"Row {where:,}, {clock(drive, float(rows.t_s[where]), 1)}: ")
        begin, end = browser.view()
        shows = browser.run("document.querySelector('.shows').textContent")
        assert shows == f"{clock(drive, begin)} to {clock(drive, end)}"
    assert datetime.fromisoformat(report["drives"][1]["dated"]).tzinfo is not None  # one with a zone was among them


def test_a_log_has_no_board(tmp_path: Path) -> None:
    report, rows = page_stand.stand(tmp_path, [500, 300, 300])
    report["season"] = page_stand.season(report)
    for text in (season_page(report), drive_page(report, rows, 1), page.render(report, rows)):
        said = words(text)
        assert "board showed" not in said and "board start" not in said and "board and desk" not in said
        assert "as the log counts them" in said and "board's start" not in text
    assert "What a board would have shown" in said and "would be shown after" in said
    report["drives"][0]["dated"] = "2026-10-21T19:06:12"
    assert "19:06:12 is 0:01:40 since the log's first row" in words(drive_page(report, rows, 1))
    report["board"] = BOARD
    for text in (season_page(report), drive_page(report, rows, 1)):
        assert "board start no." in words(text)
    assert "What the board showed" in words(drive_page(report, rows, 1))
