"""Many frames at once give what chargecore gives one by one, to the last value."""

import random
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from chargecore import frames
from chargecore.bits import BitWriter, Rice
from chargecore.units import ABSENT
from underdash.archive import lockstep
from underdash.archive.bitstreams import Streams, memory

COLUMNS = ("t_ms", "low_mv", "bus_mv", "high_mv", "clamp_ma", "state", "warnings")
HEAD_BYTES = 13

volts = st.one_of(st.integers(13700, 13900), st.integers(-4000, 63000))
bus = st.one_of(
    st.just((ABSENT,) * 3), volts.map(lambda mean: (mean,) * 3), st.tuples(volts, volts, volts).map(sorted).map(tuple)
)
amps = st.one_of(st.just(ABSENT), st.integers(-20, 20), st.integers(-20900, 20900)).map(
    lambda steps: steps if steps == ABSENT else 50 * steps
)
period = st.one_of(st.just(1000), st.integers(0, 65535))
a_row = st.tuples(period, bus, amps, st.sampled_from((3, 3, 3, 0, 1, 7)), st.sampled_from((0, 0, 1, 255)))
key = st.sampled_from((ABSENT, 0, 1))


@st.composite
def written(draw) -> bytes:
    """A frame as a board writes it."""
    frame = frames.RowsFrame(draw(st.integers(0, 1)))
    frame.start(draw(st.integers(0, 2**32 - 1)), draw(st.integers(0, 2**32 - 1)), draw(st.integers(0, 999)), draw(key))
    for dt_ms, (low_mv, bus_mv, high_mv), clamp_ma, state, warnings in draw(st.lists(a_row, max_size=25)):
        frame.add(dt_ms, low_mv, bus_mv, high_mv, clamp_ma, state, warnings)
    return bytes(frame.buffer[: frame.close()])[4:-4]


@st.composite
def made_up(draw) -> bytes:
    """A head with any options and a count of rows, and any bits behind it."""
    head = draw(st.binary(min_size=11, max_size=11)) + draw(st.integers(0, 60)).to_bytes(2, "little")
    return head + draw(st.binary(max_size=80))


@st.composite
def damaged(draw) -> bytes:
    """A frame with other bytes in it, or cut short, or with bytes behind it."""
    payload = bytearray(draw(written()))
    for _ in range(draw(st.integers(0, 3))):
        payload[draw(st.integers(0, len(payload) - 1))] = draw(st.integers(0, 255))
    return bytes(payload[: draw(st.integers(0, len(payload)))] + draw(st.binary(max_size=4)))


def one_by_one(payloads: list[bytes]) -> list[tuple[int, int, list[tuple]] | None]:
    """(key, number of the first row, rows) of each frame, None where it is refused."""
    found: list[tuple[int, int, list[tuple]] | None] = []
    for payload in payloads:
        try:
            found.append((frames.rows_key(payload), *frames.decode_rows(payload)))
        except ValueError:
            found.append(None)
    return found


def side_by_side(payloads: list[bytes]) -> list[tuple[int, int, list[tuple]] | None]:
    """The same by lockstep.decode."""
    decoded = lockstep.decode(payloads)
    rows = list(zip(*(getattr(decoded, name).tolist() for name in COLUMNS), strict=True))
    ends = np.cumsum(decoded.count).tolist()
    assert len(rows) == (ends[-1] if ends else 0)
    found: list[tuple[int, int, list[tuple]] | None] = []
    for index, (start, end) in enumerate(pairwise([0, *ends])):
        if decoded.refused[index]:
            assert start == end
            found.append(None)
        else:
            found.append((int(decoded.key[index]), int(decoded.first[index]), rows[start:end]))
    return found


@settings(max_examples=300, deadline=None)
@given(st.lists(st.one_of(written(), damaged(), made_up(), st.binary(max_size=20)), max_size=12))
@example([])
@example([b""])
@example([bytes(13)])
def test_the_same_rows_and_refusals_as_one_by_one(payloads: list[bytes]) -> None:
    assert side_by_side(payloads) == one_by_one(payloads)


