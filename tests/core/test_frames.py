"""The journal's frames: what goes in comes out, and nothing else ever does."""

import binascii
import contextlib
import random
import re
from pathlib import Path

import journal_reader
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargecore import calibration, crc, frames, thresholds
from chargecore.units import ABSENT

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "journal-format.md"

# The volts and amps that a calibration at the ends of its ranges can give.
volts = st.one_of(st.integers(11000, 15000), st.integers(-4000, 63000))
spread = st.tuples(volts, volts, volts).map(sorted)
bus = st.one_of(st.just((ABSENT,) * 3), volts.map(lambda mean: (mean,) * 3), spread)
clamp = st.one_of(st.just(ABSENT), st.integers(-1000, 1000), st.integers(-20900, 20900)).map(
    lambda steps: steps if steps == ABSENT else steps * 50
)
period = st.one_of(st.just(1000), st.integers(1, 65535))
a_row = st.tuples(period, bus, clamp, st.integers(0, 7), st.integers(0, 255))
some_rows = st.lists(a_row, min_size=1, max_size=20)
STEADY = (1000, (13780, 13800, 13820), 3000, 3, 0)


def pack(rows, clamp_fitted: int = 1, number: int = 7, t_s: int = 100) -> tuple[bytes, list[tuple]]:
    """(the frame, the rows that should come back)."""
    frame = frames.RowsFrame(clamp_fitted)
    frame.start(number, t_s, 250)
    expected, t_ms = [], t_s * 1000 + 250
    for index, (dt_ms, (low, mean, high), clamp_ma, state, warnings) in enumerate(rows):
        t_ms += dt_ms if index else 0
        frame.add(dt_ms, low, mean, high, clamp_ma, state, warnings)
        expected.append((t_ms, low, mean, high, clamp_ma if clamp_fitted else ABSENT, state, warnings))
    return bytes(frame.buffer[: frame.close()]), expected


def seal(kind: int, payload: bytes) -> bytes:
    body = bytes((frames.MARK, kind)) + len(payload).to_bytes(2, "little") + payload
    return body + binascii.crc32(body).to_bytes(4, "little")


def a_header() -> tuple[bytes, frames.Header]:
    header = frames.Header()
    header.segment, header.boot, header.unix_s = 3, 9, 1_700_000_000
    header.first_row, header.rows_dropped, header.firmware = 70000, 12, (1, 2, 3)
    header.board_id = b"\x01\x02\x03\x04\x05\x06\x07\x08"
    header.thresholds.marginal_mv = 13333
    header.calibration.clamp_gain_ua = -3816
    header.snapshot = tuple(range(-5, len(header.snapshot) - 5))
    buffer = bytearray(frames.PAYLOAD_MAX + frames.OVERHEAD)
    return bytes(buffer[: header.pack(buffer)]), header


def whole_frames(data: bytes) -> list[tuple[int, bytes]]:
    return [(kind, payload) for kind, payload, _ in frames.scan(data) if kind]


@settings(max_examples=300, deadline=None)
@given(some_rows, st.integers(0, 1))
def test_rows_come_back(rows, clamp_fitted: int) -> None:
    packed, expected = pack(rows, clamp_fitted)
    ((kind, payload, at),) = frames.scan(packed)
    assert (kind, at) == (frames.ROWS, 0)
    assert frames.decode_rows(payload) == (7, expected)
    assert frames.rows_span(payload) == (7, len(rows))


def test_a_header_comes_back() -> None:
    packed, header = a_header()
    ((kind, payload),) = whole_frames(packed)
    again = frames.decode_header(payload)
    assert kind == frames.HEADER
    for part in ("calibration", "thresholds"):
        assert vars(getattr(again, part)) == vars(getattr(header, part))
    for name in vars(header).keys() - {"calibration", "thresholds"}:
        assert getattr(again, name) == getattr(header, name), name
    for wrong in (b"", b"\x02" + payload[1:], payload[:-4], payload + bytes(4)):
        with pytest.raises(ValueError, match=r"journal format|header of"):
            frames.decode_header(wrong)


def test_a_full_frame_fits_its_buffer_whatever_comes_last() -> None:
    frame = frames.RowsFrame(1)
    frame.start(0, 0, 0)
    costly = 0
    while not frame.is_full():  # each row as unlike the one before it as can be
        costly = 1 - costly
        bus_mv, clamp_ma = (-4000, -1045000) if costly else (63000, 1045000)
        frame.add(1 + costly, bus_mv - 67000, bus_mv, bus_mv + 67000, clamp_ma, costly, 255 * costly)
    length = frame.close()
    assert frames.ROWS_BYTES_MAX < length <= frames.PAYLOAD_MAX
    ((_, payload),) = whole_frames(bytes(frame.buffer[:length]))
    assert frames.decode_rows(payload)[1][-1][4] == clamp_ma


