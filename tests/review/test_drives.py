"""What the drive report says of each drive, against truths that are known and computed apart."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chargecore import engine
from conftest import last_run, of_engine_run, short_drive
from underdash.car import evening, simulate
from underdash.carfile import CarFile, example
from underdash.review import review
from underdash.review.analysis import analyse
from underdash.review.findings import findings
from underdash.review.rows import Account, Rows
from underdash.review.text import summary
from underdash.review.words import WEIGHTS


def written(path: Path, columns: dict[str, np.ndarray]) -> Path:
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows(zip(*(np.round(values, 4) for values in columns.values()), strict=True))
    return path


def logged(car: CarFile, path: Path, *, clamp: bool, seed: int = 1) -> tuple[Path, float]:
    """The evening of a car as a log, and what the battery gave at the night idle [Ah], by the model's own current."""
    drive = simulate(evening(car), seed=seed)
    pick = slice(None, None, round(0.1 / drive.step_s))
    columns = {"t_s": drive.t_s[pick], "volts": drive.volts[pick]}
    if clamp:
        columns["amps"] = drive.amps[pick]
    return written(path, columns), drive


def truth_ah(drive, episode) -> float:
    inside = (drive.t_s > episode["start_s"]) & (drive.t_s <= episode["start_s"] + episode["length_s"])
    return float(drive.true_amps[inside].sum() * drive.step_s / 3600)


# -- measured drives -----------------------------------------------------------------------------

MEASURED = ("engine_run_s", "volts", "engine_rpm", "speed_kmh", "intake_air_c")


def table(path: Path) -> dict[str, np.ndarray]:
    with path.open() as file:
        names = next(csv.reader(file))
    values = np.loadtxt(path, delimiter=",", skiprows=1)
    return {name: values[:, names.index(name)] for name in MEASURED}


def seconds(values: np.ndarray, t_s: np.ndarray) -> np.ndarray:
    """The mean over each second that has lines: by counting, not as the import gathers."""
    _, inverse, counts = np.unique(np.floor(t_s), return_inverse=True, return_counts=True)
    return np.bincount(inverse, weights=values) / counts


@pytest.mark.parametrize("told", [{}, {"rpm": "engine_rpm"}], ids=["by volts alone", "with the engine's speed"])
def test_measured_drives_have_their_starts(measured_drive: Path, told: dict[str, str]) -> None:
    """The road speed, and but for the second time the engine's, only check: neither decides what a start is."""
    options = of_engine_run(measured_drive, **told)
    report, _ = review(measured_drive, options=options)
    measured = table(measured_drive)
    clock, turning = measured["engine_run_s"], measured["engine_rpm"] > 0
    run = np.append(1, 1 + np.cumsum(np.diff(clock) < 0))  # as the review counts boots
    starts = np.flatnonzero(turning & ~np.append(False, turning[:-1] & (np.diff(run) == 0)))
    seen = [at for at in starts.tolist() if at and run[at] == run[at - 1]]  # standing still before it
    for at in seen:
        (drive,) = [one for one in report["drives"] if one["boot"] == run[at]
                    and one["start_s"] - 10.0 <= clock[at] <= one["end_s"]]  # fmt: skip
    for drive in report["drives"]:
        begins = [at for at in starts.tolist() if run[at] == drive["boot"]]
        at = min(begins, key=lambda at: abs(clock[at] - drive["start_s"]))
        assert abs(drive["start_s"] - clock[at]) <= 10.0
        # A crank is reported where the recording caught the volts below crank level (11.3 V), and only there.
        around = (run == run[at]) & (clock >= clock[at] - 1.0) & (clock < clock[at] + 3.0)
        caught = bool(measured["volts"][around].min() < 11.3)
        assert caught == any(crank["start_s"] <= clock[at] + 3.0 for crank in drive["cranks"])
        assert (drive["started_by"] == "crank") == caught
        assert not {episode["kind"] for episode in drive["episodes"]} & {"discharging", "overcharge"}
        shown = {name for change in drive["shown"] for name in change["warnings"]}
        assert not shown & {"discharging", "overcharge", "sensor"}
        moving = (measured["speed_kmh"] > 0) & (run == run[at])
        if len(begins) == 1 and moving.any():
            assert drive["start_s"] <= clock[moving][0]
    assert report["drives"]


