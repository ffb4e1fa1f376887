"""The report page: what it says, what it must never do, and the drives that are not ordinary."""

import re
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chargecore.engine import STATE_NAMES
from outline import Outline
from underdash.review import page, plots


@dataclass
class Stand:
    """As much of the review's rows as the page looks at."""

    boot: Any
    t_s: Any
    low: Any
    volts: Any
    high: Any
    amps: Any
    state: Any
    warnings: Any


def rows(seconds: int = 600, boot: int = 3, clamp: bool = True) -> Stand:
    t_s = np.arange(1.0, seconds + 1)
    volts = np.where((t_s > 200) & (t_s <= 300), 12.5, 14.3)
    return Stand(
        np.full(seconds, boot),
        t_s,
        volts - 0.1,
        volts,
        volts + 0.1,
        np.where(volts < 13, -20.0, 2.0) if clamp else np.full(seconds, np.nan),
        np.where(volts < 13, STATE_NAMES.index("discharging"), STATE_NAMES.index("charging")),
        np.where(volts < 13, 1, 0),
    )


def crank(**changes: Any) -> dict[str, Any]:
    found: dict[str, Any] = {
        "start_s": 7.0, "length_s": 1.4, "lowest_volts": 9.87, "before_volts": 12.6, "held_volts": None,
        "recovery_s": None, "resistance_ohm": None, "clipped": False, "most_amps": None,
    }  # fmt: skip
    return found | changes


def drive(**changes: Any) -> dict[str, Any]:
    episode = {
        "kind": "discharging",
        "start_s": 200.0,
        "length_s": 100.0,
        "lowest_volts": 12.41,
        "highest_volts": 13.0,
        "mean_volts": 12.53,
        "shown_s": 205.5,
        "mean_amps": -19.7,
        "charge_ah": -0.547,
        "charge_low_ah": None,
        "charge_high_ah": None,
        "charge_basis": None,
        "closes": [],
    }
    return {
        "number": 1,
        "boot": 3,
        "dated": None,
        "dated_between": None,
        "set_point_low_volts": None,
        "set_point_high_volts": None,
        "set_point_slope_v_per_k": None,
        "charging_after_s": None,
        "charging_within_s": None,
        "out_wh": None,
        "in_wh": None,
        "cycles": [],
        "life_share": None,
        "idle": None,
        "shown": [],
        "start_s": 0.0,
        "length_s": 600.0,
        "rested_volts": 12.61,
        "set_point_volts": 14.32,
        "out_ah": 0.56,
        "in_ah": 0.28,
        "low_s": 97.0,
        "states": {"charging": 495.0, "discharging": 105.0},
        "cranks": [crank()],
        "episodes": [episode],
    } | changes


def report(**changes: Any) -> dict[str, Any]:
    return {
        "source": "pulled",
        "board": "a1b2",
        "boots": [{"boot": 3, "rows": 12345, "log": None}],
        "rows": 12345,
        "period_s": 1.0,
        "refused_frames": 0,
        "gaps": [],
        "parked_episodes": [],
        "season": None,
        "answers": [],
        "lost_rows": 17,
        "mismatches": 0,
        "unchecked_rows": 29,
        "damaged_bytes": 4321,
        "clamp": True,
        "thresholds": {
            "discharging_mv": 13000,
            "marginal_mv": 13200,
            "overcharge_mv": 15000,
            "still_mv": 12,
            "clear_ms": 5000,
        },
        "drives": [drive()],
        "findings": [],
    } | changes


def words(text: str) -> str:
    return re.sub(r"\s+", " ", Outline(text).words)


def test_numbers_on_the_page_are_the_reports() -> None:
    told = words(page.render(report(), rows()))
    assert "1 drive, 10 min 0 s in all. 1 episode (1 discharging), together 100 s." in told
    for said in (
        "12.61 V",
        "14.32 V",
        "97 s",
        "0.56 Ah",
        "0.28 Ah",  # the drive
        "discharging 0:03:20 100 s 12.41 V 12.53 V 5.5 s \u221219.7 A \u22120.55",
        "1 0:00:07 1.4 s 12.60 V 9.87 V not known not seen",
        "charging 8 min 15 s 82.5 %",
        "discharging 105 s 17.5 %",
        "Rows read 12,345",
        "missing from the numbering 17",
        "verdict 0",
        "not check 29",
        "left out 4,321",
    ):
        assert said in told
    for name, value in (("discharging", "13.00 V"), ("still", "12 mV"), ("clear for", "5.0 s")):
        assert re.search(rf"{name} ?{value}", told)


