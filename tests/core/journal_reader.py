"""Reader for the segments of a journal, format version 1.

Written from docs/journal-format.md alone, by someone who had not seen the code: the tests hold
page and code to each other with it, so it must never import or follow either.
"""

import struct
import zlib
from dataclasses import dataclass, field

_MARK, _MAX_PAYLOAD = 0xC5, 1016
_KIND_HEADER, _KIND_ROWS = 1, 2
_FRAME_HEAD = struct.Struct("<BBH")
_FRAME_CRC = struct.Struct("<I")

_VERSION = 1
_HEADER = struct.Struct("<BIII8sII3B5i19i33i")

_ROWS_HEAD = struct.Struct("<IIHBH")
_HAS_CLAMP, _KEY_KNOWN, _KEY_ON = 1, 2, 4
_FLAT, _NO_VOLTS, _NO_CURRENT = 1, 2, 4
_FIRST_PERIOD_MS, _FIRST_MEAN_MV = 1000, 12600
_CURRENT_STEP_MA = 50

_VOLTS_MEMORY, _CURRENT_MEMORY = 192, 96
_ESCAPE_ONES, _ESCAPE_BITS = 12, 24
_MAX_K, _MAX_LEARNT = 15, 65535


@dataclass
class Segment:
    """What could be trusted in a segment file, and how much could not."""

    headers: list[dict] = field(default_factory=list)
    rows: list[tuple] = field(default_factory=list)
    damaged: int = 0
    refused: int = 0


class _Bits:
    """Bits of a byte string, each byte from its most significant bit down."""

    def __init__(self, data: bytes):
        self._value = int.from_bytes(data, "big")
        self._left = 8 * len(data)

    def take(self, count: int) -> int:
        """The next bits as an unsigned number; ValueError if there are fewer."""
        if count > self._left:
            raise ValueError("payload ends inside a row")
        self._left -= count
        return (self._value >> self._left) & ((1 << count) - 1)


class _Stream:
    """Decoder of the numbers of one stream within a frame."""

    def __init__(self, bits: _Bits, memory: int):
        self._bits = bits
        self._memory = memory

    def unsigned(self) -> int:
        """The next number."""
        mean = self._memory >> 4
        k = min(max(mean - 1, 0).bit_length(), _MAX_K)
        ones = 0
        while ones < _ESCAPE_ONES and self._bits.take(1):
            ones += 1
        value = self._bits.take(_ESCAPE_BITS) if ones == _ESCAPE_ONES else ones << k | self._bits.take(k)
        self._memory += min(value, _MAX_LEARNT) - mean
        return value

    def signed(self) -> int:
        """The next number, as a signed one."""
        value = self.unsigned()
        return -(value + 1 >> 1) if value & 1 else value >> 1


def _rows_head(payload: bytes) -> tuple:
    """Number, seconds, milliseconds, options and count of a rows frame."""
    if len(payload) < _ROWS_HEAD.size:
        raise ValueError("payload ends inside its head")
    return _ROWS_HEAD.unpack_from(payload)


def read_rows(payload: bytes) -> list[tuple]:
    """Rows of a rows frame: (number, t_ms, lowest_mv, mean_mv, highest_mv, current_ma, state, warnings)."""
    first, seconds, milliseconds, options, count = _rows_head(payload)
    bits = _Bits(payload[_ROWS_HEAD.size :])
    means, below, above = (_Stream(bits, _VOLTS_MEMORY) for _ in range(3))
    currents = _Stream(bits, _CURRENT_MEMORY)
    t_ms = 1000 * seconds + milliseconds
    period, state, warnings, shape = _FIRST_PERIOD_MS, 0, 0, 0
    last_mean, last_steps = _FIRST_MEAN_MV, 0
    rows = []
    for index in range(count):
        if bits.take(1):
            period, state, warnings, shape = (bits.take(size) for size in (16, 3, 8, 3))
        # The head has the time of the first row's end, so that row's period counts for nothing.
        if index:
            t_ms += period
        lowest = mean = highest = current = None
        if not shape & _NO_VOLTS:
            last_mean += means.signed()
            lowest = mean = highest = last_mean
            if not shape & _FLAT:
                lowest = mean - below.unsigned()
                highest = mean + above.unsigned()
        if options & _HAS_CLAMP and not shape & _NO_CURRENT:
            last_steps += currents.signed()
            current = _CURRENT_STEP_MA * last_steps
        rows.append((first + index, t_ms, lowest, mean, highest, current, state, warnings))
    return rows


def read_key(payload: bytes) -> bool | None:
    """Whether the key was on for the rows of a rows frame; None if not known."""
    options = _rows_head(payload)[3]
    return bool(options & _KEY_ON) if options & _KEY_KNOWN else None


def read_header(payload: bytes) -> dict:
    """Fields of a header frame; ValueError if of another version or length."""
    if len(payload) != _HEADER.size or payload[0] != _VERSION:
        raise ValueError("header of another version or length")
    values = _HEADER.unpack(payload)
    names = ("segment", "boot", "unix_s", "board_id", "first_row", "rows_dropped")
    header = dict(zip(names, values[1:7], strict=True))
    header["firmware"] = values[7:10]
    header["calibration"] = list(values[10:15])
    header["thresholds"] = list(values[15:34])
    header["snapshot"] = list(values[34:])
    return header


def _frame_at(data: bytes, start: int) -> tuple[int, bytes] | None:
    """Kind and payload of the whole frame that begins at start, if one does."""
    if data[start] != _MARK or start + _FRAME_HEAD.size > len(data):
        return None
    _, kind, length = _FRAME_HEAD.unpack_from(data, start)
    end = start + _FRAME_HEAD.size + length
    if kind == 0 or length > _MAX_PAYLOAD or end + _FRAME_CRC.size > len(data):
        return None
    if zlib.crc32(data[start:end]) != _FRAME_CRC.unpack_from(data, end)[0]:
        return None
    return kind, data[start + _FRAME_HEAD.size : end]


def read_segment(data: bytes) -> Segment:
    """Everything in a segment file that can be trusted."""
    segment, seen, at = Segment(), set(), 0
    while at < len(data):
        frame = _frame_at(data, at)
        if frame is None:
            segment.damaged += 1
            at += 1
            continue
        kind, payload = frame
        at += _FRAME_HEAD.size + len(payload) + _FRAME_CRC.size
        try:
            if kind == _KIND_HEADER:
                segment.headers.append(read_header(payload))
            elif kind == _KIND_ROWS:
                # Of two rows of the same number the first is kept.
                fresh = [row for row in read_rows(payload) if row[0] not in seen]
                segment.rows += fresh
                seen.update(row[0] for row in fresh)
        except ValueError:
            segment.refused += 1
    return segment
