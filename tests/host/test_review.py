"""The review against logs whose truth is known, and against one car's measured drives."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from chargecore import engine
from conftest import last_run, measured_data, of_engine_run, short_drive
from underdash.cli.app import main
from underdash.review import review


def write(path: Path, columns: dict[str, np.ndarray]) -> Path:
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows(zip(*(np.round(values, 3) for values in columns.values()), strict=True))
    return path


@pytest.mark.parametrize("clamp", [True, False])
def test_a_log_from_anywhere(tmp_path: Path, clamp: bool) -> None:
    volts, amps = short_drive()
    columns = {"t_s": np.arange(len(volts)) * 0.02, "volts": volts, **({"amps": amps} if clamp else {})}
    report, rows = review(write(tmp_path / "log.csv", columns))
    (drive,) = report["drives"]
    (crank,) = drive["cranks"]
    (episode,) = drive["episodes"]
    assert crank["start_s"] == pytest.approx(40, abs=0.2)
    assert crank["lowest_volts"] == pytest.approx(10.37, abs=0.03)
    assert episode["kind"] == "discharging"
    assert episode["start_s"] == pytest.approx(120, abs=1.1)
    assert episode["length_s"] == pytest.approx(80, abs=1.6)
    assert episode["charge_ah"] == (pytest.approx(-80 * 15 / 3600, rel=0.03) if clamp else None)
    assert drive["start_s"] + drive["length_s"] == pytest.approx(250, abs=2.0)
    assert drive["rested_volts"] == pytest.approx(12.6, abs=0.01)
    assert report["findings"][0]["weight"] == "act"
    assert report["rows"] == len(rows)


def test_json_on_standard_output_is_the_report(tmp_path: Path) -> None:
    volts, _ = short_drive()
    path = write(tmp_path / "log.csv", {"t_s": np.arange(len(volts)) * 0.02, "volts": volts})
    done = CliRunner().invoke(main, ["review", str(path), "--json", "--html", str(tmp_path / "page.html")])
    assert done.exit_code == 0, done.output
    report = json.loads(done.output, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    assert report["drives"][0]["episodes"][0]["kind"] == "discharging"
    assert {"rows", "lost_rows", "mismatches", "drives"} <= set(report)
    assert "Drive 1" in (tmp_path / "page.html").read_text()


def test_one_row_and_unmeasured_rows(tmp_path: Path) -> None:
    (tmp_path / "one.csv").write_text("t_s,volts\n0,12.6\n")
    report, _ = review(tmp_path / "one.csv")
    assert report["rows"] == 1
    assert report["drives"] == []
    (tmp_path / "holes.csv").write_text("t_s,volts,amps\n" + "".join(f"{t},,\n" for t in range(100)))
    report, rows = review(tmp_path / "holes.csv")
    assert np.isnan(rows.volts).all()
    json.dumps(report, allow_nan=False)


def test_a_measured_drive_of_a_healthy_car_raises_no_warning(measured_drive: Path) -> None:
    report, rows = review(measured_drive, options=of_engine_run(measured_drive))
    assert not (rows.warnings & (engine.WARN_DISCHARGING | engine.WARN_OVERCHARGE)).any()
    drive = report["drives"][-1]
    assert not {episode["kind"] for episode in drive["episodes"]} & {"discharging", "overcharge"}
    table = last_run(measured_drive)
    started = next(float(row["engine_run_s"]) for row in table if float(row["engine_rpm"]) > 0)
    assert drive["start_s"] <= started + 10.0
    running = [float(row["volts"]) for row in table if float(row["engine_rpm"]) > 500]
    assert drive["set_point_volts"] == pytest.approx(float(np.median(running)), abs=0.05)


def test_an_alternator_that_dies_on_a_measured_drive_is_found(tmp_path: Path) -> None:
    """The measured volts of the same car, lowered to a battery's from second 600 on."""
    with (measured_data("measured-drives") / "long2.csv").open() as file:
        table = [(float(row["engine_run_s"]), float(row["volts"])) for row in csv.DictReader(file)]
    t_s = np.array([t for t, _ in table])
    volts = np.array([v for _, v in table])
    report, _ = review(write(tmp_path / "dead.csv", {"t_s": t_s, "volts": np.where(t_s > 600, volts - 1.4, volts)}))
    episodes = [episode for drive in report["drives"] for episode in drive["episodes"]]
    assert episodes[0]["kind"] == "discharging"
    assert episodes[0]["start_s"] == pytest.approx(600, abs=5)
    assert episodes[0]["shown_s"] <= 630
