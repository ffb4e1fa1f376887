"""What segments are made of: frames, headers, and the rows of made-up drives."""

import random
from binascii import crc32
from collections.abc import Iterable

from chargecore import engine, frames
from chargecore.units import ABSENT, TICKS_MASK

Row = tuple[int, int, int, int, int, int, int]  # t_ms, low_mv, bus_mv, high_mv, clamp_ma, state, warnings


def seal(kind: int, payload: bytes) -> bytes:
    """A whole frame."""
    body = bytes((frames.MARK, kind)) + len(payload).to_bytes(2, "little") + payload
    return body + crc32(body).to_bytes(4, "little")


def header(
    segment: int, boot: int, first_row: int, judge: engine.Engine | None = None, board: bytes = b"12345678"
) -> bytes:
    """A header's frame, with the state of `judge` (a fresh engine without)."""
    mine = frames.Header()
    mine.segment, mine.boot, mine.first_row, mine.board_id = segment, boot, first_row, board
    if judge:
        mine.thresholds = judge.thresholds
    mine.snapshot = (judge or engine.Engine(mine.thresholds)).snapshot()
    buffer = bytearray(frames.PAYLOAD_MAX + frames.OVERHEAD)
    return bytes(buffer[: mine.pack(buffer)])


def rows_frame(number: int, rows: Iterable[Row], key: int = ABSENT) -> bytes:
    """Rows in a frame of their own."""
    frame = frames.RowsFrame(1)
    last_ms = 0
    for t_ms, *values in rows:
        if frame.rows == 0:
            frame.start(number, t_ms // 1000, t_ms % 1000, key)
        frame.add(t_ms - last_ms, *values)
        last_ms = t_ms
    return bytes(frame.buffer[: frame.close()])


def drive(chance: random.Random, judge: engine.Engine, t_ms: int, count: int) -> list[Row]:
    """Rows of levels that change now and then, among them a crank's and none at all, as `judge` decides."""
    rows = []
    bus_mv, clamp_ma, spread_mv = 12600, 0, 2
    for _ in range(count):
        if chance.random() < 0.1:
            bus_mv = chance.choice((9000, 12400, 12600, 13200, 13800, 14200, 15300, ABSENT))
            clamp_ma = chance.choice((ABSENT, -15000, 0, 3000))
            spread_mv = chance.choice((2, 20))
        t_ms += chance.choice((1000, 1000, 1000, 100, 60000 if chance.random() < 0.05 else 1000))
        low_mv, mean_mv, high_mv = (
            (ABSENT,) * 3
            if bus_mv == ABSENT
            else (bus_mv - spread_mv, bus_mv + chance.randrange(5), bus_mv + spread_mv + 5)
        )
        judge.step(t_ms & TICKS_MASK, low_mv, mean_mv, high_mv, clamp_ma)
        rows.append((t_ms, low_mv, mean_mv, high_mv, clamp_ma, judge.state, judge.warnings))
    return rows