def test_findings_come_gravest_first_with_a_word_and_a_shape() -> None:
    findings = [
        {
            "weight": weight,
            "text": f"text {weight}",
            "evidence": f"seen {weight}",
            "drive": None,
            "row": None,
            "t_s": None,
        }
        for weight in ("well", "note", "act", "watch")
    ]
    text = page.render(report(findings=findings), rows())
    listed = text[text.index('<ul class="findings">') : text.index("</ul>")]
    assert re.findall(r"text (\w+)", listed) == ["act", "watch", "note", "well"]
    shapes = re.findall(r'<svg viewBox="0 0 24 24" aria-hidden="true">(.*?)</svg>\s*(\w+)', listed)
    assert [word for _, word in shapes] == ["Act", "Watch", "Note", "Well"]
    assert len({shape for shape, _ in shapes}) == 4


def test_nothing_read_from_a_file_becomes_markup() -> None:
    evil = "<script>alert(1)</script>\"'&"
    one = {"weight": "act", "text": evil, "evidence": evil, "drive": None, "row": None, "t_s": None}
    told = report(source=evil, board=evil, findings=[one])
    outline = Outline(page.render(told, rows()))
    assert outline.tags["script"] == 2  # the rows of its one drive, and the chart's own
    assert outline.words.count(evil) >= 4


def test_page_asks_for_nothing_from_elsewhere() -> None:
    text = page.render(report(), rows())
    assert "http:" not in text and "https:" not in text and "@import" not in text
    outline = Outline(text)
    assert outline.outer == [] and not set(outline.tags) & {"link", "img", "iframe"}
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]*)"', unescape(text))
    assert policy.startswith("default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-")
    assert "unsafe" not in policy.partition("script-src")[2]


def test_too_many_rows_stay_static(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page, "LIVE_ROWS", 599)
    text = page.render(report(), rows())
    assert Outline(text).tags["script"] == 0 and "script-src" not in text and 'class="chart"' not in text
    assert Outline(text).tags["svg"] > 0


def test_many_drives_keep_their_ids_apart() -> None:
    drives = [drive(boot=boot) for boot in range(1, 16)]
    parts = [rows(boot=boot) for boot in range(1, 16)]
    joined = Stand(*(np.concatenate([getattr(part, name) for part in parts]) for name in vars(parts[0])))
    outline = Outline(page.render(report(drives=drives), joined))
    assert outline.ids.most_common(1)[0][1] == 1
    places = {link for link in outline.inner if link.startswith("drive=")}  # for the script: a part of a live picture
    assert set(outline.inner) - places <= set(outline.ids) and len(places) == 2 * 15
    assert outline.tags["figure"] == 15 + 1 and "Drive 15" in outline.words


def test_two_drives_of_one_board_start() -> None:
    pair = [drive(length_s=190.0, episodes=[]), drive(start_s=300.0, length_s=300.0, episodes=[], cranks=[])]
    outline = Outline(page.render(report(drives=pair), rows()))
    assert outline.ids.most_common(1)[0][1] == 1
    assert "No episode of any kind." in outline.words and "None seen in this drive." in outline.words


def test_no_drive_and_no_finding() -> None:
    told = words(page.render(report(drives=[], rows=1), rows(1)))
    assert "1 row and no drive among them." in told
    assert "No findings." in told and "nothing to plot" in told


def test_without_a_clamp_nothing_is_said_of_amps() -> None:
    quiet = drive(out_ah=None, in_ah=None)
    quiet["episodes"][0] |= {"mean_amps": None, "charge_ah": None}
    told = words(page.render(report(clamp=False, drives=[quiet]), rows(clamp=False)))
    assert "No current clamp" in told
    assert "battery [A]" not in told and "charge out" not in told and "mean current" not in told
    assert "battery [A]" in words(page.render(report(), rows()))


