"""The check: what is there, what is damaged and where, and whether the board or this computer did it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.journals import BOARD, Life, season
from underdash import archive
from underdash.archive import anchors, checksums, records, text
from underdash.archive.anchors import Anchor
from underdash.archive.check import Checked, check, check_board
from underdash.cli.app import main
from underdash.review import review

OTHER = "00000000000000b2"


@pytest.fixture
def life() -> Life:
    return season(3)


def hurt(place: Path, number: int, at: int) -> None:
    path = archive.segment_path(place, number)
    content = bytearray(path.read_bytes())
    content[at] ^= 16
    path.write_bytes(content)


def told(place: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["archive", "check", str(place), *words])
    assert done.stderr == ""
    return done.exit_code, done.stdout


def test_a_whole_archive(tmp_path: Path, life: Life) -> None:
    place = life.pull(tmp_path / BOARD)
    found = check_board(place)
    assert (found.board, found.segments, found.rows, found.lost_rows) == (BOARD, 6, 1260, 0)
    assert found.bytes == sum(len(content) for content in life.segments.values())
    assert (found.damage, found.problems, found.notes, found.gaps) == ([], [], [], [])
    assert [(one.boot, one.first_s, one.last_s, one.rows, date.how) for one, date in found.boots] == [
        (boot, 3.0, 422.0, 420, "undated") for boot in (1, 2, 3)
    ]
    code, shown = told(tmp_path)
    assert (code, shown.count("undated"), "every frame is whole" in shown) == (0, 3, True)


@pytest.mark.parametrize("kept", [True, False])
@pytest.mark.parametrize("on_the_board", [True, False])
@pytest.mark.parametrize("where", ["header", "middle", "end"])
def test_a_flip_costs_its_frame_and_it_is_told_whose_fault_it_was(
    tmp_path: Path, life: Life, where: str, on_the_board: bool, kept: bool
) -> None:
    ends = life.ends[3]
    begin, end = {"header": (0, ends[0]), "middle": (ends[2], ends[3]), "end": (ends[-2], ends[-1])}[where]
    place = life.pull(tmp_path / BOARD)
    hurt(place, 3, begin + 6)
    if on_the_board and kept:
        checksums.keep(place, checksums.of(3, archive.segment_path(place, 3).read_bytes()))
    if not kept:
        (place / checksums.FILE).unlink()
    found = check_board(place)
    (damage,) = found.damage
    assert (damage.segment, damage.offset, damage.length, damage.what) == (3, begin, end - begin, where)
    assert damage.when == ("unknown" if not kept else "before the pull" if on_the_board else "since the pull")
    assert found.rows == 1260 - (0 if where == "header" else 30)
    assert found.lost_rows == (0 if where == "header" else 30)
    assert [(gap.rows, gap.length_s) for gap in found.gaps] == ([(30, 31.0)] if where != "header" else [])
    assert len(found.problems) == (1 if where == "header" else 0)
    code, shown = told(tmp_path)
    assert code == 1
    assert f"segment 3, {where}, bytes {begin} to {end - 1}" in shown


def test_every_byte_of_a_segment_is_guarded(tmp_path: Path) -> None:
    """A flip anywhere is found, costs no more than the rows of its frame, and the review still reads the rest."""
    life = season(1, 120)
    place = life.pull(tmp_path / BOARD)
    whole = bytes(life.segments[2])
    for at in range(0, len(whole), 7):
        archive.segment_path(place, 2).write_bytes(whole)
        hurt(place, 2, at)
        found = check_board(place)
        begin = max([0, *(end for end in life.ends[2] if end <= at)])
        assert [(one.offset, one.when) for one in found.damage] == [(begin, "since the pull")], at
        assert found.rows == (120 if begin == 0 else 90)
        report, rows = review(place)
        assert report["damaged_bytes"] > 0 or begin == 0
        assert len(rows) == found.rows or begin == 0
        assert report["lost_rows"] == found.lost_rows or begin == 0


def test_rot_beside_damage_that_was_pulled(tmp_path: Path, life: Life) -> None:
    place = life.pull(tmp_path / BOARD)
    hurt(place, 2, life.ends[2][1] + 8)
    checksums.keep(place, checksums.of(2, archive.segment_path(place, 2).read_bytes()))
    hurt(place, 2, life.ends[2][4] + 8)
    assert [damage.when for damage in check_board(place).damage] == ["before the pull", "since the pull"]


def test_rot_inside_damage_that_was_pulled(tmp_path: Path, life: Life) -> None:
    place = life.pull(tmp_path / BOARD)
    at = life.ends[2][1] + 8
    hurt(place, 2, at)
    checksums.keep(place, checksums.of(2, archive.segment_path(place, 2).read_bytes()))
    hurt(place, 2, at + 3)
    found = check_board(place)
    assert [damage.when for damage in found.damage] == ["before the pull"]
    (problem,) = found.problems
    assert "changed since the pull, where it was damaged already" in problem


def test_cut_off_and_gone_and_empty(tmp_path: Path, life: Life) -> None:
    place = life.pull(tmp_path / BOARD)
    path = archive.segment_path(place, 2)
    path.write_bytes(path.read_bytes()[: life.ends[2][3]])  # at a frame's end: what is left is whole
    archive.segment_path(place, 4).unlink()
    archive.segment_path(place, 5).write_bytes(b"")
    found = check_board(place)
    assert [(one.segment, one.what, one.when) for one in found.damage] == [
        (2, "cut off", "since the pull"), (5, "cut off", "since the pull")]  # fmt: skip
    assert sum(one.length for one in found.damage) == len(life.segments[2]) - life.ends[2][3] + len(life.segments[5])
    assert found.problems == ["00000004.seg: was pulled, and is gone"]
    assert "00000005.seg: empty" in found.notes
    assert told(tmp_path)[0] == 1


def test_numbers_that_were_never_pulled_are_no_damage(tmp_path: Path, life: Life) -> None:
    """The ring gives up the oldest: rows are lost and told, but nothing here is damaged."""
    for number in (1, 3):
        del life.segments[number]
    place = life.pull(tmp_path / BOARD)
    found = check_board(place)
    assert not found.damaged
    assert found.lost_rows == 420
    assert [note for note in found.notes if "no segment 3" in note]
    assert told(tmp_path)[0] == 0


def test_gaps_within_a_boot(tmp_path: Path) -> None:
    life = Life()
    life.start()
    life.run(330)
    life.t_s += 60  # nothing was written, nothing lost
    life.run(90)
    life.t_s += 9
    life.run(30)
    place = life.pull(tmp_path / BOARD)
    (gap,) = check_board(place).gaps
    assert (gap.boot, gap.start_s, gap.length_s, gap.rows, gap.why) == (1, 332.0, 61.0, 0, "nothing was written")


def test_other_files_two_boards_and_damaged_lists(tmp_path: Path, life: Life) -> None:
    place = life.pull(tmp_path / BOARD)
    season(1, board=OTHER).pull(tmp_path / OTHER, keep=False)
    (place / "00000007.part").write_bytes(b"half")
    (place / "notes.txt").write_text("mine")
    anchors.append(place, Anchor(3, 422.0, 1.71e9, 1.0, 3600))
    two, one = check(tmp_path)
    assert (two.board, one.board) == (OTHER, BOARD)
    assert two.notes == ["no checksum of segment 1 to 2: rot cannot be told from damage on the board"]
    assert [note.split(":")[0] for note in one.notes] == ["00000007.part", "notes.txt"]
    code, shown = told(tmp_path, "--json")
    document = json.loads(shown, parse_constant=lambda name: pytest.fail(name))
    assert (code, [board["board"] for board in document["boards"]]) == (0, [OTHER, BOARD])
    assert document["boards"][1]["boots"][2]["how"] == "anchored"
    assert document["boards"][1]["boots"][2]["first_row_at"].endswith("+01:00")
    lines = (place / checksums.FILE).read_text()
    (place / checksums.FILE).write_text(lines.replace('"bytes": 1', '"bytes": 2', 1))
    (problem,) = check_board(place).problems
    assert "1 damaged lines" in problem


def test_segments_in_the_wrong_place(tmp_path: Path, life: Life) -> None:
    place = life.pull(tmp_path / BOARD)
    (place / "00000009.seg").write_bytes(life.segments[2])
    (place / "00000010.seg").write_bytes(season(1, board=OTHER).segments[1])
    found = check_board(place)
    assert len(found.problems) == 2
    assert f"00000010.seg of {OTHER}" in found.problems[0] or f"of {OTHER}" in found.problems[0]
    assert "00000009.seg: its 210 rows are left out: it holds segment 2, not 9" in found.problems[1]
    (place / "00000010.seg").unlink()
    (place / "00000009.seg").write_bytes(b"what is this")
    found = check_board(place)
    assert [(one.segment, one.what) for one in found.damage] == [(9, "everything")]
    assert found.rows == 1260


def test_a_journal_of_a_version_to_come_is_told(tmp_path: Path) -> None:
    golden = Path(__file__).parents[1] / "golden" / "v1" / "damaged.seg"
    place = tmp_path / BOARD
    place.mkdir()
    (place / "00000001.seg").write_bytes(golden.read_bytes())
    found: Checked = check_board(place)
    assert sum("of no form this Underdash reads" in problem for problem in found.problems) >= 2
    assert sum("cannot be read" in problem for problem in found.problems) >= 1


def test_nothing_to_check(tmp_path: Path) -> None:
    for name, said in (("nowhere", "no such file"), ("", "no journal segments")):
        done = CliRunner().invoke(main, ["archive", "check", str(tmp_path / name)])
        assert (done.exit_code, said in done.stderr, done.stdout) == (2, True, "")


SEASON = season(2, 120)
LINES = [*(checksums.of(n, bytes(one)).record() for n, one in SEASON.segments.items()), {"boot": 1, "uptime_s": 5.0}]


@given(
    st.dictionaries(st.integers(1, 4), st.tuples(st.integers(0, 600), st.binary(max_size=40)), max_size=3),
    st.sampled_from([checksums.FILE, anchors.FILE]),
    st.lists(st.one_of(st.binary(max_size=60), st.sampled_from([records.sealed(one).encode() for one in LINES]))),
)
@settings(max_examples=150, deadline=None)
def test_whatever_stands_in_the_files_a_report_comes_of_it(
    tmp_path_factory: pytest.TempPathFactory,
    written: dict[int, tuple[int, bytes]],
    name: str,
    lines: list[bytes],
) -> None:
    place = SEASON.pull(tmp_path_factory.mktemp("any") / BOARD)
    changed = False
    for number, (at, some) in written.items():
        path = archive.segment_path(place, number)
        content = path.read_bytes()
        path.write_bytes(content[:at] + some + content[at + len(some) :])
        changed |= path.read_bytes() != content
    if lines:
        (place / name).write_bytes(b"\n".join(lines))
    found = check_board(place)
    json.dumps(found.as_dict(), allow_nan=False)
    text.checked(found)
    assert found.damaged or not changed
    assert found.rows <= 240
