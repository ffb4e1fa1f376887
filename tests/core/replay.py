"""Both interpreters run this file unmodified; its output must be the same to the letter.

One line a row (name, index, clock, state, warnings, since_ms, crank_low_mv, the ledger's seven
numbers, the engine's snapshot), one for each packed frame, and one for each converter code.
"""

import binascii
import sys

import vectors

from chargecore import calibration, engine, frames, ledger, thresholds
from chargecore.units import TICKS_MASK


def show(kind, name, buffer):
    print(kind, name, binascii.hexlify(bytes(buffer)).decode())


def replay(name, rows, start_ms):
    limits = thresholds.Thresholds()
    judge = engine.Engine(limits)
    book = ledger.Ledger()
    frame = frames.RowsFrame(1)
    told = []  # the rows in the open frame

    def close():
        packed = frame.buffer[: frame.close()]
        show("frame", name, packed)
        ((kind, payload, at),) = list(frames.scan(packed))
        assert (kind, at, frames.decode_rows(payload)[1]) == (frames.ROWS, 0, told)

    clock_ms = start_ms
    for index, (dt_ms, low_mv, bus_mv, high_mv, clamp_ma) in enumerate(rows):
        clock_ms += dt_ms
        t_ms = clock_ms & TICKS_MASK
        clamp_ma = frames.round_clamp(clamp_ma)
        if name == "keyed":
            judge.key = vectors.key_at(index)
        state = judge.step(t_ms, low_mv, bus_mv, high_mv, clamp_ma)
        book.add(dt_ms, bus_mv, clamp_ma, state, limits.discharging_mv)
        if told and dt_ms > 65535:  # more than a period can hold: as the journal does
            close()
            told = []
        if not told:
            frame.start(index, clock_ms // 1000, clock_ms % 1000)
        frame.add(dt_ms, low_mv, bus_mv, high_mv, clamp_ma, state, judge.warnings)
        told.append((clock_ms, low_mv, bus_mv, high_mv, clamp_ma, state, judge.warnings))
        snapshot = judge.snapshot()
        print(
            *(name, index, t_ms, state, judge.warnings, judge.since_ms, judge.crank_low_mv),
            *(book.out_as, book.out_mas, book.in_as, book.in_mas, book.low_s, book.low_ms, book.deficit_as()),
            *snapshot,
        )
        if frame.is_full():
            close()
            told = []
        if index % 97 == 0:
            judge = engine.Engine(limits)
            judge.restore(snapshot)
    if told:
        close()
    header = frames.Header()
    header.snapshot = judge.snapshot()
    buffer = bytearray(frames.PAYLOAD_MAX + frames.OVERHEAD)
    show("header", name, buffer[: header.pack(buffer)])


def codes():
    for zero, gain in ((0, 277778), (-4096, 100000), (4096, 900000)):
        cal = calibration.Calibration()
        cal.bus_zero, cal.bus_gain_nv, cal.clamp_fitted = zero, gain, 1
        for clamp_zero, clamp_gain in ((32760, 3816), (0, 16000), (65520, 16000), (65520, -16000)):
            cal.clamp_zero, cal.clamp_gain_ua = clamp_zero, clamp_gain
            for code in (-70000, -1, 0, 63, 64, 255, 256, 32768, 65456, 65457, 65520, 65535, 65536, 1 << 20):
                print("code", zero, gain, clamp_zero, clamp_gain, code, cal.bus_mv(code), cal.clamp_ma(code))


if __name__ == "__main__":
    codes()
    for vector in vectors.every(int(sys.argv[1])):
        replay(*vector)