@pytest.mark.parametrize("fitted", [0, 1])
@pytest.mark.parametrize("key", [ABSENT, 0, 1])
def test_the_key_stands_in_the_options_and_changes_nothing_else(key: int, fitted: int) -> None:
    frame = frames.RowsFrame(fitted)
    frame.start(7, 100, 250, key)
    frame.add(1000, 13780, 13800, 13820, 3000, 3, 0)
    ((_, payload),) = whole_frames(bytes(frame.buffer[: frame.close()]))
    assert frames.rows_key(payload) == frame.key == key
    assert journal_reader.read_key(payload) == {ABSENT: None, 0: False, 1: True}[key]
    plain = pack([STEADY], fitted)[0][4:-4]
    assert frames.decode_rows(payload) == frames.decode_rows(plain)
    assert payload[:10] + payload[11:] == plain[:10] + plain[11:]
    assert payload[10] & 1 == plain[10] == fitted
    assert journal_reader.read_rows(payload) == journal_reader.read_rows(plain)
    with pytest.raises(ValueError, match="only 10 bytes"):
        frames.rows_key(payload[:10])


def test_no_row_is_taken_that_might_not_fit() -> None:
    frame = frames.RowsFrame(1)
    frame.start(0, 0, 0)
    while frame.has_room():
        before = frame._writer.position
        odd = frame.rows % 2
        bus_mv, clamp_ma = (-4000, -1045000) if odd else (63000, 1045000)
        frame.add(1 + odd, bus_mv - 67000, bus_mv, bus_mv + 67000, clamp_ma, odd, 255 * odd)
        assert frame._writer.position - before <= 23
    length = frame.close()
    assert frames.PAYLOAD_MAX - 23 < length - frames.OVERHEAD <= frames.PAYLOAD_MAX
    ((_, payload),) = whole_frames(bytes(frame.buffer[:length]))
    assert len(frames.decode_rows(payload)[1]) == frame.rows


def noisy_hour(seed: int) -> list:
    """An hour of a running car: 12 mV rms of noise on ten samples a second, amps that wander."""
    chance = random.Random(seed)
    rows = []
    for _ in range(3600):
        samples = [chance.gauss(13800, 12) for _ in range(10)]
        spread = (round(min(samples)), round(sum(samples) / 10), round(max(samples)))
        rows.append((1000, spread, round(chance.gauss(60, 3)) * 50, 3, 0))
    return rows


def test_an_hour_costs_at_most_four_bytes_a_row(capsys: pytest.CaptureFixture[str]) -> None:
    rows = noisy_hour(1)
    # A flush a minute, as the board does it.
    size = sum(len(pack(rows[at : at + 60], number=at)[0]) for at in range(0, 3600, 60))
    with capsys.disabled():
        print(f"\n{size / len(rows):.2f} bytes a row")
    assert size / len(rows) <= 4.0


@pytest.mark.parametrize("packed", [pack([STEADY] * 5)[0], a_header()[0]], ids=["rows", "header"])
def test_every_flipped_bit_and_every_cut_is_noticed(packed: bytes) -> None:
    assert len(whole_frames(packed)) == 1
    for bit in range(len(packed) * 8):
        broken = bytearray(packed)
        broken[bit // 8] ^= 1 << bit % 8
        assert whole_frames(bytes(broken)) == []
        assert whole_frames(bytes(broken) + packed) == whole_frames(packed), "the next frame went with it"
    for cut in range(len(packed)):
        assert whole_frames(packed[:cut]) == []


def test_a_cut_at_every_byte_leaves_the_frames_before_it() -> None:
    first, _ = pack([STEADY] * 3)
    second, _ = pack([(1000, (12600,) * 3, 0, 1, 0)] * 3, number=10)
    whole = first + b"between" + second
    for cut in range(len(whole)):
        assert len(whole_frames(whole[:cut])) == (cut >= len(first))
    found = [(kind, at) for kind, _, at in frames.scan(whole)]
    assert found == [(2, 0), (0, len(first)), (2, len(first) + 7)]


foreign = st.one_of(
    st.binary(max_size=40),
    st.tuples(st.just(b"\xc5"), st.binary(max_size=40)).map(b"".join),  # begins as a frame does
    st.integers(0, 300).map(lambda size: bytes(size)),
)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(foreign, some_rows), min_size=1, max_size=5), foreign)
def test_foreign_bytes_cost_no_frame(parts, tail: bytes) -> None:
    packed = [pack(rows)[0] for _, rows in parts]
    data = b"".join(junk + frame for (junk, _), frame in zip(parts, packed, strict=True)) + tail
    assert whole_frames(data) == [(2, frame[4:-4]) for frame in packed]
    lost = sum(size for kind, size, _ in frames.scan(data) if kind == 0)
    assert lost == len(data) - sum(map(len, packed))