def test_measured_drives_have_their_medians(measured_drive: Path) -> None:
    """Of the file's own lines, of the last time that the engine was started in the recording."""
    options = of_engine_run(measured_drive, rpm="engine_rpm", temperature_c="intake_air_c")
    report, rows = review(measured_drive, options=options)
    rows = rows.part(rows.boot == rows.boot[-1])
    drive = report["drives"][-1]
    lines = last_run(measured_drive)
    measured = {name: np.array([float(line[name]) for line in lines]) for name in MEASURED}
    t_s = measured["engine_run_s"]
    rpm = measured["engine_rpm"][np.append(np.diff(np.floor(t_s)) > 0, True)]  # at each second's end
    by_speed = drive["idle"]
    # But a crank's rows, each by itself.
    whole = np.isin(np.floor(rows.t_s), np.floor(rows.t_s)[:-1][np.diff(np.floor(rows.t_s)) == 0], invert=True)
    place = np.searchsorted(np.unique(np.floor(t_s)), np.floor(rows.t_s[whole]))
    assert len(place) > 0.9 * len(rpm)
    assert np.array_equal(rows.rpm[whole], rpm[place])
    assert rows.temperature[whole] == pytest.approx(seconds(measured["intake_air_c"], t_s)[place], abs=1e-9)
    within = (t_s >= drive["start_s"]) & (t_s <= drive["end_s"])
    for key, low, high in (("idle_volts", 500, 900), ("fast_volts", 2000, 3000)):
        chosen = within & (measured["engine_rpm"] >= low) & (measured["engine_rpm"] <= high)
        if chosen.any():
            assert by_speed[key] == pytest.approx(float(np.median(measured["volts"][chosen])), abs=0.0006)
        else:
            assert by_speed[key] is None


# -- charge without a clamp, and with one --------------------------------------------------------


def car_of(charge: float, ohm: float, ah: float) -> CarFile:
    base = example()
    return replace(base, battery=replace(base.battery, charge=charge, internal_ohm=ohm, capacity_ah=ah))


@pytest.mark.parametrize(
    ("charge", "ohm", "ah", "seed"),
    [(0.94, 0.008, 60.0, 1), (0.70, 0.004, 90.0, 2), (1.0, 0.015, 40.0, 3), (0.85, 0.012, 45.0, 4)],
)
def test_the_bounds_of_charge_hold_the_truth(tmp_path: Path, charge: float, ohm: float, ah: float, seed: int) -> None:
    car = car_of(charge, ohm, ah)
    path, drive = logged(car, tmp_path / "clamp.csv", clamp=True, seed=seed)
    blind, _ = logged(car, tmp_path / "volts.csv", clamp=False, seed=seed)
    for log, file, source in ((path, None, "clamp"), (blind, None, "volts"), (blind, car, "volts")):
        report, _ = review(log, None, file)
        episodes = [e for d in report["drives"] for e in d["episodes"] if e["kind"] == "discharging"]
        assert episodes
        for episode in episodes:
            assert episode["charge_from"] == source
            assert (episode["charge_ah"] is None) == (source == "volts")
            true = truth_ah(drive, episode)
            assert episode["charge_low_ah"] <= true <= episode["charge_high_ah"] <= 0.0
            assert episode["charge_basis"]
        said = [finding["text"] for finding in report["findings"] if "fed the car" in finding["text"]]
        assert all(("estimate" in text) == (source == "volts") for text in said)


