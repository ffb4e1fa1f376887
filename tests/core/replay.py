"""Both interpreters run this file unmodified; its output must be the same to the letter.

Vectors come from an integer generator: random walks, steps, cranks at ten rows a second, faults,
holes, contradicting clamps, volts that hover at a threshold, and the wrap of the clock.
"""

import binascii
import sys

from chargecore import calibration, engine, frames, ledger, thresholds
from chargecore.units import ABSENT, TICKS_MASK


class Chance:
    def __init__(self, seed):
        self._x = seed

    def __call__(self, below):
        self._x = (self._x * 1103515245 + 12345) & 0x7FFFFFFF
        return (self._x >> 8) % below


def walk(chance):
    """A random walk of the volts with any dt and a wandering current."""
    bus_mv, clamp_ma = 12600, 0
    for _ in range(1500):
        bus_mv = max(8000, min(16500, bus_mv + chance(201) - 100))
        clamp_ma = max(-60000, min(60000, clamp_ma + chance(4001) - 2000))
        yield 1000, chance(80), bus_mv, clamp_ma
        if chance(400) == 0:
            yield 11000, 20, bus_mv, clamp_ma


def day(chance, clamp):
    """Rest, crank, charge, marginal, deficit, overcharge, rest: noise and all."""
    plan = (
        (90, 12600, 0, 2), (2, 0, 0, 0), (60, 14000, 4000, 40), (40, 13120, 2500, 40), (40, 14000, 4000, 40),
        (60, 12500, -15000, 40), (30, 13900, 9000, 40), (20, 15400, 9000, 40), (30, 14000, 2000, 40),
        (120, 12000, 0, 2),
    )  # fmt: skip
    for seconds, bus_mv, clamp_ma, noise in plan:
        if noise == 0:
            for tenth in range(10 * seconds):
                yield 100, 0, 9000 if tenth < 4 else 9300 + chance(200), -90000 if clamp else ABSENT
            continue
        for _ in range(seconds):
            yield 1000, noise, bus_mv + chance(noise + 1), clamp_ma + chance(300) if clamp else ABSENT


def faults(chance):
    """Codes outside the converter's range, one by one and for minutes; a clamp the wrong way round."""
    for index in range(300):
        yield 1000, 20, ABSENT if index % 7 == 0 or index > 200 else 13800, ABSENT if chance(3) else 2000
    for _ in range(100):
        yield 1000, 40, 14200 + chance(30), -10000


def hover(chance):
    for _ in range(600):
        yield 1000, 60, 12940 + chance(120), ABSENT


def wrapping(chance):
    """t_ms starts shortly before 2**30."""
    yield from day(chance, True)


def run(name, rows, start_ms):
    limits = thresholds.Thresholds()
    judge = engine.Engine(limits)
    book = ledger.Ledger()
    frame = frames.RowsFrame(1)
    frame.start(0, 0, 0)
    t_ms = start_ms
    for index, (dt_ms, spread, bus_mv, clamp_ma) in enumerate(rows):
        t_ms = (t_ms + dt_ms) & TICKS_MASK
        low_mv = high_mv = ABSENT
        if bus_mv != ABSENT:
            low_mv, high_mv = bus_mv - spread, bus_mv + spread
        clamp_ma = frames.round_clamp(clamp_ma)
        state = judge.step(t_ms, low_mv, bus_mv, high_mv, clamp_ma)
        book.add(dt_ms, bus_mv, clamp_ma, state, limits.discharging_mv)
        frame.add(dt_ms, low_mv, bus_mv, high_mv, clamp_ma, state, judge.warnings)
        print(
            name, index, t_ms, state, judge.warnings, judge.since_ms, judge.crank_low_mv, book.deficit_as(), book.low_s
        )
        if frame.is_full():
            print(binascii.hexlify(bytes(frame.buffer[: frame.close()])).decode())
            frame.start(index + 1, t_ms // 1000, t_ms % 1000)
        if index % 97 == 0:
            snapshot = judge.snapshot()
            print(snapshot)
            judge = engine.Engine(limits)
            judge.restore(snapshot)


def codes():
    for zero, gain in ((0, 277778), (-4096, 100000), (4096, 899999)):
        cal = calibration.Calibration()
        cal.bus_zero, cal.bus_gain_nv, cal.clamp_fitted = zero, gain, 1
        for code in (-70000, -1, 0, 63, 64, 255, 256, 32768, 65455, 65457, 65520, 65535, 65536, 1 << 20):
            print("code", zero, gain, code, cal.bus_mv(code), cal.clamp_ma(code))


if __name__ == "__main__":
    chance = Chance(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
    codes()
    run("walk", walk(chance), 0)
    run("day", day(chance, True), 0)
    run("volts", day(chance, False), 0)
    run("faults", faults(chance), 0)
    run("hover", hover(chance), 0)
    run("wrap", wrapping(chance), TICKS_MASK - 130000)
