"""A journal read into arrays says what reading it a row at a time says, whatever befell it."""

import random
from pathlib import Path

import numpy as np
import pytest
from one_by_one import Reading, read
from pieces import drive, header, rows_frame, seal

from chargecore import engine, frames, thresholds
from chargecore.units import ABSENT
from underdash.problems import DataError
from underdash.review.rows import Account, Rows, from_segments
from underdash.review.stepped import stepped


def journal(chance: random.Random, boots: int = 3) -> tuple[list[bytes], int]:
    """(segments of some boots, how many rows): each one to three segments with up to five frames, the key known
    in some. Some segments are missing, some rows come twice, some numbers jump."""
    segments: list[bytes] = []
    number = rows = t_ms = 0
    for boot in range(1, boots + 1):
        judge = engine.Engine(thresholds.Thresholds())
        t_ms = 0 if chance.random() < 0.7 else t_ms + 5000
        for _ in range(chance.randrange(1, 4)):
            packed = header(len(segments) + 1, boot, number, judge)
            for _ in range(chance.randrange(6)):
                judge.key = chance.choice((ABSENT, ABSENT, 0, 1))
                made = drive(chance, judge, t_ms, chance.randrange(1, 40))
                t_ms = made[-1][0]
                packed += rows_frame(number, made, judge.key)
                if chance.random() < 0.05:
                    packed += rows_frame(number, made, judge.key)
                if chance.random() < 0.05:
                    number += chance.randrange(5)
                number += len(made)
                rows += len(made)
            segments.append(packed)
            if chance.random() < 0.1:
                number = max(0, number - chance.randrange(30))
    return [one for one in segments if chance.random() < 0.9] or segments[:1], rows


def spoil(chance: random.Random, segment: bytes) -> bytes:
    """Damage of any kind, at times with a right checksum."""
    data = bytearray(segment)
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
            data = bytearray(_reseal(chance, bytes(data)))
    return bytes(data)


def _reseal(chance: random.Random, segment: bytes) -> bytes:
    """Another byte in one frame, its checksum made right again; or a frame of a kind yet unknown."""
    whole = [(kind, payload, at) for kind, payload, at in frames.scan(segment) if kind and payload]
    if not whole:
        return segment + seal(9, b"of the future")
    kind, payload, at = chance.choice(whole)
    other = bytearray(payload)
    other[chance.randrange(min(len(other), 14))] = chance.randrange(256)
    return segment[:at] + seal(kind, bytes(other)) + segment[at + len(payload) + frames.OVERHEAD :]


def store(folder: Path, segments: list[bytes]) -> list[Path]:
    paths = []
    for index, segment in enumerate(segments):
        paths.append(folder / f"{index:08d}.seg")
        paths[-1].write_bytes(segment)
    return paths


def hold_against(rows: Rows, account: Account, expected: Reading) -> None:
    assert account.board == (next(iter(expected.boards)).hex() if expected.boards else "unknown")
    for name in ("lost_rows", "damaged_bytes", "refused_frames", "unchecked_rows", "mismatches"):
        assert getattr(account, name) == getattr(expected, name), name
    assert len(account.mismatch_examples) == min(expected.mismatches, 3)
    assert len(rows) == len(expected.rows)
    columns = list(zip(*expected.rows, strict=True)) or [()] * 9
    for name, column in zip(
        ("boot", "t_s", "low", "volts", "high", "amps", "state", "warnings", "since_s"), columns, strict=True
    ):
        wanted = np.array(column, dtype=np.float64)
        if name not in ("boot", "state", "warnings"):
            wanted = np.where(wanted == ABSENT, np.nan, wanted / 1000.0)
        assert np.array_equal(getattr(rows, name), wanted, equal_nan=True), name
    beside = np.array(expected.beside, np.int64).reshape(-1, 4).T
    for name, wanted in zip(("number", "key", "checked", "segment"), beside, strict=True):
        assert np.array_equal(getattr(rows, name), wanted), name


