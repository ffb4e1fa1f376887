"""A file a drive: several logs of one car are one source."""

import json
from datetime import datetime, timedelta
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
    with pytest.raises(UsageError, match=r"one.csv: is named twice; name it once"):
        review([one, tmp_path / "empty" / ".." / "one.csv"])
    with pytest.raises(UsageError, match=r"one.csv: is named twice; name it once"):
        review([one, one])
    board = tmp_path / "board"
    log(board / "drive.csv")
    (board / "00000001.seg").write_bytes(b"")
    with pytest.raises(UsageError, match=r"board: holds a journal, no logs alone; of several sources"):
        review([one, board])
    for columns, options in (({"rpm": "n"}, None), (None, Options(hold_s=5.0))):
        with pytest.raises(UsageError, match=r"board: holds a journal; columns and the like can be told of logs only"):
            review(board, columns, options=options)


def _shifted(path: Path, clock: str, zone: str = "", rows: int = 400) -> Path:
    """A log that begins on that day and time of May 2026, e.g. "02 07:00:00"."""
    lines = log(path, rows=rows).read_text().splitlines()
    begun = datetime.fromisoformat(f"2026-05-{clock}")
    cells = [line.split(",") for line in lines[1:]]
    dated = [f"{begun + timedelta(seconds=int(t))}{zone},{volts}" for t, volts in cells]
    path.write_text("\n".join([lines[0], *dated]) + "\n")
    return path


def test_logs_of_the_same_time_are_refused(tmp_path: Path) -> None:
    one, other = _shifted(tmp_path / "one.csv", "02 07:00:00"), _shifted(tmp_path / "other.csv", "02 07:05:00")
    with pytest.raises(UsageError) as refused:
        review([other, one])
    assert str(refused.value) == (
        f"{other}: holds the same time as {one}, within 2026-05-02T07:05:00 to 2026-05-02T07:06:40, which would count "
        "twice; leave one of them out, or cut off what both hold"
    )
    # One after the other, though by a few seconds too soon; and one in a hole of another.
    assert len(review([one, _shifted(tmp_path / "next.csv", "02 07:06:36")])[0]["drives"]) == 2
    head, *lines = _shifted(tmp_path / "long.csv", "03 07:00:00", rows=3000).read_text().splitlines()
    (tmp_path / "long.csv").write_text("\n".join([head, *lines[:600], *lines[2000:]]) + "\n")
    assert len(review([tmp_path / "long.csv", _shifted(tmp_path / "hole.csv", "03 07:15:00")])[0]["boots"]) == 2


def test_zones_are_heeded_in_the_order_and_in_what_overlaps(tmp_path: Path) -> None:
    """An hour before and after clocks are set back; and the same moment in two zones."""
    first = _shifted(tmp_path / "z.csv", "02 02:50:00", "+02:00")
    second = _shifted(tmp_path / "a.csv", "02 02:20:00", "+01:00")
    assert [one["log"] for one in review([second, first])[0]["boots"]] == ["z.csv", "a.csv"]
    with pytest.raises(UsageError, match=r"holds the same time as .*2026-05-02T01:50:00\+01:00 to 2026-05-02T01:56:40"):
        review([first, _shifted(tmp_path / "same.csv", "02 01:50:00", "+01:00")])
    # A clock without a zone goes by what the others' show.
    plain = _shifted(tmp_path / "plain.csv", "02 02:40:00")
    assert [one["log"] for one in review([second, first, plain])[0]["boots"]] == ["a.csv", "plain.csv", "z.csv"]


def test_a_log_without_the_speed_takes_nothing_from_one_that_has_it(tmp_path: Path) -> None:
    """Ten lines a second, at idle and fast by turns: the row's mean tells neither, the lines tell both."""
    lines = ["t_s,volts,rpm", *(f"{t},12.6,0" for t in range(30)), "30,10.1,200", "31,10.2,200"]
    lines += [f"{32 + i / 10:.1f},{13.0 if (i // 5) % 2 else 14.4},{700 if (i // 5) % 2 else 2500}"
              for i in range(3000)]  # fmt: skip
    lines[2000] = lines[2000].rsplit(",", 1)[0] + ","  # one cell is empty
    quick, plain = tmp_path / "a.csv", log(tmp_path / "b.csv")
    quick.write_text("\n".join(lines) + "\n")
    (alone,), beside = review(quick)[0]["drives"], review([quick, plain])[0]["drives"]
    assert (alone["idle"]["idle_volts"], alone["idle"]["fast_volts"]) == (13.0, 14.4)
    assert beside[0]["idle"] == alone["idle"] and beside[1]["idle"] is None


