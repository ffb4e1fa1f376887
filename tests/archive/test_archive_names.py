"""Only the journal's own files are read; whatever else ends in .seg is told, by every command that reads a journal."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from archive.journals import BOARD, Life, season
from underdash import archive
from underdash.archive.check import check_board
from underdash.cli.app import main
from underdash.problems import UsageError
from underdash.review import review
from underdash.settings.restore import newest

STRAYS = ("00000002 (copy).seg", "1.seg", "00000003.SEG", "x00000001.seg", "000000001.seg")


@pytest.fixture
def life() -> Life:
    return season(2, 200)


@pytest.fixture
def place(tmp_path: Path, life: Life) -> Path:
    return life.pull(tmp_path / "archive" / BOARD)


def run(*words: object) -> tuple[str, list[str]]:
    """What a command says, and tells beside it."""
    done = CliRunner().invoke(main, [*map(str, words)])
    assert done.exit_code == 0, done.output
    return done.stdout, done.stderr.splitlines()


def other_life(life: Life) -> bytes:
    """What would be read as more of this board, were it let in."""
    later = Life(offset_mv=500, boot=life.boot, row=life.row)
    later.start()
    later.run(200)
    return bytes(later.segments[1])


@pytest.mark.parametrize("stray", STRAYS)
def test_a_stray_segment_is_told_and_not_read(tmp_path: Path, life: Life, place: Path, stray: str) -> None:
    before, _ = review(place)
    assert before["left_out"] == []
    checked = check_board(place)
    (place / stray).write_bytes(other_life(life))
    for source in (place, place.parent):
        assert archive.segments(source) == [archive.segment_path(place, number) for number in life.segments]
        report, _ = review(source)
        line = f"{place / stray}: left out: a segment's name is eight digits and .seg"
        (finding,) = [one for one in report["findings"] if one not in before["findings"]]
        assert (finding["weight"], finding["evidence"]) == ("note", line)
        report["findings"].remove(finding)
        assert report == {**before, "source": source.name, "left_out": [line]}
        shown, told = run("review", source, "--json")
        assert (json.loads(shown)["left_out"], told) == ([line], [line])
    assert run("what-if", place, "discharging_mv=12900")[1] == [line]
    assert run("archive", "export", place, "--to", tmp_path / "tables")[1] == [line]
    now = check_board(place)
    assert (now.rows, now.segments, now.damaged) == (checked.rows, checked.segments, False)
    assert now.notes == [f"{stray}: none of the archive's files; not looked at"]


def test_a_segment_under_anothers_name_is_told_and_not_judged(life: Life, place: Path) -> None:
    """A copy, and one that belongs elsewhere: its rows, its header's thresholds and its calibration are left out."""
    whole, _ = review(place)
    kept = newest(place)
    for number in (3, 9):
        archive.segment_path(place, number).write_bytes(life.segments[1])
    report, _ = review(place)
    assert [line.split(": left out: ")[1] for line in report["left_out"]] == [
        f"it holds segment 1, not {number}; rename it to 00000001.seg, or move it away" for number in (3, 9)
    ]
    assert (report["rows"], report["lost_rows"]) == (whole["rows"] - 100, 100)
    assert newest(place) == kept
    found = check_board(place)
    assert (found.rows, found.lost_rows) == (report["rows"], report["lost_rows"])
    assert [problem.split(": its ")[0] for problem in found.problems] == ["00000003.seg", "00000009.seg"]
    assert [boot.rows for boot, _ in found.boots] == [200, 100]


def test_a_misnamed_file_that_is_named_itself_is_read(life: Life, place: Path) -> None:
    whole, _ = review(archive.segment_path(place, 2))
    for name in (*STRAYS, "00000007.seg"):
        path = place / name
        path.write_bytes(life.segments[2])
        report, _ = review(path)
        assert report == {**whole, "source": name}


def test_a_folder_with_none_of_its_own_says_why(tmp_path: Path, life: Life) -> None:
    (tmp_path / "copy.seg").write_bytes(life.segments[1])
    for of in (archive.segments, archive.boards):
        with pytest.raises(UsageError, match=r"copy\.seg is not named as one"):
            of(tmp_path)
    (tmp_path / "copy.seg").rename(tmp_path / "00000004.seg")
    with pytest.raises(UsageError, match=r"no segment bears its own number; .*holds segment 1, not 4"):
        archive.segments(tmp_path)