def test_the_same_over_thousands_of_frames_and_over_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lockstep, "_BLOCK", 100)
    chance = random.Random(8)
    payloads = []
    for _ in range(2000):
        count = chance.choice((0, 1, 30, 60, 65535))
        head = chance.randbytes(11) + count.to_bytes(2, "little")
        # Mostly zero bits: rows without changes, and small numbers, so that frames get long before they end.
        bits = bytes(chance.choice((0, 0, 0, 129, 255, chance.randrange(256))) for _ in range(chance.randrange(600)))
        payloads.append(head + bits)
    found = side_by_side(payloads)
    assert found == one_by_one(payloads)
    assert found.count(None) > 200
    assert sum(len(frame[2]) for frame in found if frame) > 10_000


def test_the_longest_frames_there_can_be() -> None:
    """A bit a row (neither volts nor amps), and escapes as far as they carry."""
    writer = BitWriter(bytearray(frames.PAYLOAD_MAX))
    writer.start(HEAD_BYTES)
    for field, bits in ((1, 1), (65535, 16), (7, 3), (255, 8), (2, 3)):
        writer.put(field, bits)
    writer.finish()
    rows = 8 * (frames.PAYLOAD_MAX - HEAD_BYTES) - 30
    still = bytes(11) + rows.to_bytes(2, "little") + bytes(writer.buffer[HEAD_BYTES:])
    too_many = still[:11] + (rows + 1).to_bytes(2, "little") + still[13:]
    # Down and down, by the most that a number holds, in each stream alone.
    far = []
    for options, shape in ((0, 1), (1, 3)):
        writer = BitWriter(bytearray(frames.PAYLOAD_MAX + 32))
        writer.start(HEAD_BYTES)
        count = 0
        while writer.position < frames.PAYLOAD_MAX - 12:
            if count == 0:
                for field, bits in ((1, 1), (1000, 16), (3, 3), (0, 8), (shape, 3)):
                    writer.put(field, bits)
            else:
                writer.put(0, 1)
            writer.put(0xFFF, 12)
            writer.put(0xFFF, 12)
            writer.put(0xFFF, 12)
            count += 1
        head = bytes(10) + bytes((options,)) + count.to_bytes(2, "little")
        far.append(head + bytes(writer.buffer[HEAD_BYTES : writer.finish()]))
    found = side_by_side([still, too_many, *far])
    assert found == one_by_one([still, too_many, *far])
    assert found[0] is not None and found[1] is None
    assert found[0][2][-1] == (65535 * (rows - 1), ABSENT, ABSENT, ABSENT, ABSENT, 7, 255)
    assert found[2] is not None and found[2][2][-1][2] < -(2**30)
    assert found[3] is not None and found[3][2][-1][4] < -(2**36), "does not fit 32 bits"


def test_each_row_knows_its_frame_and_number() -> None:
    payloads = []
    for number, count in ((70, 3), (10, 0), (5, 2)):
        frame = frames.RowsFrame(0)
        frame.start(number, 1, 0)
        for _ in range(count):
            frame.add(1000, 13780, 13800, 13820, ABSENT, 3, 0)
        payloads.append(bytes(frame.buffer[: frame.close()])[4:-4])
    decoded = lockstep.decode([payloads[0], b"too short", *payloads[1:]])
    assert decoded.frame.tolist() == [0, 0, 0, 3, 3]
    assert decoded.number.tolist() == [70, 71, 72, 5, 6]
    assert decoded.refused.tolist() == [False, True, False, False]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.lists(st.integers(0, 2**24 - 1) | st.integers(0, 40), min_size=6, max_size=6), min_size=1))
def test_numbers_come_back_from_streams(numbers: list[list[int]]) -> None:
    data, at = b"", []
    for row in numbers:
        writer = BitWriter(bytearray(64))
        writer.start(0)
        rice = Rice(12)
        for number in row:
            rice.put(writer, number)
        at.append(8 * len(data))
        data += bytes(writer.buffer[: writer.finish()])
    streams, learnt = Streams(data, np.array(at)), memory(12, len(numbers))
    for column in zip(*numbers, strict=True):
        assert streams.numbers(slice(None), learnt).tolist() == list(column)
