"""Plan, drive and review of one car file agree; a car that is not as its file says is told apart."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from underdash.car import Drive, evening, simulate
from underdash.carfile import EXAMPLE, CarFile, example
from underdash.cli.app import main
from underdash.plan.budget import budget
from underdash.review import review


def driven(car: CarFile, out: Path, clamp: bool = True) -> Path:
    """The evening of a car as a log."""
    drive = simulate(evening(car))
    drive.to_csv(out, every_s=1.0)
    if not clamp:
        lines = [line.split(",") for line in out.read_text().splitlines()]
        amps = lines[0].index("amps")
        out.write_text("\n".join(",".join(cells[:amps] + cells[amps + 1 :]) for cells in lines) + "\n")
    return out


def deficit_levels(drive: Drive) -> tuple[float, float, float]:
    """Out of the battery at the night idle, once the surface charge is gone: mean, fan off, fan on [A]."""
    night = drive.phase == "night idle"
    late = night & (drive.t_s > drive.t_s[night][0] + 60.0)
    out = -drive.true_amps
    return float(out[late].mean()), float(np.median(out[late & ~drive.fan])), float(np.median(out[late & drive.fan]))


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return driven(example(), tmp_path_factory.mktemp("log") / "evening.csv")


def test_the_drive_does_what_the_plan_foresees() -> None:
    """Two models: a balance solved at once, and 360,000 steps of a drive. The plan knows no minute of the drive."""
    (worst,) = budget(example()).shortfalls
    mean_a, least_a, most_a = deficit_levels(simulate(evening(example())))
    assert worst.least_a == pytest.approx(least_a, rel=0.05)
    assert worst.most_a == pytest.approx(most_a, rel=0.03)
    # The duty in the file is the fan's in a traffic jam, 0.45; at the night idle it ran 0.38 of the time.
    assert worst.battery_a == pytest.approx(mean_a, rel=0.12)


def test_at_the_drives_own_duty_they_agree_within_two_per_cent() -> None:
    drive = simulate(evening(example()))
    night = drive.phase == "night idle"
    late = night & (drive.t_s > drive.t_s[night][0] + 60.0)
    duty = float(drive.fan[late].mean())
    loads = tuple(replace(load, duty=duty) if load.coolant_switch else load for load in example().loads)
    loads = tuple(load for load in loads if load.name != "windows")  # nobody touches them at the night idle
    (worst,) = budget(replace(example(), loads=loads)).shortfalls
    assert worst.battery_a == pytest.approx(-float(drive.true_amps[late].mean()), rel=0.02)


def test_the_review_finds_the_planned_deficit(log: Path) -> None:
    report, _ = review(log, None, example())
    (episode,) = report["plan"]["episodes"]
    assert episode["foreseen"]
    assert episode["nearest"]["situation"] == "night and rain"
    assert episode["found_a"] == pytest.approx(episode["nearest"]["battery_a"], rel=0.12)
    said = [finding for finding in report["findings"] if "is in the plan of" in finding["text"]]
    assert len(said) == 1
    output = next(cure for cure in report["plan"]["remedies"] if cure["kind"] == "rated output")
    assert f"rated output {output['needed']:g} A (now 75)" in said[0]["text"]


def test_without_a_clamp_the_volts_tell(tmp_path: Path) -> None:
    report, _ = review(driven(example(), tmp_path / "volts.csv", clamp=False), None, example())
    (episode,) = report["plan"]["episodes"]
    assert episode["found_a"] is None
    assert episode["foreseen"]


def test_a_weaker_alternator_than_the_file_says_is_told(tmp_path: Path) -> None:
    weak = replace(example(), alternator=replace(example().alternator, pulley_ratio=1.6))
    report, _ = review(driven(weak, tmp_path / "weak.csv"), None, example())
    deepest = min(report["plan"]["episodes"], key=lambda episode: -episode["found_a"])
    assert not deepest["foreseen"]
    assert any("not as in the plan" in finding["text"] for finding in report["findings"])


def test_a_deficit_that_no_plan_foresees_is_told(log: Path) -> None:
    strong = replace(example(), alternator=replace(example().alternator, rated_a=150.0, hot_a=(0.0, 60.0, 140.0, 150.0),
                                                   cold_a=(0.0, 70.0, 150.0, 165.0)))  # fmt: skip
    assert not budget(strong).shortfalls
    report, _ = review(log, None, strong)
    assert report["plan"]["episodes"][0]["nearest"] is None
    assert any("foresees no deficit" in finding["text"] for finding in report["findings"])


def test_a_healthy_car_has_no_deficit_in_plan_drive_and_review(tmp_path: Path) -> None:
    loads = tuple(load for load in example().loads if load.name not in ("rear heater", "fan"))
    light = replace(example(), loads=loads)
    assert not budget(light).shortfalls
    report, _ = review(driven(light, tmp_path / "light.csv"), None, light)
    assert report["plan"]["episodes"] == []
    assert not [e for drive in report["drives"] for e in drive["episodes"]]


def test_thresholds_of_the_car_file_judge_a_log(log: Path) -> None:
    strict = replace(example(), thresholds={"healthy_mv": 13900})
    report, _ = review(log, None, strict)
    assert report["thresholds"]["healthy_mv"] == 13900
    assert review(log)[0]["thresholds"]["healthy_mv"] != 13900


def test_the_commands(tmp_path: Path, log: Path) -> None:
    car = tmp_path / "car.toml"
    car.write_text(EXAMPLE.read_text(encoding="utf-8").replace('draw = "20 A"', 'draw = "1 A"'), encoding="utf-8")
    out = tmp_path / "drive.csv"
    done = CliRunner().invoke(main, ["drive", "--car", str(car), "--out", str(out)])
    assert done.exit_code == 0, done.output
    done = CliRunner().invoke(main, ["review", str(out), "--car", str(car), "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["plan"]["car"] == example().name
    text = CliRunner().invoke(main, ["review", str(log), "--car", str(EXAMPLE)]).stdout
    assert "is in the plan of" in text
    car.write_text("broken", encoding="utf-8")
    for command in (["drive", "--out", str(out)], ["review", str(log)]):
        done = CliRunner().invoke(main, [*command, "--car", str(car)])
        assert done.exit_code == 1
        assert done.stderr.startswith(f"underdash: {car} line 1: not TOML")
        assert len(done.stderr.splitlines()) == 1


def test_loads_that_no_battery_feeds_are_one_line(tmp_path: Path) -> None:
    car = tmp_path / "car.toml"
    text = EXAMPLE.read_text(encoding="utf-8").replace('draw = "3 A"', 'draw = "500 A"\ncount = 5')
    car.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(main, ["drive", "--car", str(car), "--out", str(tmp_path / "drive.csv")])
    assert done.exit_code == 1
    assert "no bus voltage feeds" in done.stderr
    assert not (tmp_path / "drive.csv").exists()