@pytest.mark.parametrize("seed", range(150))
def test_the_same_as_a_row_at_a_time(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    segments, count = journal(chance)
    if seed % 3:
        segments = [spoil(chance, segment) for segment in segments]
    paths = store(tmp_path, segments)
    expected = read(paths)
    if (
        len(expected.boards) > 1
        or not (expected.boards or expected.rows)
        or (not expected.boards and expected.refused_headers)
    ):
        with pytest.raises(DataError, match=r"of board|beyond reading|newer Underdash"):
            from_segments(paths)
        return
    hold_against(*from_segments(paths), expected)
    hold_against(*from_segments(paths, stepped), expected)
    if seed % 3 == 0:
        assert expected.damaged_bytes == expected.refused_frames == 0
        assert len(expected.rows) <= count


def plain(count: int, t_ms: int = 0, judge: engine.Engine | None = None) -> list:
    """Rows of a charging car, second by second, decided as by a board."""
    judge = judge or engine.Engine(thresholds.Thresholds())
    rows = []
    for _ in range(count):
        t_ms += 1000
        judge.step(t_ms, 13780, 13800, 13820, 3000)
        rows.append((t_ms, 13780, 13800, 13820, 3000, judge.state, judge.warnings))
    return rows


def test_a_clean_journal_is_all_checked(tmp_path: Path) -> None:
    judge = engine.Engine(thresholds.Thresholds())
    first = header(1, 7, 0) + rows_frame(0, plain(50, 0, judge))
    second = header(2, 7, 50, judge) + rows_frame(50, plain(50, 50_000, judge))
    rows, account = from_segments(store(tmp_path, [first, second]))
    assert (len(rows), account.unchecked_rows, account.lost_rows, account.mismatches) == (100, 0, 0, 0)
    assert set(rows.boot.tolist()) == {7}
    assert rows.state[-1] == engine.CHARGING and rows.since_s[-1] == judge.since_ms / 1000


def test_a_refused_frame_costs_its_own_rows_only(tmp_path: Path) -> None:
    rows = plain(30)
    cut = rows_frame(10, rows[10:20])[4:-4][:-6]
    data = header(1, 1, 0) + rows_frame(0, rows[:10]) + seal(2, cut) + rows_frame(20, rows[20:])
    found, account = from_segments(store(tmp_path, [data]))
    assert (account.refused_frames, account.lost_rows, account.unchecked_rows) == (1, 10, 10)
    assert found.t_s.tolist() == [row[0] / 1000 for row in rows[:10] + rows[20:]]


def test_a_refused_header_costs_no_rows(tmp_path: Path) -> None:
    newer = seal(1, b"\x02" + header(2, 1, 10)[5:-4])
    rows = plain(20)
    segments = [header(1, 1, 0) + rows_frame(0, rows[:10]), newer + rows_frame(10, rows[10:])]
    found, account = from_segments(store(tmp_path, segments))
    assert (len(found), account.refused_frames, account.unchecked_rows) == (20, 1, 10)
    with pytest.raises(DataError, match="journal format 2, not 1; a newer Underdash may read it"):
        from_segments(store(tmp_path, [newer]))


@pytest.mark.parametrize(("t_ms", "boot"), [(10_000, 4), (0, 5)])
def test_rows_of_a_damaged_header_belong_where_their_clock_goes_on(tmp_path: Path, t_ms: int, boot: int) -> None:
    """Behind the last row of boot 4, at 10 s."""
    broken = header(2, 5, 10)[:-1] + b"\x00"
    segments = [header(1, 4, 0) + rows_frame(0, plain(10)), broken + rows_frame(10, plain(10, t_ms))]
    found, account = from_segments(store(tmp_path, segments))
    assert found.boot.tolist() == [4] * 10 + [boot] * 10
    assert (account.unchecked_rows, account.lost_rows, account.damaged_bytes) == (10, 0, len(broken))


@pytest.mark.parametrize(("t_ms", "boot"), [(10_000, 4), (0, 3)])
def test_rows_before_the_first_readable_header(tmp_path: Path, t_ms: int, boot: int) -> None:
    segments = [rows_frame(0, plain(10)), header(2, 4, 10) + rows_frame(10, plain(10, t_ms))]
    found, account = from_segments(store(tmp_path, segments))
    assert found.boot.tolist() == [boot] * 10 + [4] * 10
    assert account.unchecked_rows == 10


def test_a_verdict_the_desk_does_not_share_is_told(tmp_path: Path) -> None:
    rows = [(*row[:5], 7, row[6]) for row in plain(5)]
    _, account = from_segments(store(tmp_path, [header(1, 1, 0) + rows_frame(0, rows)]))
    assert account.mismatches == 5
    assert account.mismatch_examples[0] == "1.0 s: board state 7, desk no verdict"
    assert len(account.mismatch_examples) == 3


def test_no_header_and_two_boards_are_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="not an Underdash journal, or damaged beyond reading; pull it again"):
        from_segments(store(tmp_path, [b"", rows_frame(0, plain(5))[:-1], b"something else"]))
    with pytest.raises(DataError, match="is of board 3837363534333231, the files before it of 3132333435363738"):
        from_segments(store(tmp_path, [header(1, 1, 0), header(2, 2, 0, board=b"87654321")]))


def test_a_journal_without_rows_is_empty(tmp_path: Path) -> None:
    rows, account = from_segments(store(tmp_path, [header(1, 1, 0), b""]))
    assert len(rows) == 0 and account.lost_rows == account.damaged_bytes == 0