def test_a_drive_without_lines_of_its_own_has_its_rows_speed(tmp_path: Path) -> None:
    """The speed in lines of its own, between those of volts: only rows have both."""
    lines = ["t_s,volts,rpm", *(f"{t},12.6,\n{t}.5,,0" for t in range(30)), "30,10.1,", "30.5,,200", "31,10.2,"]
    lines += [f"{t},{14.0 + 0.03 * (t % 2):.2f},\n{t}.5,,700" for t in range(32, 400)]
    apart = tmp_path / "a.csv"
    apart.write_text("\n".join(lines) + "\n")
    together = tmp_path / "b.csv"
    together.write_text("t_s,volts,rpm\n" + "".join(f"{t},{12.6 if t < 60 else 14 + t % 2 / 30},{t}\n"
                                                   for t in range(900)))  # fmt: skip
    drives = review([apart, together])[0]["drives"]
    assert drives[0]["idle"]["idle_volts"] == pytest.approx(14.015, abs=0.02)


@pytest.mark.parametrize("beside", ["fine", "with the speed"])
def test_a_coarse_log_is_told_of_whatever_is_beside_it(tmp_path: Path, beside: str) -> None:
    coarse, other = log(tmp_path / "coarse.csv"), log(tmp_path / "other.csv", level=14.004)
    if beside == "with the speed":
        head, *lines = other.read_text().splitlines()
        other.write_text("\n".join([f"{head},rpm", *(f"{line},800" for line in lines)]) + "\n")
    else:
        other.write_text(other.read_text().replace("12.50", "12.501", 1))
    for sources in ([coarse], [coarse, other]):
        report, _ = review(sources)
        assert report["volts_step"] == pytest.approx(0.03)
        assert [one for one in report["findings"] if one["text"].startswith("By its volts alone this log")]
    assert review(other)[0]["volts_step"] == (None if beside == "with the speed" else pytest.approx(0.001))


def test_a_dry_run_of_several_shows_each_and_ends_with_the_gravest(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    names = [log(folder / f"{day}.csv", day).name for day in (3, 4)]

    def told(*more: str) -> tuple[int, str, str]:
        done = CliRunner().invoke(main, ["review", *more, "--dry-run"])
        return done.exit_code, done.stdout, done.stderr

    code, out, err = told(str(folder))
    assert (code, err) == (0, "")
    assert [line for line in out.splitlines() if line.startswith("/")] == [str(folder / name) for name in names]
    (folder / "5.csv").write_text("t_s,volts\n1,12.6\n2,abc\n")  # fails: 1
    code, out, err = told(str(folder))
    assert code == 1 and out.count("  encoding ") == 3 and "5.csv, line 3: " in err
    code, out, err = told(str(folder), str(folder / "3.csv"))
    assert code == 2 and out.count("  encoding ") == 4
    assert "5.csv, line 3: " in err.splitlines()[0] and "3.csv: is named twice" in err.splitlines()[1]
    copy = log(tmp_path / "copy.csv", 4, 14.1)
    assert "copy.csv: holds the same time as" in told(str(folder / "4.csv"), str(copy))[2]
    code, _, err = told(str(folder), "--save-map", str(tmp_path / "map.toml"))
    assert code == 2 and "is made of one log, and here are 3" in err
    (folder / "00000001.seg").write_bytes(b"")
    assert "holds a journal, which is read as it is" in told(str(folder))[2]


def test_the_measured_drives_are_one_season() -> None:
    """One 2014 petrol car, github.com/eron93br/carOBD at bf09e1c (docs/check-values.md)."""
    folder = measured_data("measured-drives")
    report, _ = review(folder, {"t_s": "engine_run_s", "rpm": "engine_rpm"})
    assert len(report["drives"]) == len(list(folder.glob("*.csv"))) == report["season"]["drives"]
    assert not [finding for finding in report["findings"] if finding["weight"] in ("act", "watch")]
