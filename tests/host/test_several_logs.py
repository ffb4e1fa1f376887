"""A file a drive: several logs of one car are one source."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from conftest import measured_data
from underdash.cli.app import main
from underdash.problems import UsageError
from underdash.review import review
from underdash.review.foreign import Options
from underdash.review.what_if.judged import read


def log(path: Path, day: int | None = None, level: float = 14.0, rows: int = 400) -> Path:
    """A start and some minutes of charging, dated if a day of May is given."""
    path.parent.mkdir(exist_ok=True)
    lines = ["t_s,volts"]
    for t in range(rows):
        volts = 12.5 if t < 30 else 10.1 if t < 33 else level + 0.03 * (t % 2)
        when = f"2026-05-{day:02d} 07:{t // 60:02d}:{t % 60:02d}" if day else str(t)
        lines.append(f"{when},{volts:.2f}")
    path.write_text("\n".join(lines) + "\n")
    return path


def test_dated_logs_go_by_their_dates_and_others_as_they_come(tmp_path: Path) -> None:
    later, sooner = log(tmp_path / "a.csv", 9, 14.0), log(tmp_path / "b.csv", 2, 14.2)
    report, rows = review([later, sooner])
    assert [drive["dated"] for drive in report["drives"]] == ["2026-05-02T07:00:29", "2026-05-09T07:00:29"]
    assert report["boots"] == [
        {"boot": number, "rows": 400, "period_s": 1.0, "log": log} for number, log in ((1, "b.csv"), (2, "a.csv"))
    ]
    assert report["source"] == "a.csv and 1 more"
    assert np.array_equal(rows.boot, np.repeat([1, 2], 400))
    undated = log(tmp_path / "c.csv")
    report, _ = review([later, undated, sooner])
    assert [one["log"] for one in report["boots"]] == ["a.csv", "c.csv", "b.csv"]
    assert [drive["dated"] is None for drive in report["drives"]] == [False, True, False]


def test_a_folder_of_logs_is_each_of_them(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    names = [log(folder / f"{day}.csv", day).name for day in (3, 4, 5)]
    (folder / "notes.md").write_text("a folder may hold other files")
    report, _ = review(folder)
    assert [one["log"] for one in report["boots"]] == names
    for drive in report["drives"]:
        alone, _ = review(folder / names[drive["number"] - 1])
        assert {k: drive[k] for k in ("dated", "length_s", "set_point_volts", "cranks")} == {
            k: alone["drives"][0][k] for k in ("dated", "length_s", "set_point_volts")
        } | {"cranks": [{**c, "first_row": drive["cranks"][0]["first_row"]} for c in alone["drives"][0]["cranks"]]}
    assert report["season"]["drives"] == 3
    assert len(read(folder, Options()).drives) == 3
    shown = CliRunner().invoke(main, ["review", *(str(folder / name) for name in names), "--json"])
    assert json.loads(shown.output)["drives"] == report["drives"]


def test_what_is_no_log_or_is_there_twice_is_refused(tmp_path: Path) -> None:
    one = log(tmp_path / "one.csv")
    (tmp_path / "copy.csv").write_bytes(one.read_bytes())
    with pytest.raises(UsageError, match=r"copy.csv: is the same as .*one.csv; leave one of them out"):
        review([one, tmp_path / "copy.csv"])
    (tmp_path / "page.html").write_text("<html>")
    with pytest.raises(UsageError, match=r"page.html: is no log; of several sources each has to be one"):
        review([one, tmp_path / "page.html"])
    (tmp_path / "empty").mkdir()
    with pytest.raises(UsageError, match="no journal segments"):
        review(tmp_path / "empty")
    told = CliRunner().invoke(main, ["review", str(one), str(one), "--dry-run"])
    assert told.exit_code == 2 and "one log at a time can be looked at" in told.output


def test_the_measured_drives_are_one_season() -> None:
    """One 2014 petrol car, github.com/eron93br/carOBD at bf09e1c (docs/check-values.md)."""
    folder = measured_data("measured-drives")
    report, _ = review(folder, {"t_s": "engine_run_s", "rpm": "engine_rpm"})
    assert len(report["drives"]) == len(list(folder.glob("*.csv"))) == report["season"]["drives"]
    assert not [finding for finding in report["findings"] if finding["weight"] in ("act", "watch")]
