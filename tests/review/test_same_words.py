"""The terminal and the pages say a thing alike, and each says all of it."""

import json
import re
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from dips import log, with_clamp
from test_page_files import words

from underdash.review import page, review
from underdash.review.answers import answers
from underdash.review.clock import log_of
from underdash.review.drive_words import much_at_idle
from underdash.review.findings import findings
from underdash.review.pages import drive_page, season_page
from underdash.review.pages.words import times
from underdash.review.text import summary

REST, CRANK, RUN, PARKED = (120, 12.6, 0.0), (1, 9.0, -200.0), (300, 14.1, 5.0), (120, 12.7, 0.0)


def on_a_clock(path: Path, begun: datetime, zone: str, *stretches: tuple[int, float]) -> Path:
    """The log of `log`, each row with its date and `zone`."""
    head, *lines = log(path, *stretches).read_text().splitlines()
    told = []
    for line in lines:
        t_s, volts = line.split(",")
        told.append(f"{(begun + timedelta(seconds=float(t_s))).isoformat()}{zone},{volts}")
    path.write_text("\n".join([head, *told]) + "\n")
    return path


def both(path: Path) -> tuple[dict[str, Any], str, str]:
    """The report, what the terminal says, what the page of its first drive says."""
    report, rows = review(path)
    return report, summary(report), words(drive_page(report, rows, 1))


def test_a_crank_and_the_time_to_charging_of_slow_rows(tmp_path: Path) -> None:
    lines = log(tmp_path / "log.csv", (75, 12.6), (3, 8.8), (300, 14.2)).read_text().splitlines()
    slow = [f"{2 * number},{line.split(',')[1]}" for number, line in enumerate(lines[1:])]
    (tmp_path / "log.csv").write_text("\n".join(["t_s,volts", *slow]))
    report, told, shown = both(tmp_path / "log.csv")
    within_s, most_s = report["drives"][0]["charging_within_s"], report["drives"][0]["cranks"][0]["length_s"]
    for said in (f"within {within_s:.0f} s of the crank's end", f"at most {most_s:.0f} s"):
        assert said in told and said in shown
    assert re.search(r"at most \d s long", json.dumps(report["findings"]))


def test_where_the_clamp_ends_and_what_the_battery_held(tmp_path: Path) -> None:
    path = with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, PARKED)
    head, *lines = path.read_text().splitlines()
    falls = iter((10.4, 10.2, 9.9, 9.7, 9.6, 9.7, 9.8, 9.9, 10.0, 10.1))
    told = [
        f"{t_s},{next(falls)},-100.00" if float(amps) < -100.0 else f"{t_s},{volts},{amps}"
        for t_s, volts, amps in (line.split(",") for line in lines)
    ]
    path.write_text("\n".join([head, *told]) + "\n")
    report, text, shown = both(path)
    (crank,) = report["drives"][0]["cranks"]
    assert crank["clipped"]
    for said in ("more than 100 A, where the clamp ends: it tells no resistance", f"{crank['held_volts']:.2f} V"):
        assert said in text and said in shown


def test_an_overcharge_is_told_by_its_highest_volts(tmp_path: Path) -> None:
    report, text, shown = both(log(tmp_path / "log.csv", (120, 12.6), (2, 10.0), (200, 14.2), (120, 15.6), (200, 14.2)))
    (episode,) = report["drives"][0]["episodes"]
    assert episode["kind"] == "overcharge"
    assert re.search(r"overcharge at [\d:]+: 2 min 0 s, highest 15\.62 V", text) and "highest 15.62 V" in shown
    assert "lowest or highest" in shown
    (finding,) = [one for one in report["findings"] if one["text"].startswith("Overcharge")]
    assert "highest 15.62 V, mean" in finding["evidence"]


@pytest.mark.parametrize(("share", "told"), [(0.0, "None of it"), (0.04, "Hardly any of it"), (0.4, "40% of it"),
                                             (0.96, "Nearly all of it"), (1.0, "All of it")])  # fmt: skip
def test_how_much_was_at_idle_is_said_alike(tmp_path: Path, share: float, told: str) -> None:
    assert much_at_idle(share) == told
    path = with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, (300, 12.2, -20.0), RUN, PARKED)
    head, *lines = path.read_text().splitlines()
    t_s = (float(line.split(",")[0]) for line in lines)
    speeds = (0.0 if t < 121.0 else 750.0 if 421.0 <= t < 421.0 + 300.0 * share else 2400.0 for t in t_s)
    path.write_text("\n".join([f"{head},rpm", *(f"{line},{one}" for line, one in zip(lines, speeds, strict=True))]))
    report, _ = review(path)
    (finding,) = [one for one in report["findings"] if "fed the car" in one["text"]]
    assert f"{told} was at idle" in finding["text"] and f"{told} at idle (500" in report["answers"][2]["answer"]