def test_a_battery_that_no_table_fits_gets_no_number() -> None:
    """Rested at 13.1 V it is no flooded battery: published tables of other kinds differ by half a volt."""
    count = 400
    t_s = np.arange(1.0, count + 1)
    state = np.select([t_s <= 60, t_s <= 65, t_s <= 200, t_s <= 380], [engine.REST, engine.CRANK, engine.CHARGING,
                                                                      engine.DISCHARGING], engine.CHARGING)  # fmt: skip
    since = np.select([t_s <= 60, t_s <= 65, t_s <= 200, t_s <= 380], [0.0, 60.0, 66.0, 200.0], 380.0)
    nothing = np.full(count, np.nan)
    for rested, known in ((13.1, False), (12.6, True)):
        level = [rested, 10.5, 14.0, 12.2]
        volts = np.select([t_s <= 60, t_s <= 65, t_s <= 200, t_s <= 380], level, 14.0)
        ones = np.ones(count, dtype=np.int64)
        rows = Rows(ones, t_s, volts, volts, volts, nothing, state, 0 * ones, since)
        (drive,) = analyse("x", rows, Account())["drives"]
        (episode,) = drive["episodes"]
        assert (episode["charge_low_ah"] is not None) == known
        assert drive["life_share"] is None and drive["out_ah"] is None


# -- one drive in full ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict, Rows]:
    volts, amps = short_drive()
    columns = {"t_s": np.arange(len(volts)) * 0.02, "volts": volts, "amps": amps}
    return review(written(tmp_path_factory.mktemp("short") / "log.csv", columns), None, example())


def test_the_crank_in_full(short: tuple[dict, Rows]) -> None:
    """12.6 V, then 10.4 V at 120 A: 18.3 mohm. Charging volts follow at once."""
    (crank,) = short[0]["drives"][0]["cranks"]
    assert crank["before_volts"] == pytest.approx(12.6, abs=0.01)
    assert crank["dip_volts"] == pytest.approx(crank["before_volts"] - crank["held_volts"], abs=0.0011)
    assert crank["resistance_ohm"] == pytest.approx(2.2 / 120, rel=0.03)
    assert crank["recovery_s"] == pytest.approx(0.0, abs=1.1)
    assert crank["after_volts"] == pytest.approx(14.0, abs=0.02)


def test_the_drive_in_full(short: tuple[dict, Rows]) -> None:
    report, rows = short
    (drive,) = report["drives"]
    (episode,) = drive["episodes"]
    assert drive["number"] == 1 and drive["started_by"] == "crank"
    assert drive["end_s"] == pytest.approx(250, abs=2)
    assert drive["charging_after_s"] == pytest.approx(0.0, abs=1.1)
    assert rows.t_s[drive["first_row"]] == pytest.approx(drive["start_s"], abs=1.1)
    assert rows.t_s[drive["last_row"]] <= drive["end_s"] + 1.0
    assert rows.t_s[episode["first_row"]] == pytest.approx(episode["start_s"], abs=1.1)
    assert rows.t_s[episode["last_row"]] == pytest.approx(episode["start_s"] + episode["length_s"], abs=1.1)
    assert episode["depth_volts"] == pytest.approx(13.0 - episode["lowest_volts"], abs=0.0011)
    assert sum(drive["shares"].values()) == pytest.approx(1.0, abs=0.001)
    # 80 s of 15 A at 12.4 V and a crank of 1 s and 120 A at 10.4 V, against 130 s of charging at 14 V.
    assert drive["out_ah"] == pytest.approx((80 * 15 + 120) / 3600, rel=0.03)
    assert drive["out_wh"] == pytest.approx((80 * 15 * 12.4 + 120 * 10.4) / 3600, rel=0.03)
    assert drive["in_wh"] == pytest.approx((79 * 4 + 50 * 6) * 14 / 3600, rel=0.05)
    deepest = drive["cycles"][0]
    assert deepest["depth_ah"] == pytest.approx(80 * 15 / 3600, rel=0.05)
    # underdash.cycles' rule: depth as a share of 60 Ah, of 60 cycles of 30 %.
    by_hand = sum(one["depth_ah"] / 60.0 * one["count"] for one in drive["cycles"]) / (60 * 0.3)
    assert drive["life_share"] == pytest.approx(by_hand, abs=1e-6)


def test_what_the_board_showed_is_each_change_of_verdict_or_warning(short: tuple[dict, Rows]) -> None:
    report, rows = short
    (drive,) = report["drives"]
    shown = drive["shown"]
    assert shown[0]["state"] == "crank"
    warned = [change for change in shown if change["warnings"]]
    assert [change["warnings"] for change in warned] == [["discharging"]]
    assert warned[0]["t_s"] == pytest.approx(drive["episodes"][0]["shown_s"], abs=1.1)
    for change, after in zip(shown, [*shown[1:], {"t_s": drive["end_s"]}], strict=True):
        inside = (rows.t_s >= change["t_s"]) & (rows.t_s < after["t_s"])
        assert {engine.STATE_NAMES[state] for state in rows.state[inside]} <= {change["state"]}


