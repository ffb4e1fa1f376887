"""Merging: whatever two computers hold of one board comes together, and nothing that contradicts it is lost."""

import random
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.journals import BOARD, Life, contents, season
from underdash import archive
from underdash.archive import anchors, checksums, merge
from underdash.archive.anchors import Anchor
from underdash.archive.check import check_board
from underdash.archive.merge import serves
from underdash.cli.app import main
from underdash.problems import DataError, UsageError

OTHER = "00000000000000b2"


def flipped(content: bytes, place: int, bit: int = 1) -> bytes:
    changed = bytearray(content)
    changed[place] ^= bit
    return bytes(changed)


def rot(place: Path, number: int, at: int) -> None:
    path = archive.segment_path(place, number)
    path.write_bytes(flipped(path.read_bytes(), at))


@pytest.fixture
def life() -> Life:
    return season(3)


def test_into_nothing_and_again_nothing(tmp_path: Path, life: Life) -> None:
    place = life.pull(tmp_path / "laptop" / BOARD)
    anchors.append(place, Anchor(2, 400.0, 1.7e9, 1.0, 0))
    (place / "board.json").write_text('{"board": "x"}')
    before = contents(tmp_path / "laptop")
    (done,) = merge.merge(tmp_path / "home", [tmp_path / "laptop"])
    assert (done.added, done.anchors, done.refused) == ([1, 2, 3, 4, 5, 6], 1, [])
    assert contents(tmp_path / "home") == before == contents(tmp_path / "laptop")
    stamps = {path: path.stat().st_mtime_ns for path in (tmp_path / "home").rglob("*")}
    (again,) = merge.merge(tmp_path / "home", [tmp_path / "laptop"])
    assert (again.changes, again.same) == (False, 6)
    assert {path: path.stat().st_mtime_ns for path in (tmp_path / "home").rglob("*")} == stamps


def test_the_longer_of_two_copies_stays_on_either_side(tmp_path: Path) -> None:
    early, late = Life(), Life()
    for one, seconds in ((early, 90), (late, 300)):
        one.start()
        one.run(seconds)
    early.pull(tmp_path / "early" / BOARD)
    late.pull(tmp_path / "late" / BOARD)
    for name, order in (("one", ("early", "late")), ("two", ("late", "early"))):
        merge.merge(tmp_path / name, [tmp_path / source for source in order])
        assert (tmp_path / name / BOARD / "00000001.seg").read_bytes() == late.segments[1]
        assert not check_board(tmp_path / name / BOARD).damaged
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


def test_a_dry_run_says_the_same_and_writes_nothing(tmp_path: Path, life: Life) -> None:
    life.pull(tmp_path / "laptop" / BOARD)
    short = life.pull(tmp_path / "home" / BOARD)
    for number in (5, 6):
        archive.segment_path(short, number).unlink()
    path = archive.segment_path(short, 4)
    path.write_bytes(path.read_bytes()[: life.ends[4][2]])
    rot(short, 2, 300)
    before = contents(tmp_path / "home")
    sources = [tmp_path / "laptop", tmp_path / "laptop"]
    told = [vars(done) for done in merge.merge(tmp_path / "home", sources, dry_run=True)]
    assert contents(tmp_path / "home") == before
    assert [vars(done) for done in merge.merge(tmp_path / "home", sources)] == told
    assert (told[0]["added"], told[0]["grown"], told[0]["mended"], told[0]["same"]) == ([5, 6], [4], [2], 2)
    assert told[1]["same"] == 6
    assert not (tmp_path / "nowhere").exists()
    merge.merge(tmp_path / "nowhere", [tmp_path / "laptop"], dry_run=True)
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("where", ["header", "middle", "last"])
def test_the_whole_copy_stays_instead_of_the_damaged(tmp_path: Path, life: Life, where: str) -> None:
    life.pull(tmp_path / "whole" / BOARD)
    hurt = life.pull(tmp_path / "hurt" / BOARD)
    rot(hurt, 3, {"header": 20, "middle": life.ends[3][2] + 9, "last": len(life.segments[3]) - 1}[where])
    merge.merge(tmp_path / "one", [tmp_path / "whole", tmp_path / "hurt"])
    (_, second) = merge.merge(tmp_path / "two", [tmp_path / "hurt", tmp_path / "whole"])
    assert second.mended == [3]
    assert contents(tmp_path / "one") == contents(tmp_path / "two") == contents(tmp_path / "whole")