def test_refused_frames_are_told(tmp_path: Path) -> None:
    report, _ = review(log(tmp_path / "log.csv", (120, 12.6), (2, 10.0), (200, 14.2)))
    assert not any("refused" in one["text"] for one in findings(report))
    report |= {"refused_frames": 2, "board": "7d5e"}
    assert any("2 frames refused; what is reported leaves them out." in one["text"] for one in findings(report))
    assert "2 frames refused, 0 holes." in summary(report)


def test_what_is_of_no_drive_has_its_own_day(tmp_path: Path) -> None:
    """A hole past midnight, of a drive that began the day before."""
    path = on_a_clock(
        tmp_path / "log.csv", datetime(2026, 5, 3, 23, 50), "", (120, 12.6), (2, 10.0), (900, 14.2), (100, 12.7)
    )
    head, *lines = path.read_text().splitlines()
    path.write_text("\n".join([head, *(line for line in lines if not "00:03:00" < line[11:19] < "00:04:00")]) + "\n")
    (finding,) = [one for one in review(path)[0]["findings"] if "hole" in one["text"]]
    assert finding["evidence"].startswith("on 2026-05-04, the longest from 00:03:00, 60 s")


def test_utc_is_no_hour_of_the_day(tmp_path: Path) -> None:
    """Where it is evening when UTC is morning: a log in UTC tells nothing of the dark, one with a zone does."""
    fed = ((120, 12.6), (2, 10.0), (150, 14.2), (120, 12.3), (150, 14.2))
    well = ((120, 12.6), (2, 10.0), (420, 14.2))
    said = []
    for zone in ("Z", "+10:00"):
        logs = [
            on_a_clock(tmp_path / f"{zone[1:3]}{day}{part}.csv", datetime(2026, 5, day, hour), zone, *stretches)
            for day in range(1, 5)
            for part, hour, stretches in (("fed", 22, fed), ("well", 9, well))
        ]
        report, rows = review(logs)
        said.append((report["answers"][2]["answer"], times(report), page.render(report, rows)))
    (utc, sentence, picture), (zoned, other, drawn) = said
    assert "began between" not in utc and "began between" in zoned
    assert sentence == "Times are UTC, as the log has them." and other == "Times are local."
    assert "UTC, 2026-05-01" in picture and "local time, 2026-05-01" in drawn and "UTC, 2026" not in drawn
    report["board"] = "7d5e"
    assert times(report) == "Times are local."


def test_of_several_logs_a_drive_tells_its_own(tmp_path: Path) -> None:
    of = ((120, 12.6), (2, 10.0), (200, 14.2), (150, 12.7))
    paths = [
        on_a_clock(tmp_path / f"{name}.csv", datetime(2026, 5, day, 8), "", *of) for day, name in enumerate("abc", 1)
    ]
    report, rows = review(paths)
    drive = report["drives"][1]
    assert log_of(report, drive) == "b.csv" and f"Drive 2 of b.csv, 2026-05-02: {drive['dated'][11:]} to " in summary(
        report
    )
    assert "From b.csv, one of several logs (a.csv and 2 more)" in words(drive_page(report, rows, 2))
    assert "Drive 2 2026-05-02 08:02 b.csv" in words(season_page(report))
    assert "From b.csv." in words(page.render(report, rows))
    alone, rows = review(paths[1])
    assert "of b.csv" not in summary(alone) and "one of several logs" not in words(drive_page(alone, rows, 1))


def test_what_the_answers_leave_out_is_said(tmp_path: Path) -> None:
    """Seven seconds are an episode of the engine's, and no deficit worth a line."""
    report, _ = review(with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, (7, 12.7, -2.0), RUN, PARKED))
    assert "1 episode (1 discharging)" in words(season_page(report))
    assert (
        answers(report)[0]["answer"].startswith("No.")
        and "Left out: 1 stretch of discharging, 7 s" in answers(report)[0]["answer"]
    )
    long, _ = review(with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, (90, 12.2, -20.0), RUN, PARKED))
    assert "Left out" not in answers(long)[0]["answer"]