def test_temperature_gives_the_set_points_slope() -> None:
    """-10 mV/K over a machine that warms by 40 K, and none where it does not."""
    count = 3000
    t_s = np.arange(1.0, count + 1)
    celsius = 20.0 + 40.0 * (1.0 - np.exp(-t_s / 600.0))
    volts = 14.4 - 0.010 * (celsius - 20.0) + np.random.default_rng(3).normal(0.0, 0.02, count)
    ones = np.ones(count, dtype=np.int64)
    rows = Rows(ones, t_s, volts, volts, volts, np.full(count, np.nan), engine.CHARGING * ones, 0 * ones, 0.0 * t_s)
    with_it = analyse("x", replace(rows, temperature=celsius), Account())["drives"][0]
    assert with_it["set_point_slope_v_per_k"] == pytest.approx(-0.010, abs=0.0005)
    assert analyse("x", rows, Account())["drives"][0]["set_point_slope_v_per_k"] is None
    still = replace(rows, temperature=np.full(count, 20.0))
    assert analyse("x", still, Account())["drives"][0]["set_point_slope_v_per_k"] is None
    assert with_it["set_point_low_volts"] < with_it["set_point_volts"] < with_it["set_point_high_volts"]


def test_findings_are_ranked_and_lead_to_their_rows(short: tuple[dict, Rows]) -> None:
    report, rows = short
    weights = [WEIGHTS.index(finding["weight"]) for finding in report["findings"]]
    assert weights == sorted(weights)
    first = report["findings"][0]
    assert first["drive"] == 1
    assert rows.t_s[first["row"]] == pytest.approx(first["t_s"], abs=1.1)
    (episode,) = report["drives"][0]["episodes"]
    assert episode["closes"] and all(text.endswith((".", "road.")) for text in episode["closes"])
    two = json.loads(json.dumps(report))
    worse = json.loads(json.dumps(report["drives"][0]))
    worse["number"], worse["episodes"][0]["charge_ah"] = 2, -4.0
    two["drives"].append(worse)
    fed = [finding["drive"] for finding in findings(two) if "fed the car" in finding["text"]]
    assert fed == [2, 1]


def test_the_terminal_answers_the_five_questions_in_order(short: tuple[dict, Rows]) -> None:
    words = summary(short[0])
    places = [words.index(one["question"]) for one in short[0]["answers"]]
    assert len(places) == 5 and places == sorted(places)
    assert "a board would have shown at" in words


def test_a_clock_that_went_back_and_a_hole_are_told() -> None:
    count = 300
    t_s = np.arange(1.0, count + 1)
    t_s[100:] += 50.0
    t_s[200:] -= 120.0
    ones = np.ones(count, dtype=np.int64)
    volts = np.full(count, 14.0)
    rows = Rows(ones, t_s, volts, volts, volts, np.full(count, np.nan), engine.CHARGING * ones, 0 * ones, 0.0 * t_s)
    report = analyse("x", rows, Account())
    assert [(gap["length_s"], gap["why"]) for gap in report["gaps"]] == [
        (51.0, "no rows were written"), (-119.0, "the clock went back")]  # fmt: skip
    report["findings"] = findings(report)
    assert any("holes" in finding["text"] for finding in report["findings"])
    json.dumps(report, allow_nan=False)


def test_every_key_of_the_report_is_in_its_document(short: tuple[dict, Rows]) -> None:
    words = (Path(__file__).parents[2] / "docs" / "report.md").read_text(encoding="utf-8")
    report = short[0]
    (drive,) = report["drives"]
    parts = (report, drive, drive["cranks"][0], drive["episodes"][0], drive["cycles"][0], drive["shown"][0],
             report["whole"], report["findings"][0], report["answers"][0], report["plan"])  # fmt: skip
    missing = {key for part in parts for key in part if f"`{key}`" not in words}
    assert not missing
