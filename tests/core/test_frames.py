"""The journal's frames: what goes in comes out, and nothing else ever does."""

import binascii
import contextlib
import random

from hypothesis import given, settings
from hypothesis import strategies as st

from chargecore import crc, frames
from chargecore.units import ABSENT

volts = st.integers(0, 20000)
bus = st.one_of(st.just((ABSENT,) * 3), volts.map(lambda v: (v,) * 3), st.tuples(volts, volts, volts).map(sorted))
clamp = st.one_of(st.just(ABSENT), st.integers(-4000, 4000).map(lambda steps: steps * 50))
a_row = st.tuples(st.integers(1, 65535), bus, clamp, st.integers(0, 7), st.integers(0, 255))


def pack(rows, clamp_fitted: int, number: int = 7, t_s: int = 100) -> tuple[bytes, list]:
    frame = frames.RowsFrame(clamp_fitted)
    frame.start(number, t_s, 250)
    expected, t_ms = [], t_s * 1000 + 250
    for index, (dt_ms, (low, mean, high), clamp_ma, state, warnings) in enumerate(rows):
        t_ms += dt_ms if index else 0
        frame.add(dt_ms, low, mean, high, clamp_ma, state, warnings)
        expected.append((t_ms, low, mean, high, clamp_ma if clamp_fitted else ABSENT, state, warnings))
    return bytes(frame.buffer[: frame.close()]), expected


@settings(max_examples=300, deadline=None)
@given(st.lists(a_row, min_size=1, max_size=20), st.integers(0, 1))
def test_rows_come_back(rows, clamp_fitted: int) -> None:
    packed, expected = pack(rows, clamp_fitted)
    ((kind, payload, at),) = frames.scan(packed)
    assert (kind, at) == (frames.ROWS, 0)
    assert frames.decode_rows(payload) == (7, expected)
    assert frames.rows_span(payload) == (7, len(rows))


def noisy_hour(seed: int) -> list:
    """An hour of a running car: 12 mV rms of noise on each of ten samples a second, wandering amps."""
    chance = random.Random(seed)
    rows = []
    for _ in range(3600):
        samples = [chance.gauss(13800, 12) for _ in range(10)]
        spread = (round(min(samples)), round(sum(samples) / 10), round(max(samples)))
        rows.append((1000, spread, round(chance.gauss(60, 3)) * 50, 3, 0))
    return rows


def test_an_hour_costs_at_most_four_bytes_a_row(capsys) -> None:
    size = count = 0
    frame = frames.RowsFrame(1)
    for _, (low, mean, high), clamp_ma, state, warnings in noisy_hour(1):
        if frame.rows == 0:
            frame.start(count, count, 0)
        frame.add(1000, low, mean, high, clamp_ma, state, warnings)
        count += 1
        if frame.rows == 60:  # as a flush a minute leaves them
            size += frame.close()
            frame.rows = 0
    with capsys.disabled():
        print(f"\n{size / count:.2f} bytes a row")
    assert size / count <= 4.0


def test_every_flipped_bit_is_noticed() -> None:
    packed, _ = pack([(1000, (13780, 13800, 13820), 3000, 3, 0)] * 5, 1)
    for bit in range(len(packed) * 8):
        broken = bytearray(packed)
        broken[bit // 8] ^= 1 << bit % 8
        assert [kind for kind, _, _ in frames.scan(bytes(broken)) if kind] == []


def test_a_cut_at_every_byte_leaves_the_frames_before_it() -> None:
    first, _ = pack([(1000, (13780, 13800, 13820), 3000, 3, 0)] * 3, 1)
    second, _ = pack([(1000, (12600,) * 3, 0, 1, 0)] * 3, 1, number=10)
    whole = first + b"between" + second
    for cut in range(len(whole)):
        kinds = [kind for kind, _, _ in frames.scan(whole[:cut]) if kind]
        assert len(kinds) == (cut >= len(first))
    assert [(kind, at) for kind, _, at in frames.scan(whole)] == [(2, 0), (0, len(first)), (2, len(first) + 7)]


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=3000))
def test_scan_and_decode_never_do_worse_than_refuse(data: bytes) -> None:
    found = list(frames.scan(data))
    assert sum(size if kind == 0 else len(size) + frames.OVERHEAD for kind, size, _ in found) == len(data)
    for decode in (frames.decode_rows, frames.decode_header):
        with contextlib.suppress(ValueError):
            decode(data)


@given(st.binary(max_size=1000))
def test_the_checksum_is_crc_32(data: bytes) -> None:
    buffer = bytearray(data + bytes(4))
    crc.put_crc32(buffer, len(data))
    assert int.from_bytes(buffer[-4:], "little") == binascii.crc32(data)


def test_a_header_comes_back() -> None:
    header = frames.Header()
    header.segment, header.boot, header.first_row, header.rows_dropped = 3, 9, 70000, 12
    header.board_id = b"\x01\x02\x03\x04\x05\x06\x07\x08"
    header.thresholds.marginal_mv = 13333
    header.calibration.clamp_gain_ua = -3816
    header.snapshot = tuple(range(len(header.snapshot)))
    buffer = bytearray(1024)
    ((kind, payload, _),) = frames.scan(bytes(buffer[: header.pack(buffer)]))
    again = frames.decode_header(payload)
    assert kind == frames.HEADER
    for part in ("calibration", "thresholds"):
        assert vars(getattr(again, part)) == vars(getattr(header, part))
    for name in ("segment", "boot", "first_row", "rows_dropped", "board_id", "snapshot", "firmware"):
        assert getattr(again, name) == getattr(header, name)
