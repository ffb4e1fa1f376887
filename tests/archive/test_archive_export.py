"""The tables: the review's rows and nothing else, whole or not at all, and they say where they come from."""

import binascii
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner

from archive.journals import BOARD, Life, contents, season
from chargecore import engine
from core.journal_reader import read_segment
from underdash import __version__, archive
from underdash.archive import anchors
from underdash.archive.anchors import Anchor
from underdash.archive.export import SCHEMA, export, metadata
from underdash.cli.app import main
from underdash.problems import DataError, UsageError
from underdash.review import review

NOON = datetime(2024, 5, 1, 12, tzinfo=UTC).timestamp()


@pytest.fixture
def place(tmp_path: Path) -> Path:
    made = season(2).pull(tmp_path / "archive" / BOARD)
    anchors.append(made, Anchor(2, 422.0, NOON, 1.0, 7200))
    return made


def hurt(place: Path, number: int, at: int) -> None:
    path = archive.segment_path(place, number)
    content = bytearray(path.read_bytes())
    content[at] ^= 16
    path.write_bytes(content)


def test_the_tables_together_are_the_reviews_rows(tmp_path: Path, place: Path) -> None:
    report, rows = review(place)
    done = export(place, tmp_path / "tables")
    table = pa.concat_tables(pq.read_table(one.path).cast(SCHEMA) for one in done)
    assert len(table) == len(rows) == sum(one.rows for one in done)
    for name in ("t_s", "boot", "low", "volts", "high", "amps", "warnings", "since_s"):
        np.testing.assert_array_equal(table[name].to_numpy(), getattr(rows, name), err_msg=name)
    assert table["state"].to_pylist() == [engine.STATE_NAMES[state] for state in rows.state]
    assert table["row"].to_pylist() == list(range(840))
    assert [one.kind for one in done] == ["between", "drive", "between"] * 2
    drives = [pq.read_table(one.path) for one in done if one.kind == "drive"]
    for drive, told in zip(drives, report["drives"], strict=True):
        t_s = drive["t_s"].to_numpy()
        assert told["start_s"] < t_s[0] <= told["start_s"] + 1
        assert t_s[-1] == told["start_s"] + told["length_s"]
    assert CliRunner().invoke(main, ["archive", "export", str(place), "--to", str(tmp_path / "two")]).exit_code == 0
    assert contents(tmp_path / "two") == contents(tmp_path / "tables")


def test_pandas_reads_the_same(tmp_path: Path, place: Path) -> None:
    _, rows = review(place)
    export(place, tmp_path / "tables")
    frame = pd.read_parquet(tmp_path / "tables")  # the folder as one
    assert len(frame) == len(rows)
    for name in ("t_s", "low", "volts", "high", "amps", "since_s"):
        np.testing.assert_array_equal(frame[name].to_numpy(), getattr(rows, name), err_msg=name)
    assert frame["time"].isna().sum() == 420  # boot 1 is undated
    dated = frame[frame.boot == 2]
    assert (dated.time.astype("int64") // 1000 if dated.time.dt.unit == "us" else dated.time.astype("int64")).iloc[
        -1
    ] == round(NOON * 1000)
    assert str(dated.time.dt.tz) == "UTC"
    assert frame["key"].isna().all()
    assert frame["checked"].all()


def test_no_clamp_no_volts_and_a_key(tmp_path: Path) -> None:
    life = Life(clamp=0)
    life.start()
    life.run(60, key=0)
    life.run(60, key=1)
    life.run(60)
    table = pq.read_table(export(life.pull(tmp_path / BOARD), tmp_path / "tables")[0].path)
    tables = [pq.read_table(path) for path in sorted((tmp_path / "tables").iterdir())]
    table = pa.concat_tables(tables)
    assert table["amps"].null_count == 180
    assert table["key"].to_pylist() == [False] * 60 + [True] * 60 + [None] * 60


def test_unmeasured_rows_are_null_not_nan(tmp_path: Path) -> None:
    place = season(1, blind=True).pull(tmp_path / BOARD)
    _, rows = review(place)
    table = pa.concat_tables(pq.read_table(one.path) for one in export(place, tmp_path / "tables"))
    assert table["volts"].null_count == table["low"].null_count == np.isnan(rows.volts).sum() == 84
    assert table["amps"].null_count == np.isnan(rows.amps).sum() == 60
    assert not np.isnan(table["volts"].drop_null().to_numpy()).any()


def test_numbers_after_damage_are_those_of_an_independent_reader(tmp_path: Path) -> None:
    life = season(2)
    place = life.pull(tmp_path / BOARD)
    hurt(place, 1, life.ends[1][2] + 9)
    hurt(place, 4, life.ends[4][0] + 9)
    archive.segment_path(place, 3).write_bytes(archive.segment_path(place, 3).read_bytes()[:-20])
    report, _ = review(place)
    done = export(place, tmp_path / "tables")
    table = pa.concat_tables(pq.read_table(one.path) for one in done)
    expected = [
        (row[0], row[1] / 1000) for path in archive.segments(place) for row in read_segment(path.read_bytes()).rows
    ]
    assert list(zip(table["row"].to_pylist(), table["t_s"].to_pylist(), strict=True)) == expected
    assert len(expected) == 840 - 90
    checked = table["checked"].to_numpy()
    assert 0 < report["unchecked_rows"] == (~checked).sum()
    first = table.filter(pa.compute.equal(table["boot"], 1))
    assert first["checked"].to_pylist() == [True] * 60 + [False] * (210 - 90) + [True] * 210
    told = metadata(done[0].path)
    assert told["sources"][0]["damaged_bytes"] == life.ends[1][3] - life.ends[1][2]
    assert told["sources"][0]["as_pulled"] is False


