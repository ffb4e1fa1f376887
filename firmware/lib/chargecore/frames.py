"""The journal's frames, format version 1. docs/journal-format.md specifies every bit.

A segment is a run of frames. Each frame is

    0      0xC5, and 1      the kind: 1 header, 2 rows
    2, 3   n, the payload's length, least significant byte first
    4      the payload
    4 + n  CRC-32 over everything before it

A header opens each segment and says whose rows follow and how they were decided. A rows frame
stands alone: it begins with whole numbers and packs each further row as differences.
"""

import binascii
import struct

from chargecore import calibration, engine, thresholds
from chargecore.bits import BitReader, BitWriter, Rice
from chargecore.crc import put_crc32
from chargecore.shim import const
from chargecore.units import ABSENT

FORMAT = const(1)
MARK = const(0xC5)
HEADER = const(1)
ROWS = const(2)
OVERHEAD = const(8)  # bytes of a frame beside its payload
PAYLOAD_MAX = const(1016)
ROWS_BYTES_MAX = const(400)  # a rows frame is to be written when it has grown past this
PERIOD_MAX_MS = const(65535)  # a longer one needs a new frame, whose head has the time in full

# Current is journalled in steps of 50 mA, about one step of the converter; the engine sees the
# rounded value too, so that the desk decides on exactly what the board decided on.
CLAMP_STEP_MA = const(50)

# A row: (t_ms since this boot, low_mv, bus_mv, high_mv, clamp_ma, state, warnings)
_ROWS_HEAD = "<IIHBH"  # number of the first row, its seconds and milliseconds since boot, options, rows
_ROWS_COUNT_AT = const(4 + 11)
_OPTIONS_AT = const(10)
_OPTION_CLAMP = const(1)
_OPTION_KEY_KNOWN = const(2)
_OPTION_KEY_ON = const(4)
_ROW_BYTES_MAX = const(23)  # a row that differs in everything, by the most: 175 bits, and 7 before it

_HEADER_HEAD = "<BIII8sIIBBB"
_HEADER_NUMBERS = len(calibration.FIELDS) + len(thresholds.FIELDS) + len(engine.FIELDS)


