"""The pages of a folder: what they carry is what was measured, and any input gives a sensible page."""

import base64
import copy
import json
import re
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import page_stand
import pytest

from underdash import carfile
from underdash.car import evening, simulate
from underdash.problems import UnderdashError
from underdash.review import review
from underdash.review.pages import drive_page, season_page, write_pages
from underdash.review.pages.figure import rows_of, script
from underdash.review.pages.pack import pack
from underdash.review.pages.season import told
from underdash.review.pages.season_plots import trend
from underdash.review.plots import places

Made = tuple[dict[str, Any], Any]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    return page_stand.stand(tmp_path_factory.mktemp("log"), [900, 300, 450])


def unpack(packed: dict[str, Any]) -> np.ndarray:
    """A packed column, as pack.py describes it; what the script does, done again."""
    bits = int(packed["type"].removeprefix("Int"))
    whole = np.frombuffer(base64.b64decode(packed["data"]), f"<i{bits // 8}")
    return np.where(whole == -(2 ** (bits - 1)), np.nan, whole * float(packed["step"]))


def words(page: str) -> str:
    """What a page says, without its scripts, styles and pictures."""
    bare = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", page, flags=re.S)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]*>", " ", bare)))


@pytest.mark.parametrize(
    ("values", "kind", "step"),
    [
        ([], "Int8", 1),
        ([0, 0], "Int8", 1),
        ([1000, 1000, 100], "Int8", 100),
        ([127, -127, 1], "Int8", 1),
        ([128], "Int8", 128),
        ([129, 1], "Int16", 1),
        ([np.nan, 14_213, 14_212], "Int16", 1),
        ([-50_000, 1_638_350, 50], "Int16", 50),
        ([100_000, 99_999], "Int32", 1),
        ([np.nan], "Int8", 1),
    ],
)
def test_packing_loses_nothing(values: list[float], kind: str, step: int) -> None:
    packed = pack(np.array(values, dtype=float))
    assert (packed["type"], packed["step"]) == (kind, step)
    np.testing.assert_array_equal(unpack(packed), np.array(values, dtype=float))


def test_what_is_too_large_to_pack_is_refused() -> None:
    with pytest.raises(ValueError, match="32 bits"):
        pack(np.array([2.0**31, 1.0]))


@pytest.mark.parametrize("clamp", [True, False])
def test_the_page_carries_every_row_as_measured(tmp_path: Path, clamp: bool) -> None:
    report, rows = page_stand.stand(tmp_path, [300, 500], clamp)
    for number, drive in enumerate(report["drives"], 1):
        told = rows_of(number, drive, rows, report["thresholds"])
        mine = places(drive, rows, 90.0)
        assert told["first_row"] == mine[0] and told["place"] is None
        np.testing.assert_allclose(
            told["first_ms"] / 1000 + np.cumsum(unpack(told["step_ms"])) / 1000, rows.t_s[mine], atol=6e-4
        )
        mean = unpack(told["mean_mv"])
        np.testing.assert_allclose(mean / 1000, rows.volts[mine], atol=1e-9)
        np.testing.assert_allclose((mean - unpack(told["below_mv"])) / 1000, rows.low[mine], atol=1e-9)
        np.testing.assert_allclose((mean + unpack(told["above_mv"])) / 1000, rows.high[mine], atol=1e-9)
        np.testing.assert_array_equal(unpack(told["state"]), rows.state[mine])
        np.testing.assert_array_equal(unpack(told["warnings"]), rows.warnings[mine])
        if clamp:
            np.testing.assert_allclose(unpack(told["amps_ma"]) / 1000, rows.amps[mine], atol=1e-9)
        else:
            assert told["amps_ma"] is None