def test_another_life_of_the_board_is_refused_whole_and_nothing_is_lost(tmp_path: Path, life: Life) -> None:
    home = life.pull(tmp_path / "home" / BOARD)
    anchors.append(home, Anchor(3, 400.0, 1.7e9, 1.0, 0))
    erased = season(5, offset_mv=40)
    second = erased.pull(tmp_path / "second" / BOARD)
    anchors.append(second, Anchor(1, 400.0, 1.71e9, 1.0, 0))
    before = contents(tmp_path)
    (done,) = merge.merge(tmp_path / "home", [tmp_path / "second"])
    assert contents(tmp_path) == before
    assert len(done.refused) == 6  # those that both have; 7 to 10 are not mixed in either
    for number, line in enumerate(done.refused, 1):
        assert f"{archive.segment_path(home, number)} and {archive.segment_path(second, number)}" in line
        assert "another life" in line and "archive of its own" in line
    shown = CliRunner().invoke(main, ["archive", "merge", str(tmp_path / "home"), str(tmp_path / "second")])
    assert shown.exit_code == 1
    assert shown.stderr.count("underdash: ") == 6


def test_another_life_without_a_common_segment_is_refused_by_its_boots(tmp_path: Path, life: Life) -> None:
    home = life.pull(tmp_path / "home" / BOARD)
    for number in (1, 2):  # the ring had given them up
        archive.segment_path(home, number).unlink()
    second = Life(offset_mv=40, boot=3)
    for _ in range(2):
        second.start()
    second.run(300)
    place = second.pull(tmp_path / "second" / BOARD)
    archive.segment_path(place, 1).unlink()
    before = contents(tmp_path / "home")
    (done,) = merge.merge(tmp_path / "home", [tmp_path / "second"])
    assert len(done.refused) == 1 and "do not count on" in done.refused[0]
    assert contents(tmp_path / "home") == before


def test_two_damaged_copies_that_cannot_serve_for_each_other(tmp_path: Path, life: Life) -> None:
    one, two = life.pull(tmp_path / "one" / BOARD), life.pull(tmp_path / "two" / BOARD)
    rot(one, 2, life.ends[2][0] + 20)
    rot(two, 2, life.ends[2][3] + 20)
    archive.segment_path(one, 6).unlink()
    before = contents(tmp_path / "one")
    (done,) = merge.merge(tmp_path / "one", [tmp_path / "two"])
    (line,) = done.refused
    assert str(archive.segment_path(one, 2)) in line and str(archive.segment_path(two, 2)) in line
    assert "pull the board once more" in line
    assert done.added == [6]  # the rest is not held up by it
    after = contents(tmp_path / "one")
    assert {name: after[name] for name in before if name.endswith(".seg")} == {
        name: content for name, content in before.items() if name.endswith(".seg")
    }
    life.pull(tmp_path / "three" / BOARD)
    merge.merge(tmp_path / "one", [tmp_path / "three"])
    assert contents(tmp_path / "one") == contents(tmp_path / "three")


def test_a_segment_under_anothers_name_is_left_out(tmp_path: Path, life: Life) -> None:
    place = life.pull(tmp_path / "laptop" / BOARD)
    archive.segment_path(place, 6).rename(archive.segment_path(place, 9))
    (done,) = merge.merge(tmp_path / "home", [tmp_path / "laptop"])
    assert done.added == [1, 2, 3, 4, 5]
    (line,) = done.refused
    assert "00000009.seg: not merged: it holds segment 6, not 9" in line and "rename it to 00000006.seg" in line
    archive.segment_path(place, 9).rename(archive.segment_path(place, 6))
    (again,) = merge.merge(tmp_path / "home", [tmp_path / "laptop"])
    assert (again.added, again.refused) == ([6], [])


def test_a_copy_under_anothers_name_is_no_other_life(tmp_path: Path, life: Life) -> None:
    """Here or there it costs its own number, and the rest is merged; nothing is written over it."""
    for at, number in (("laptop", 3), ("home", 5)):
        place = life.pull(tmp_path / at / BOARD)
        archive.segment_path(place, number).write_bytes(life.segments[2])
    archive.segment_path(tmp_path / "home" / BOARD, 6).unlink()
    for dry_run in (True, False):
        (done,) = merge.merge(tmp_path / "home", [tmp_path / "laptop"], dry_run)
        assert (done.added, done.same) == ([6], 3)
        assert [line.split(":")[0] for line in done.refused] == [
            str(archive.segment_path(tmp_path / "laptop" / BOARD, 3)),
            str(archive.segment_path(tmp_path / "home" / BOARD, 5)),
        ]
    after = contents(tmp_path / "home" / BOARD)
    assert [after[f"{number:08d}.seg"] for number in range(1, 7)] == [
        bytes(life.segments[number]) for number in (1, 2, 3, 4, 2, 6)
    ]