def round_clamp(clamp_ma: int) -> int:
    """The current as the journal can hold it [mA]."""
    if clamp_ma == ABSENT:
        return ABSENT
    return (clamp_ma + CLAMP_STEP_MA // 2) // CLAMP_STEP_MA * CLAMP_STEP_MA


def _seal(buffer, kind: int, length: int) -> int:
    buffer[0] = MARK
    buffer[1] = kind
    buffer[2] = length & 255
    buffer[3] = length >> 8
    put_crc32(buffer, length + 4)
    return length + OVERHEAD


class RowCoder:
    """What the packing of rows remembers from one row to the next; equal on both sides."""

    def __init__(self):
        self.bus = Rice(12)
        self.below = Rice(12)
        self.above = Rice(12)
        self.clamp = Rice(6)
        self.restart()

    def restart(self):
        self.period_ms = 1000
        self.bus_mv = 12600
        self.clamp_ma = 0
        self.state = self.warnings = 0
        self.shape = 0
        self.bus.restart()
        self.below.restart()
        self.above.restart()
        self.clamp.restart()


# What a row holds, beside its regular form: one value for low, mean and high; no volts; no amps.
_SHAPE_POINT = const(1)
_SHAPE_NO_BUS = const(2)
_SHAPE_NO_CLAMP = const(4)


class RowsFrame:
    """Packs rows into one frame, in a buffer of its own; allocates nothing once it is made.

    `rows` counts those in it, `key` is the one they share.
    """

    def __init__(self, clamp_fitted: int):
        self.buffer = bytearray(PAYLOAD_MAX + OVERHEAD)
        self.rows = 0
        self.key = ABSENT
        self._clamp = clamp_fitted
        self._writer = BitWriter(self.buffer)
        self._coder = RowCoder()

    def is_full(self) -> bool:
        """Should it be written?"""
        return self.rows > 0 and self._writer.position >= ROWS_BYTES_MAX

    def has_room(self) -> bool:
        """Does one more row fit, whatever is in it?"""
        return self._writer.position + _ROW_BYTES_MAX <= PAYLOAD_MAX + 4

    def start(self, number: int, t_s: int, t_ms: int, key: int = ABSENT):
        """Begin a frame whose first row has this number and ends at t_s + t_ms/1000 since boot.

        key: 1 while the rows in it were taken with the key on, 0 with it off, ABSENT if unknown.
        """
        options = _OPTION_CLAMP if self._clamp else 0
        if key != ABSENT:
            options |= _OPTION_KEY_KNOWN | (_OPTION_KEY_ON if key else 0)
        struct.pack_into(_ROWS_HEAD, self.buffer, 4, number, t_s, t_ms, options, 0)
        self._writer.start(4 + struct.calcsize(_ROWS_HEAD))
        self._coder.restart()
        self.key = key
        self.rows = 0

    def add(self, dt_ms: int, low_mv: int, bus_mv: int, high_mv: int, clamp_ma: int, state: int, warnings: int):
        """Append a row that ended `dt_ms` (at most PERIOD_MAX_MS) after the one before it in this
        frame; the first row's own is not looked at."""
        writer = self._writer
        coder = self._coder
        shape = 0
        if bus_mv == ABSENT:
            shape = _SHAPE_NO_BUS
        elif low_mv == bus_mv == high_mv:
            shape = _SHAPE_POINT
        if self._clamp and clamp_ma == ABSENT:
            shape |= _SHAPE_NO_CLAMP
        if self.rows == 0:
            dt_ms = coder.period_ms  # the first row's time stands in the frame's head
        if (
            dt_ms == coder.period_ms
            and state == coder.state
            and warnings == coder.warnings
            and (shape == coder.shape or shape == coder.shape | _SHAPE_POINT)
        ):
            writer.put(0, 1)
        else:
            writer.put(1, 1)
            writer.put(dt_ms, 16)
            writer.put(state, 3)
            writer.put(warnings, 8)
            writer.put(shape, 3)
            coder.period_ms = dt_ms
            coder.state = state
            coder.warnings = warnings
            coder.shape = shape
        shape = coder.shape
        if not shape & _SHAPE_NO_BUS:
            coder.bus.put_signed(writer, bus_mv - coder.bus_mv)
            coder.bus_mv = bus_mv
            if not shape & _SHAPE_POINT:
                coder.below.put(writer, bus_mv - low_mv)
                coder.above.put(writer, high_mv - bus_mv)
        if self._clamp and not shape & _SHAPE_NO_CLAMP:
            coder.clamp.put_signed(writer, (clamp_ma - coder.clamp_ma) // CLAMP_STEP_MA)
            coder.clamp_ma = clamp_ma
        self.rows += 1

    def close(self) -> int:
        """Seal the frame; return its length in `buffer`. Nothing can be added after it."""
        self.buffer[_ROWS_COUNT_AT] = self.rows & 255
        self.buffer[_ROWS_COUNT_AT + 1] = self.rows >> 8
        return _seal(self.buffer, ROWS, self._writer.finish() - 4)


def rows_span(payload):
    """(number of the first row, how many rows) of a rows frame, without unpacking them."""
    number, _, _, _, count = struct.unpack_from(_ROWS_HEAD, payload, 0)
    return number, count


def rows_key(payload) -> int:
    """The key while a rows frame's rows were taken: 1 on, 0 off, ABSENT if it was not known.

    ValueError where the payload has no room for it.
    """
    if len(payload) <= _OPTIONS_AT:
        raise ValueError("rows frame of only %d bytes" % len(payload))
    options = payload[_OPTIONS_AT]
    if not options & _OPTION_KEY_KNOWN:
        return ABSENT
    return 1 if options & _OPTION_KEY_ON else 0


def decode_rows(payload):
    """(number of the first row, list of rows) of a rows frame's payload.

    A row is (t_ms since boot, low_mv, bus_mv, high_mv, clamp_ma, state, warnings). Raises
    ValueError where the payload cannot be what it says it is.
    """
    head = struct.calcsize(_ROWS_HEAD)
    if len(payload) < head:
        raise ValueError("rows frame of only %d bytes" % len(payload))
    number, t_s, t_ms, options, count = struct.unpack_from(_ROWS_HEAD, payload, 0)
    reader = BitReader(payload[head:])
    has_clamp = options & _OPTION_CLAMP
    coder = RowCoder()
    coder.restart()
    time_ms = t_s * 1000 + t_ms
    rows = []
    for index in range(count):
        if reader.get(1):
            coder.period_ms = reader.get(16)
            coder.state = reader.get(3)
            coder.warnings = reader.get(8)
            coder.shape = reader.get(3)
        shape = coder.shape
        if index:
            time_ms += coder.period_ms
        if shape & _SHAPE_NO_BUS:
            low_mv = bus_mv = high_mv = ABSENT
        else:
            coder.bus_mv += coder.bus.get_signed(reader)
            low_mv = bus_mv = high_mv = coder.bus_mv
            if not shape & _SHAPE_POINT:
                low_mv -= coder.below.get(reader)
                high_mv += coder.above.get(reader)
        clamp_ma = ABSENT
        if has_clamp and not shape & _SHAPE_NO_CLAMP:
            coder.clamp_ma += coder.clamp.get_signed(reader) * CLAMP_STEP_MA
            clamp_ma = coder.clamp_ma
        rows.append((time_ms, low_mv, bus_mv, high_mv, clamp_ma, coder.state, coder.warnings))
    return number, rows


class Header:
    """What opens a segment: whose rows follow, and how they were decided."""

    def __init__(self):
        self.segment = 0  # counts up for the life of the board
        self.boot = 0  # counts the board's starts
        self.unix_s = 0  # when the segment was opened, 0 if the board was never told the time
        self.board_id = bytes(8)
        self.first_row = 0  # number of the first row to follow
        self.rows_dropped = 0  # rows lost so far with the oldest segments of a full ring
        self.firmware: "tuple[int, ...]" = (0, 0, 0)
        self.calibration = calibration.Calibration()
        self.thresholds = thresholds.Thresholds()
        self.snapshot = tuple([0] * len(engine.FIELDS))  # of the engine, before the first row

    def pack(self, buffer) -> int:
        """Write the frame into `buffer`; return its length."""
        struct.pack_into(
            _HEADER_HEAD, buffer, 4, FORMAT, self.segment, self.boot, self.unix_s, self.board_id,
            self.first_row, self.rows_dropped, *self.firmware)  # fmt: skip
        at = 4 + struct.calcsize(_HEADER_HEAD)
        for value in self._numbers():
            struct.pack_into("<i", buffer, at, value)
            at += 4
        return _seal(buffer, HEADER, at - 4)

    def _numbers(self):
        for source, fields in ((self.calibration, calibration.FIELDS), (self.thresholds, thresholds.FIELDS)):
            for field in fields:
                yield getattr(source, field[0])
        yield from self.snapshot


def decode_header(payload) -> Header:
    """The header in a header frame's payload; ValueError if it is of another format."""
    if not payload or payload[0] != FORMAT:
        raise ValueError("journal format %d, not %d" % (payload[0] if payload else -1, FORMAT))
    head = struct.calcsize(_HEADER_HEAD)
    if len(payload) != head + 4 * _HEADER_NUMBERS:
        raise ValueError("header of %d bytes, not %d" % (len(payload), head + 4 * _HEADER_NUMBERS))
    header = Header()
    (_, header.segment, header.boot, header.unix_s, header.board_id, header.first_row, header.rows_dropped,
     major, minor, patch) = struct.unpack_from(_HEADER_HEAD, payload, 0)  # fmt: skip
    header.firmware = (major, minor, patch)
    numbers = struct.unpack_from("<%di" % _HEADER_NUMBERS, payload, head)
    at = 0
    for target, fields in ((header.calibration, calibration.FIELDS), (header.thresholds, thresholds.FIELDS)):
        for field in fields:
            setattr(target, field[0], numbers[at])
            at += 1
    header.snapshot = tuple(numbers[at:])
    return header


def scan(data):
    """Yield (kind, payload, offset) for each whole frame in `data`, and (0, lost, offset) for
    each stretch of bytes, of the length `lost`, that is no whole frame. Never raises."""
    at = 0
    bad = 0
    size = len(data)
    while at < size:
        length = frame_length(data, at)
        if length:
            if bad < at:
                yield 0, at - bad, bad
            yield data[at + 1], data[at + 4 : at + length - 4], at
            at += length
            bad = at
        else:
            at += 1
    if bad < size:
        yield 0, size - bad, bad


def frame_length(data, at: int) -> int:
    """Length of the whole frame at this place, or 0 if there is none. There is no kind 0."""
    if at + OVERHEAD > len(data) or data[at] != MARK or data[at + 1] == 0:
        return 0
    length = data[at + 2] | data[at + 3] << 8
    end = at + 4 + length
    if length > PAYLOAD_MAX or end + 4 > len(data):
        return 0
    stored = data[end] | data[end + 1] << 8 | data[end + 2] << 16 | data[end + 3] << 24
    return length + OVERHEAD if binascii.crc32(data[at:end]) == stored else 0