def test_numbers_on_a_drives_page_are_the_reports(made: Made) -> None:
    report, rows = made
    for number, drive in enumerate(report["drives"], 1):
        said = words(drive_page(report, rows, number))
        assert f"Drive {number} of 3" in said and "Undated" in said
        assert f"at rest before {drive['rested_volts']:.2f} V set point {drive['set_point_volts']:.2f} V" in said
        assert f"charge out {drive['out_ah']:.2f} Ah charge in {drive['in_ah']:.2f} Ah" in said
        for episode in drive["episodes"]:
            ah = f"{episode['charge_ah']:.2f} ({episode['charge_low_ah']:.2f} to {episode['charge_high_ah']:.2f})"
            volts = f"{episode['lowest_volts']:.2f} V {episode['mean_volts']:.2f} V"
            told = f"{volts} 5.0 s {episode['mean_amps']:.1f} A {ah}"
            assert told.replace("-", "\u2212") in said and "charge [Ah] and its bounds, out of the battery is" in said
        for crank in drive["cranks"]:
            volts = (f"{crank[name]:.2f} V" for name in ("before_volts", "lowest_volts", "held_volts"))
            assert f"{crank['length_s']:.1f} s {' '.join(volts)}" in said
        assert ("None in this drive." in said) == (not drive["episodes"])


def test_what_only_a_fuller_report_has_is_shown_where_it_is(made: Made) -> None:
    report, rows = copy.deepcopy(made[0]), made[1]
    drive = report["drives"][0]
    bare = words(drive_page(report, rows, 1))
    drive |= {
        "dated": "2026-03-01T07:12:44", "charging_after_s": 2.5, "charging_within_s": 0.3, "set_point_low_volts": 14.11,
        "set_point_high_volts": 14.32, "set_point_slope_v_per_k": -0.0123, "out_wh": 4.44, "in_wh": 51.06,
        "cycles": [{"depth_ah": 0.37, "count": 1.0}, {"depth_ah": 0.02, "count": 2.5}], "life_share": 0.000123,
        "idle": {"idle_volts": 13.91, "idle_s": 310.0, "fast_volts": None, "fast_s": 0.0, "idle_short_s": 0.0},
        "shown": [{"t_s": drive["start_s"], "state": "crank", "warnings": []},
                  {"t_s": drive["start_s"] + 60.0, "state": "charging", "warnings": ["weak crank", "sensor"]}],
    }  # fmt: skip
    drive["episodes"][0] |= {"charge_low_ah": -0.41, "charge_high_ah": -0.33, "closes": ["Raise the idle to 900 rpm."]}
    drive["cranks"][0] |= {"before_volts": 12.61, "held_volts": 10.6, "recovery_s": 1.2, "resistance_ohm": 0.0123}
    report["gaps"] = [{"boot": 1, "start_s": drive["start_s"] + 30.0, "length_s": 15.0, "why": "the power was gone"}]
    full = words(drive_page(report, rows, 1))
    for said in (
        "2026-03-01, 07:12:44 to 07:27:45, 15 min 1 s long",
        "14.11 to 14.32 V", "\u221212.3 mV/K", "charging 2.5 s after the crank's end, give or take 0.3 s",
        "energy out 4.4 Wh energy in 51.1 Wh",
        "3.5, deepest 0.37 Ah", "an estimate 0.0123 %", "13.91 V for 5 min 10 s", "weak crank, sensor",
        "12.61 V 9.87 V 10.60 V 1.2 s 12.3 m\u03a9",
        "Raise the idle to 900 rpm.", "15.0 s the power was gone",
    ):  # fmt: skip
        assert said in full and said not in bare


def test_charge_without_a_clamp_is_said_to_lie_between_bounds(tmp_path: Path) -> None:
    report, rows = page_stand.stand(tmp_path, [500], clamp=False)
    episode = report["drives"][0]["episodes"][0]
    episode |= {"charge_ah": None, "charge_low_ah": None, "charge_high_ah": None}
    assert "charge [Ah]" not in words(drive_page(report, rows, 1))
    episode |= {"charge_low_ah": -1.2, "charge_high_ah": -0.3, "charge_basis": "a flooded battery"}
    said = words(drive_page(report, rows, 1))
    assert "\u22121.20 to \u22120.30" in said and "charge [Ah], its bounds" in said
    assert "reckoned from volts and a flooded battery" in said