def test_merging_does_not_hide_rot(tmp_path: Path, life: Life) -> None:
    """A copy that has rotted, and a shorter one from before: the longer stays, and what was pulled is still known."""
    hurt = life.pull(tmp_path / "hurt" / BOARD)
    rot(hurt, 6, len(life.segments[6]) - 5)
    early = life.pull(tmp_path / "early" / BOARD)
    short = bytes(life.segments[6][: life.ends[6][1]])
    archive.segment_path(early, 6).write_bytes(short)
    checksums.keep(early, checksums.of(6, short))
    checksums.write(
        early, [checksums.of(number, path.read_bytes()) for number, path in archive.numbered(early).items()]
    )
    for order in (("hurt", "early"), ("early", "hurt")):
        into = tmp_path / "-".join(order)
        merge.merge(into, [tmp_path / name for name in order])
        (damage,) = check_board(into / BOARD).damage
        assert (damage.segment, damage.when) == (6, "since the pull")


def test_two_boards_stay_apart_whatever_their_folders_are_called(tmp_path: Path, life: Life) -> None:
    life.pull(tmp_path / "laptop" / "my car")
    season(1, board=OTHER).pull(tmp_path / "laptop" / OTHER)
    merge.merge(tmp_path / "home", [tmp_path / "laptop" / "my car", tmp_path / "laptop" / OTHER])
    assert sorted(path.name for path in (tmp_path / "home").iterdir()) == [OTHER, BOARD]
    assert merge.merge(tmp_path / "laptop", [tmp_path / "home"])[1].folder == tmp_path / "laptop" / "my car"
    season(1, board=OTHER).pull(tmp_path / "swapped" / BOARD)
    before = contents(tmp_path / "swapped")
    with pytest.raises(DataError, match=f"holds board {OTHER}; give that folder the name"):
        merge.merge(tmp_path / "swapped", [tmp_path / "laptop" / "my car"])
    assert contents(tmp_path / "swapped") == before
    life.pull(tmp_path / "mixed")
    (tmp_path / "mixed" / "00000009.seg").write_bytes(season(1, board=OTHER).segments[1])
    with pytest.raises(DataError, match=f"2 boards.*{OTHER}.*{BOARD}.*folder of its own"):
        merge.merge(tmp_path / "home", [tmp_path / "mixed"])


def test_other_files_are_left_where_they_are(tmp_path: Path, life: Life) -> None:
    place = life.pull(tmp_path / "laptop" / BOARD)
    for name in ("notes.txt", "00000007.part", "copy of 1.seg", "1.seg"):
        (place / name).write_bytes(b"something")
    (done,) = merge.merge(tmp_path / "home", [tmp_path / "laptop"])
    assert sorted(contents(tmp_path / "home" / BOARD)) == [*(f"0000000{n}.seg" for n in range(1, 7)), checksums.FILE]
    (line,) = done.left_out
    assert "00000007.part" in line and "pull again" in line


@pytest.mark.parametrize(("into", "source", "said"), [
    ("laptop/7d5e0000c0ffee01", "laptop", "is a board's folder"),
    ("laptop", "laptop", "merged into itself"),
    ("home", "nothing", "no such file or folder"),
    ("home", "empty", "no journal segments"),
    ("home", "file", "is a file"),
    ("file", "laptop", "is a file, not a folder"),
])  # fmt: skip
def test_what_cannot_be_meant(tmp_path: Path, life: Life, into: str, source: str, said: str) -> None:
    life.pull(tmp_path / "laptop" / BOARD)
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("")
    before = contents(tmp_path)
    done = CliRunner().invoke(main, ["archive", "merge", str(tmp_path / into), str(tmp_path / source)])
    assert done.exit_code == 2
    assert said in done.stderr and done.stderr.count("\n") == 1
    assert contents(tmp_path) == before
    if "board" in said:
        with pytest.raises(UsageError):
            merge.merge(tmp_path / into, [tmp_path / source])