def test_what_was_not_measured_is_said_so() -> None:
    blind = drive(
        rested_volts=None,
        set_point_volts=None,
        states={},
        cranks=[crank(lowest_volts=None)],
    )
    told = words(page.render(report(drives=[blind]), rows()))
    assert told.count("not measured") == 3 and "no row carried a verdict" in told


def test_episodes_with_the_engine_off_have_a_table() -> None:
    parked = drive()["episodes"][0] | {"lowest_volts": 11.93, "boot": 3}
    assert "11.93 V" in words(page.render(report(parked_episodes=[parked]), rows()))


def test_a_disagreement_between_board_and_desk_is_not_whispered() -> None:
    assert "trust neither verdict" in words(page.render(report(mismatches=2), rows()))
    assert "trust neither verdict" not in words(page.render(report(), rows()))


@pytest.mark.parametrize("seconds", [0, 1, 2])
def test_hardly_any_rows(seconds: int) -> None:
    short = drive(length_s=0.0, states={"charging": 0.0}, episodes=[], cranks=[])
    assert "<svg" in page.render(report(drives=[short]), rows(seconds))


def test_volts_missing_throughout() -> None:
    blind = rows()
    blind.low = blind.volts = blind.high = np.full(600, np.nan)
    assert "<svg" in plots.Picture(drive(), blind, report()["thresholds"]).svg()


def test_envelope_keeps_extremes_and_breaks_at_holes() -> None:
    noise = np.random.default_rng(1).normal(14.2, 0.1, 20_000)
    t_s = np.arange(20_000.0)
    noise[7_777], noise[15_000:15_400] = 9.0, np.nan
    keep = (t_s < 3_000) | (t_s > 3_400)
    t_s, noise = t_s[keep], noise[keep]
    thin = plots.envelope(t_s, noise - 0.5, noise, noise + 0.5)
    assert len(thin.t_s) <= 2_000 and (np.diff(thin.t_s) >= 0).all()
    assert np.nanmin(thin.mean) == 9.0 and np.nanmax(thin.mean) == np.nanmax(noise)
    assert np.nanmin(thin.low) == 8.5 and np.nanmax(thin.high) == np.nanmax(noise) + 0.5
    for first, last in ((2_999, 3_401), (14_999, 15_400)):
        around = (thin.t_s >= first - 40) & (thin.t_s <= last + 40)
        assert np.isnan(thin.mean[around]).any()


def test_a_short_hole_in_few_rows_breaks_the_line() -> None:
    thin = plots.envelope(np.array([1.0, 2, 3, 20, 21]), *(np.full(5, 14.0) for _ in range(3)))
    assert np.isnan(thin.mean).tolist() == [False, False, False, True, False, False]


def test_lanes_put_the_worst_first_and_leave_holes_open() -> None:
    t_s = np.array([*range(1, 101), *range(200, 301)], dtype=float)
    state = np.full(len(t_s), STATE_NAMES.index("charging"))
    state[40:60] = STATE_NAMES.index("discharging")
    found = plots.lanes(t_s, state)
    assert list(found) == ["discharging", "charging"]
    assert found["discharging"] == [(40.0, 20.0)]
    assert [round(start) for start, _ in found["charging"]] == [0, 60, 190]


def test_a_long_noisy_drive_stays_small() -> None:
    long = rows(20_000)
    long.volts = long.volts + np.random.default_rng(2).normal(0, 0.1, 20_000)
    long.state = np.random.default_rng(3).integers(0, 7, 20_000)
    text = plots.Picture(drive(length_s=20_000.0), long, report()["thresholds"]).svg()
    assert len(text) < 400_000


def test_drawing_twice_gives_the_same_bytes() -> None:
    assert page.render(report(), rows()) == page.render(report(), rows())


def test_static_twin(tmp_path: Path) -> None:
    (tmp_path / "drive.png").write_bytes(plots.Picture(drive(), rows(), report()["thresholds"]).png())
    assert (tmp_path / "drive.png").read_bytes()[:4] == b"\x89PNG"