def test_season_says_what_the_report_says(made: Made) -> None:
    report = copy.deepcopy(made[0])
    real = words(season_page(report))
    for part, verdict in report["season"]["verdicts"].items():
        assert f"{part.capitalize()} {verdict['verdict'].capitalize()} {verdict['reason']}" in real
    report["season"] = None
    assert "once there are three drives" in words(season_page(report))
    report["season"] = page_stand.season(report)
    page = season_page(report)
    said = words(page)
    for part, verdict in report["season"]["verdicts"].items():
        assert f"{part.capitalize()} {verdict['verdict'].capitalize()} {verdict['reason']}" in said
    assert "\u22120.03 V a month, 95 % between \u22120.042 and \u22120.018" in said
    assert "A change at drive 2 on 2025-10-07: 14.200 V before, 13.900 V after; confidence 99 %." in said
    assert "no trend: too few values" in said
    for number, drive in enumerate(report["drives"], 1):
        assert f"Drive {number} undated" in said and f"{drive['set_point_volts']:.2f} V" in said
    links = set(re.findall(r'href="(drive-\d+\.html)', page))
    assert links == {f"drive-{number:03d}.html" for number in (1, 2, 3)}
    quantity_links = re.findall(r'<a xlink:href="(drive-\d+\.html)"', page)
    assert len(quantity_links) == 3 * 3  # a point of each quantity for each drive


def test_undated_drives_are_counted_and_said_to_be_undated(made: Made) -> None:
    report = copy.deepcopy(made[0])
    report["season"] = page_stand.season(report, dates=False)
    page = season_page(report)
    assert words(page).count("undated, by drive number") == 3
    assert page.count("drive number (undated)") == 3


def test_the_trend_drawn_is_the_slope_told() -> None:
    points = [{"drive": n, "date": None, "value": 14.0 - 0.01 * n} for n in range(1, 12)]
    quantity = {"name": "x", "unit": "V", "points": points, "slope": -0.01, "slope_low": -0.012, "slope_high": -0.008,
                "per": "drive", "change": None}  # fmt: skip
    drawn = trend(quantity)
    assert drawn is not None
    ends, line, least, most = drawn
    np.testing.assert_allclose(line, 14.0 - 0.01 * ends)
    np.testing.assert_allclose(most - least, 0.004 * np.abs(ends - 6.0))
    dated = [{**point, "date": f"2026-{point['drive']:02d}-01"} for point in points]
    monthly = trend({**quantity, "points": dated, "per": "month"})
    assert monthly is not None and monthly[1][-1] - monthly[1][0] == pytest.approx(-0.01 * 304 / 30.4375)
    assert trend({**quantity, "slope": None}) is None and trend({**quantity, "points": points[:1]}) is None
    assert "no trend shown" in str(told({**quantity, "slope_high": 0.002})["trend"])


def test_season_with_nulls_and_holes(made: Made) -> None:
    report = copy.deepcopy(made[0])
    report["season"] = page_stand.season(report) | {
        "quantities": [{"name": "drift", "unit": "mV/h", "points": [], "slope": None, "slope_low": None,
                        "slope_high": None, "per": "drive", "change": None},
                       {"name": "dip", "unit": "V", "points": [{"drive": 1, "date": None, "value": None}], "slope": 0.1,
                        "slope_low": None, "slope_high": None, "per": "month", "change": None}],
    }  # fmt: skip
    page = season_page(report)
    assert page.count(">not measured</text>") == 2


def test_the_folder(made: Made, tmp_path: Path) -> None:
    report, rows = {**made[0], "season": page_stand.season(made[0])}, made[1]
    calls: list[tuple[int, int]] = []
    other = tmp_path / "notes.txt"
    other.write_text("mine")
    paths = write_pages(report, rows, tmp_path, lambda done, total: calls.append((done, total)))
    assert [path.name for path in paths] == [
        "season.html", "season.png", "drive-001.html", "drive-001.png", "drive-002.html", "drive-002.png",
        "drive-003.html", "drive-003.png"]  # fmt: skip
    assert calls == [(1, 4), (2, 4), (3, 4), (4, 4)]
    assert {path.name for path in tmp_path.iterdir()} == {*(path.name for path in paths), "notes.txt"}
    for path in paths:
        data = path.read_bytes()
        if path.suffix == ".png":
            assert data[:4] == b"\x89PNG" and len(data) > 20_000
            continue
        for link in re.findall(r'href="([^"#]+)', data.decode()):
            assert (tmp_path / link).is_file(), link