def test_interrupted_at_any_write_every_file_is_whole_and_the_next_merge_finishes(
    tmp_path: Path, life: Life, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = life.pull(tmp_path / "laptop" / BOARD)
    anchors.append(place, Anchor(3, 400.0, 1.7e9, 1.0, 0))
    wanted = contents(tmp_path / "laptop")
    real = Path.replace
    for allowed in range(8):
        home = tmp_path / f"home{allowed}"
        earlier = life.pull(home / BOARD)
        path = archive.segment_path(earlier, 5)
        path.write_bytes(path.read_bytes()[: life.ends[5][1]])
        checksums.keep(earlier, checksums.of(5, path.read_bytes()))
        checksums.write(earlier, [checksums.of(n, p.read_bytes()) for n, p in archive.numbered(earlier).items()])
        archive.segment_path(earlier, 6).unlink()
        started = contents(home)
        left = [allowed]

        def stop(self: Path, target: Path, left: list[int] = left) -> Path:
            if left[0] == 0:
                raise OSError(28, "No space left on device")
            left[0] -= 1
            return real(self, target)

        with monkeypatch.context() as patched:
            patched.setattr(Path, "replace", stop)
            done = CliRunner().invoke(main, ["archive", "merge", str(home), str(tmp_path / "laptop")])
        if allowed < 4:  # two segments, the checksums, the anchors
            assert done.exit_code == 1 and "No space left" in done.stderr
        now = contents(home)
        for name, content in now.items():
            assert content in (started.get(name), wanted.get(name)), name
        assert not check_board(home / BOARD).damage  # a segment that is ahead of its checksum is no rot
        merge.merge(home, [tmp_path / "laptop"])
        assert contents(home) == wanted


SEASON = season(2, 240)


@st.composite
def copies(draw: st.DrawFn) -> list[dict[int, bytes]]:
    """What several computers hold of one life: pulled at different times, rotted here and there; one holds it whole."""
    made = [{number: bytes(content) for number, content in SEASON.segments.items()}]
    for _ in range(draw(st.integers(1, 4))):
        last = draw(st.integers(1, 4))
        held = {n: bytes(content) for n, content in SEASON.segments.items() if n <= last}
        held[last] = held[last][: draw(st.sampled_from(SEASON.ends[last]))]
        for number in draw(st.sets(st.sampled_from(sorted(held)))):
            for _ in range(draw(st.integers(1, 3))):
                at = draw(st.integers(0, len(held[number]) - 1))
                held[number] = flipped(held[number], at, draw(st.sampled_from([1, 128, 255])))
            if draw(st.booleans()):
                held[number] = held[number][: draw(st.integers(0, len(held[number])))]
        made.append(held)
    return made


@given(copies(), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_the_order_of_merging_does_not_matter(
    tmp_path_factory: pytest.TempPathFactory, made: list[dict[int, bytes]], chance: random.Random
) -> None:
    root = tmp_path_factory.mktemp("order")
    for index, held in enumerate(made):
        place = root / str(index) / BOARD
        place.mkdir(parents=True)
        for number, content in held.items():
            archive.segment_path(place, number).write_bytes(content)
        # As pulled, before it rotted: the same bytes up to some frame's end.
        pulled = [
            checksums.of(n, bytes(SEASON.segments[n])[: max(_ends(n, len(content)))]) for n, content in held.items()
        ]
        checksums.write(place, pulled)
        anchors.append(place, Anchor(1 + index % 2, 100.0 + index, 1.7e9 + index, 1.0, 0))
    outcomes = []
    for attempt in range(3):
        order = list(range(len(made)))
        chance.shuffle(order)
        into = root / f"into{attempt}"
        if attempt == 2:  # some of them joined elsewhere first
            merge.merge(root / "between", [root / str(index) for index in order[:2]])
            merge.merge(into, [root / str(index) for index in order[2:]] + [root / "between"])
        else:
            merge.merge(into, [root / str(index) for index in order])
        outcomes.append(contents(into))
        again = merge.merge(into, [root / str(index) for index in order])
        assert not any(done.changes for done in again)
    assert outcomes[0] == outcomes[1] == outcomes[2]
    for number, content in SEASON.segments.items():
        assert outcomes[0][f"{BOARD}/{number:08d}.seg"] == content


def _ends(number: int, length: int) -> list[int]:
    return [end for end in SEASON.ends[number] if end <= length] or SEASON.ends[number][:1]


TORN = bytes(SEASON.segments[1])


@st.composite
def torn(draw: st.DrawFn) -> bytes:
    held = TORN[: draw(st.integers(0, len(TORN)))]
    for _ in range(draw(st.integers(0, 2))):
        if held:
            held = flipped(held, draw(st.sampled_from([0, 30, 300, 400, len(held) - 1])) % len(held), 4)
    return held


@given(torn(), torn(), torn())
@settings(max_examples=500, deadline=None)
def test_serving_for_is_an_order(one: bytes, two: bytes, three: bytes) -> None:
    def serve(copy: bytes, other: bytes) -> bool:
        return serves(copy, checksums.damaged(copy), other, checksums.damaged(other))

    assert serve(one, one)
    assert not (serve(one, two) and serve(two, one)) or one == two
    assert serve(three, one) or not (serve(two, one) and serve(three, two))


def test_serving_for_is_not_vacuous() -> None:
    hurt = flipped(TORN, 300)
    assert serves(TORN, (), hurt, checksums.damaged(hurt))
    assert not serves(hurt, checksums.damaged(hurt), TORN, ())
    assert not serves(TORN[:-30], checksums.damaged(TORN[:-30]), hurt, checksums.damaged(hurt))
