"""A second reader of the journal, after docs/journal-format.md.

It shares no code with the project, so that the tests hold the document and the code to each other.
"""

import zlib
from dataclasses import dataclass, field

HEADER_SIZE = 260
CALIBRATION, THRESHOLDS, ENGINE = 5, 19, 33


@dataclass
class Segment:
    """What one segment file holds."""

    headers: list[dict] = field(default_factory=list)
    rows: list[tuple] = field(default_factory=list)  # number, t_ms, low, mean, high, amps, state, warnings
    damaged: int = 0  # bytes that belong to no whole frame
    refused: int = 0  # whole frames whose payload cannot be what it says it is


class Bits:
    """A stream as a text of ones and zeros."""

    def __init__(self, data: bytes):
        self.text = "".join(f"{byte:08b}" for byte in data)
        self.at = 0

    def take(self, count: int) -> int:
        taken = self.text[self.at : self.at + count]
        if len(taken) < count:
            raise ValueError("the stream ends inside a row")
        self.at += count
        return int(taken or "0", 2)


class Stream:
    def __init__(self, m: int):
        self.m = m

    def value(self, bits: Bits) -> int:
        k = next((k for k in range(15) if 2**k >= self.m // 16), 15)
        ones = 0
        while ones < 12 and bits.take(1) == 1:
            ones += 1
        value = bits.take(24) if ones == 12 else ones * 2**k + bits.take(k)
        self.m += min(value, 65535) - self.m // 16
        return value

    def difference(self, bits: Bits) -> int:
        value = self.value(bits)
        return value // 2 if value % 2 == 0 else -(value + 1) // 2


def read_rows(payload: bytes) -> list[tuple]:
    """The rows of a rows frame; ValueError if the payload ends before its last row does."""
    if len(payload) < 13:
        raise ValueError("no room for the head")
    number = int.from_bytes(payload[0:4], "little")
    t_ms = int.from_bytes(payload[4:8], "little") * 1000 + int.from_bytes(payload[8:10], "little")
    fitted = payload[10] & 1
    count = int.from_bytes(payload[11:13], "little")
    bits = Bits(payload[13:])
    a, b, c, d = Stream(192), Stream(192), Stream(192), Stream(96)
    period, state, warnings, shape = 1000, 0, 0, 0
    mean, amps = 12600, 0
    rows = []
    for index in range(count):
        if bits.take(1):
            period, state, warnings, shape = bits.take(16), bits.take(3), bits.take(8), bits.take(3)
        if index > 0:
            t_ms += period
        volts = (None, None, None)
        if not shape & 2:
            mean += a.difference(bits)
            low = mean if shape & 1 else mean - b.value(bits)
            high = mean if shape & 1 else mean + c.value(bits)
            volts = (low, mean, high)
        current = None
        if fitted and not shape & 4:
            amps += 50 * d.difference(bits)
            current = amps
        rows.append((number + index, t_ms, *volts, current, state, warnings))
    return rows


def read_key(payload: bytes) -> bool | None:
    """Was the key on while a frame's rows were taken? None if it was not known."""
    options = payload[10]
    return options // 4 % 2 == 1 if options // 2 % 2 else None


def read_header(payload: bytes) -> dict:
    """A header's fields by name; ValueError if it is of another format version or length."""
    if len(payload) != HEADER_SIZE or payload[0] != 1:
        raise ValueError("not a header of version 1")

    def whole(at: int) -> int:
        return int.from_bytes(payload[at : at + 4], "little")

    numbers = [
        int.from_bytes(payload[at : at + 4], "little", signed=True) for at in range(32, HEADER_SIZE, 4)
    ]  # fmt: skip
    return {
        "segment": whole(1),
        "boot": whole(5),
        "unix_s": whole(9),
        "board_id": payload[13:21],
        "first_row": whole(21),
        "rows_dropped": whole(25),
        "firmware": tuple(payload[29:32]),
        "calibration": numbers[:CALIBRATION],
        "thresholds": numbers[CALIBRATION : CALIBRATION + THRESHOLDS],
        "snapshot": numbers[-ENGINE:],
    }


def read_segment(data: bytes) -> Segment:
    """Everything in a segment that can be trusted, whatever has happened to it."""
    found = Segment()
    at = 0
    while at < len(data):
        size = 8 + int.from_bytes(data[at + 2 : at + 4], "little")
        frame = data[at : at + size]
        whole = data[at] == 0xC5 and size <= 1024 and len(frame) == size and frame[1] > 0
        if not whole or zlib.crc32(frame[:-4]).to_bytes(4, "little") != frame[-4:]:
            found.damaged += 1
            at += 1
            continue
        at += size
        try:
            if frame[1] == 1:
                found.headers.append(read_header(frame[4:-4]))
            elif frame[1] == 2:
                found.rows += read_rows(frame[4:-4])
        except ValueError:
            found.refused += 1
    return found