def test_a_folder_that_cannot_be_written_is_one_line(made: Made, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(UnderdashError, match="is a file, not a folder"):
        write_pages(*made, tmp_path / "file")


def test_drive_that_is_not_there(made: Made) -> None:
    with pytest.raises(IndexError, match="drive 4"):
        drive_page(*made, 4)


def test_an_ordinary_drive_stays_small(tmp_path: Path) -> None:
    """The evening of the car model: an hour and three quarters with a clamp, noise and a fan that comes and goes."""
    simulate(evening(carfile.example()), seed=1).to_csv(tmp_path / "evening.csv")
    report, rows = review(tmp_path / "evening.csv")
    assert report["drives"][0]["length_s"] > 6000
    assert len(drive_page(report, rows, 1)) < 300_000


@pytest.mark.parametrize(
    "lines",
    [["0,12.6"], ["0,"], [f"{t},12.6" for t in range(600)], [f"{t},{14.2 if t > 9 else 12.6}" for t in range(30)],
     [f"{t // 3},14.2" for t in range(300)], [f"{t + (0 if t < 200 else 3600)},14.2" for t in range(400)],
     [f"{t}," if t % 50 > 40 else f"{t},14.2" for t in range(400)]],
    ids=["one row", "one row, not measured", "parked", "short", "duplicate times", "clock jump", "holes in the volts"],
)  # fmt: skip
def test_any_input_gives_a_sensible_folder(lines: list[str], tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("t_s,volts\n" + "\n".join(lines) + "\n")
    report, rows = review(log)
    paths = write_pages(report, rows, tmp_path / "pages")
    assert len(paths) == 2 + 2 * len(report["drives"])
    said = words(paths[0].read_text())
    assert ("nothing to plot" in said) == (not report["drives"])
    assert "nan" not in said.lower().split()


def test_rows_out_of_order_keep_their_places(made: Made) -> None:
    report, rows = made
    turned = type(rows)(**{name: getattr(rows, name)[::-1] for name in rows.__dataclass_fields__})
    told = rows_of(1, report["drives"][0], turned, report["thresholds"])
    where = told["first_row"] + unpack(told["place"]).astype(int)
    assert (np.diff(where) == -1).all() and (unpack(told["step_ms"]) >= 0).all()
    np.testing.assert_allclose(unpack(told["mean_mv"]) / 1000, turned.volts[where], atol=1e-9)


def test_nothing_read_from_a_file_becomes_markup(made: Made) -> None:
    evil = "<script>alert(1)</script>\"'&<!--"
    report, rows = copy.deepcopy(made[0]), made[1]
    report |= {"source": evil, "board": evil}
    report["findings"] = [{"weight": "act", "text": evil, "evidence": evil, "drive": 1, "row": 3, "t_s": 1.0}]
    report["drives"][0]["episodes"][0] |= {"closes": [evil]}
    report["season"] = page_stand.season(report)
    report["season"]["verdicts"]["battery"]["reason"] = evil
    report["season"]["quantities"][0]["name"] = evil
    page, season = drive_page(report, rows, 1), season_page(report)
    assert page.count("<script") == 2 and season.count("<script") == 0
    assert "<!--" not in page and "</script" not in script() and "<!--" not in script()
    assert words(page).count(evil) >= 4 and words(season).count(evil) >= 4


def test_the_script_is_read_from_the_package() -> None:
    for name in ("chart_rows", "chart_pen", "chart"):
        path = Path(page_stand.__file__).parents[2] / "host" / "underdash" / "review" / "pages" / f"{name}.js"
        text = path.read_text()
        assert text in script() and len(text.splitlines()) < 400
    assert "http" not in script() and "eval" not in script().replace("evaluate", "")


def test_the_pages_data_is_plain_json(made: Made) -> None:
    report, rows = made
    found = re.findall(r'<script type="application/json">(.*?)</script>', drive_page(report, rows, 1), re.S)
    assert len(found) == 1 and json.loads(found[0])["number"] == 1