def test_what_a_table_says_of_itself(tmp_path: Path, place: Path) -> None:
    done = export(place, tmp_path / "tables")
    drive = next(one for one in done if one.kind == "drive" and one.date.boot == 2)
    told = metadata(drive.path)
    assert (told["underdash"], told["board"], told["kind"], told["drive"]) == (__version__, BOARD, "drive", 2)
    assert (told["firmware"], told["thresholds"]["discharging_mv"]) == ("0.1.0", 13000)
    assert told["calibration"]["clamp_fitted"] == 1
    assert told["date"]["how"] == "anchored"
    for source in told["sources"]:
        content = (place / source["file"]).read_bytes()
        assert (source["bytes"], source["crc32"]) == (len(content), f"{binascii.crc32(content):08x}")
        assert source["as_pulled"] is True
    assert [source["file"] for source in told["sources"]] == ["00000003.seg", "00000004.seg"]
    assert metadata(done[0].path)["date"]["before_s"] is not None  # boot 1 is bounded, and its times stay null
    assert pq.read_table(done[0].path)["time"].null_count == done[0].rows


def test_a_later_export_takes_the_place_of_an_earlier_one(tmp_path: Path, place: Path) -> None:
    export(place, tmp_path / "tables")
    before = contents(tmp_path / "tables")
    for number in (3, 4):
        archive.segment_path(place, number).unlink()
    export(place, tmp_path / "tables")
    after = contents(tmp_path / "tables")
    assert set(after) < set(before)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["archive", "tables"]


def test_a_folder_with_anything_else_in_it_is_refused(tmp_path: Path, place: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.parquet").write_text("x")
    before = contents(tmp_path)
    for to, said in (("mine", "thesis.parquet"), ("mine/thesis.parquet", "file, not a folder"), (BOARD, "")):
        if to == BOARD:
            continue
        done = CliRunner().invoke(main, ["archive", "export", str(place), "--to", str(tmp_path / to)])
        assert (done.exit_code, said in done.stderr, done.stderr.count("\n")) == (2, True, 1)
    with pytest.raises(UsageError, match=r"holds 0000000.\.seg|holds anchors"):
        export(place, place)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("tables_before_it_fails", [0, 1, 3])
def test_all_of_it_or_nothing(
    tmp_path: Path, place: Path, monkeypatch: pytest.MonkeyPatch, tables_before_it_fails: int
) -> None:
    export(place, tmp_path / "tables")
    before = contents(tmp_path)
    left = [tables_before_it_fails]
    real = pq.write_table

    def full(*given: object, **named: object) -> None:
        if left[0] == 0:
            raise OSError(28, "No space left on device")
        left[0] -= 1
        real(*given, **named)

    monkeypatch.setattr(pq, "write_table", full)
    for name in ("tables", "new"):
        left[0] = tables_before_it_fails
        done = CliRunner().invoke(main, ["archive", "export", str(place), "--to", str(tmp_path / name)])
        assert done.exit_code == 1 and "No space left" in done.stderr
        assert contents(tmp_path) == before
        assert not (tmp_path / "new").exists()


def test_no_rows_and_no_table_of_ours(tmp_path: Path) -> None:
    life = Life()
    life.start()
    with pytest.raises(DataError, match="holds no rows"):
        export(life.pull(tmp_path / BOARD), tmp_path / "tables")
    assert not (tmp_path / "tables").exists()
    pq.write_table(pa.table({"a": [1]}), tmp_path / "a.parquet")
    with pytest.raises(DataError, match="not written by"):
        metadata(tmp_path / "a.parquet")


def test_two_boards_want_one_named(tmp_path: Path, place: Path) -> None:
    season(1, board="00000000000000b2").pull(tmp_path / "archive" / "00000000000000b2")
    with pytest.raises(UsageError, match="2 boards"):
        export(tmp_path / "archive", tmp_path / "tables")


def test_every_column_is_documented() -> None:
    text = (Path(__file__).parents[2] / "docs" / "archive.md").read_text()
    for field in SCHEMA:
        assert f"| `{field.name}` |" in text, field.name


@pytest.mark.parametrize("words", [["--help"], ["archive", "--help"], ["archive", "check", "--help"]])
def test_help_imports_nothing_heavy(words: list[str]) -> None:
    program = (
        "import sys\nfrom underdash.cli.app import main\n"
        f"main({words!r}, standalone_mode=False)\n"
        "heavy = {'pyarrow', 'numpy', 'pandas', 'rich'} & set(sys.modules)\nassert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=dict(os.environ))
    assert done.returncode == 0, done.stderr
    assert "Usage" in done.stdout
