"""The check reads frames and rows in arrays; what it tells is what a row at a time tells, whatever befell the files."""

import random
import re
from pathlib import Path
from zlib import crc32

import pytest

from archive.journals import BOARD, Life
from archive.plainly import account
from chargecore import frames
from chargecore.units import ABSENT
from underdash import archive
from underdash.archive.check import check_board

UNREADABLE = re.compile(r"(\S+): the frame at byte (\d+) is whole but (?:of no form|cannot be read: (.*))")


def eventful(chance: random.Random) -> Life:
    """Some boots with holes in time, jumps in the numbers, rows that come twice, empty segments and frames."""
    life = Life(clamp=chance.randrange(2), blind=chance.random() < 0.3)
    for _ in range(chance.randrange(1, 4)):
        life.start(t_s=chance.choice((2, 2, 30)))
        for _ in range(chance.randrange(1, 4)):
            for _ in range(chance.randrange(4)):
                life.run(chance.randrange(60), chance.choice((1, 10, 30)), chance.choice((ABSENT, 0, 1)))
                life.t_s += chance.choice((0, 0, 0, 9, 10, 70, 400))
                life.row = max(0, life.row + chance.choice((0, 0, 0, 0, 5, 60, -7, -80)))
            if chance.random() < 0.6:
                life.open()
    for number in list(life.segments):
        if len(life.segments) > 1 and chance.random() < 0.1:
            del life.segments[number]
    return life


def spoil(chance: random.Random, data: bytearray) -> None:
    """Damage of any kind, at times with a right checksum."""
    for _ in range(chance.choice((0, 0, 1, 2, 5))):
        at = chance.randrange(len(data) + 1)
        what = chance.randrange(6)
        if what == 0 and at < len(data):
            data[at] ^= 1 << chance.randrange(8)
        elif what == 1:
            del data[at : at + chance.randrange(80)]
        elif what == 2:
            data[at:at] = chance.randbytes(chance.randrange(30))
        elif what == 3:
            del data[at:]
        else:
            reseal(chance, data)


def reseal(chance: random.Random, data: bytearray) -> None:
    """Another payload in one frame, its checksum made right again."""
    whole = [(kind, payload, at) for kind, payload, at in frames.scan(bytes(data)) if kind]
    if not whole:
        return
    kind, payload, at = chance.choice(whole)
    other = bytearray(payload[: chance.choice((len(payload), len(payload), chance.randrange(len(payload) + 1)))])
    if other:
        other[chance.randrange(min(len(other), 14))] = chance.randrange(256)
    body = bytes((frames.MARK, kind)) + len(other).to_bytes(2, "little") + other
    data[at : at + len(payload) + frames.OVERHEAD] = body + crc32(body).to_bytes(4, "little")


def spoilt(seed: int, place: Path) -> dict[int, Path]:
    """A board's folder of such a life, every fourth one undamaged: its segments by number."""
    chance = random.Random(seed)
    life = eventful(chance)
    life.pull(place, keep=chance.random() < 0.5)
    for number in life.segments if seed % 4 else ():
        data = bytearray(archive.segment_path(place, number).read_bytes())
        spoil(chance, data)
        archive.segment_path(place, number).write_bytes(data)
    return archive.numbered(place)


def own(paths: dict[int, Path]) -> list[Path]:
    return [path for number, path in paths.items() if archive.carried(path.read_bytes()) in (None, number)]


@pytest.mark.parametrize("seed", range(200))
def test_the_same_as_a_row_at_a_time(tmp_path: Path, seed: int) -> None:
    paths = spoilt(seed, tmp_path / BOARD)
    found = check_board(tmp_path / BOARD)
    if any("boards" in problem for problem in found.problems):
        return
    expected = account(own(paths))
    assert (found.rows, found.lost_rows) == (expected.rows, expected.lost_rows)
    assert [(gap.boot, gap.start_s, gap.length_s, gap.rows) for gap in found.gaps] == expected.gaps
    for gap in found.gaps:
        assert gap.why == (f"{gap.rows} rows are lost" if gap.rows else "nothing was written")
    told = [(one.segment, one.offset, one.length) for one in found.damage if one.what != "cut off"]
    assert told == [one for path in paths.values() for one in account([path]).damage]
    problems = [match.groups() for problem in found.problems if (match := UNREADABLE.match(problem))]
    wanted = [one for one in expected.unreadable if one[2]]
    wanted += [one for path in paths.values() for one in account([path]).unreadable if not one[2]]
    assert sorted((name, int(at), why or "") for name, at, why in problems) == sorted(wanted)


def test_the_spoilt_journals_have_everything_in_them(tmp_path: Path) -> None:
    """So that the test above means something."""
    found = [account(own(spoilt(seed, tmp_path / str(seed)))) for seed in range(100)]
    assert sum(bool(one.damage) for one in found) > 30
    assert sum(bool(one.lost_rows) for one in found) > 30
    assert sum(bool(why) for one in found for *_, why in one.unreadable) > 5
    assert sum(not why for one in found for *_, why in one.unreadable) > 5
    gaps = [gap for one in found for gap in one.gaps]
    assert sum(bool(missing) for *_, missing in gaps) > 30 and sum(not missing for *_, missing in gaps) > 30