@settings(max_examples=300, deadline=None)
@given(st.sampled_from([b"", b"\xc5\x02\x05\x00"]), st.binary(max_size=3000))
def test_scan_and_decode_never_do_worse_than_refuse(begin: bytes, rest: bytes) -> None:
    data = begin + rest
    found = list(frames.scan(data))
    assert sum(size if kind == 0 else len(size) + frames.OVERHEAD for kind, size, _ in found) == len(data)
    for decode in (frames.decode_rows, frames.decode_header):
        with contextlib.suppress(ValueError):
            decode(data)


def test_a_frame_of_no_kind_is_damage_and_one_of_an_unknown_kind_is_a_frame() -> None:
    for kind, found in ((0, [(0, 11, 0)]), (3, [(3, b"abc", 0)])):
        assert list(frames.scan(seal(kind, b"abc"))) == found


@given(st.binary(max_size=1000))
def test_the_checksum_is_crc_32(data: bytes) -> None:
    buffer = bytearray(data + bytes(4))
    crc.put_crc32(buffer, len(data))
    assert int.from_bytes(buffer[-4:], "little") == binascii.crc32(data)


# -- the second reader --------------------------------------------------------------------------


def as_read(number: int, rows: list[tuple]) -> list[tuple]:
    """chargecore's rows in the second reader's form."""
    absent = {ABSENT: None}
    return [(number + index, *(absent.get(value, value) for value in row)) for index, row in enumerate(rows)]


def with_chargecore(data: bytes) -> journal_reader.Segment:
    """What journal_reader.read_segment does, by chargecore."""
    found = journal_reader.Segment()
    for kind, payload, _ in frames.scan(data):
        if kind == 0:
            found.damaged += payload
            continue
        try:
            if kind == frames.ROWS:
                found.rows += as_read(*frames.decode_rows(payload))
            elif kind == frames.HEADER:
                header = vars(frames.decode_header(payload))
                for name, fields in (("calibration", calibration.FIELDS), ("thresholds", thresholds.FIELDS)):
                    header[name] = [getattr(header[name], field[0]) for field in fields]
                header["snapshot"] = list(header["snapshot"])
                found.headers.append(header)
        except ValueError:
            found.refused += 1
    return found


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(foreign, some_rows, st.integers(0, 1)), max_size=4), st.data())
def test_a_reader_after_the_document_reads_the_same(parts, data: st.DataObject) -> None:
    segment, expected = a_header()[0], []
    for number, (junk, rows, fitted) in enumerate(parts):
        packed, told = pack(rows, fitted, number=number * 100)
        segment += junk + packed
        expected += as_read(number * 100, told)
    found = journal_reader.read_segment(segment)
    assert found == with_chargecore(segment)
    assert found.rows == expected
    assert len(found.headers) == 1

    cut = data.draw(st.integers(0, len(segment)))
    flipped = bytearray(segment)
    flipped[data.draw(st.integers(0, len(segment) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    for broken in (segment[:cut], bytes(flipped)):
        assert journal_reader.read_segment(broken) == with_chargecore(broken)


@settings(max_examples=300, deadline=None)
@given(
    st.integers(0, 4),
    st.binary(min_size=10, max_size=10),
    st.integers(0, 1),
    st.integers(0, 40),
    st.binary(max_size=150),
)
def test_both_readers_refuse_the_same(kind: int, head: bytes, clamp: int, count: int, stream: bytes) -> None:
    """Frames with a right checksum around a payload of chance: a stream that may end too early."""
    sealed = seal(kind, head + bytes((clamp, count, 0)) + stream)
    assert journal_reader.read_segment(sealed) == with_chargecore(sealed)
    short = seal(kind, head + bytes(clamp))
    assert journal_reader.read_segment(short) == with_chargecore(short)


def test_the_example_in_the_document() -> None:
    text = DOCUMENT.read_text()
    listing = re.search(r"```frame\n(.*?)```", text, re.DOTALL)
    assert listing
    frame = bytes.fromhex(listing[1])
    table = re.findall(r"^\| (\d+(?: \| -?\d+){7}) \|$", text, re.MULTILINE)
    rows = [tuple(map(int, line.split(" | "))) for line in table]
    assert len(rows) == 2
    assert journal_reader.read_segment(frame).rows == rows == with_chargecore(frame).rows
    packed, _ = pack([(1000, row[2:5], *row[5:]) for row in rows])
    assert packed == frame
    # Field by field the stream's bits are those of the third line, and the checksum that of the last.
    example = text[listing.end() :]
    bits = "".join(re.findall(r"^\| `([01]+)` \|", example, re.MULTILINE))
    stream = frame[17:-4]
    assert bits == "".join(f"{byte:08b}" for byte in stream)
    assert f"0x{binascii.crc32(frame[:-4]):08x}" in example
