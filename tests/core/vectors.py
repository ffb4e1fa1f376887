"""Rows for the engine, from an integer generator: the same on either interpreter.

Each vector yields (dt_ms, low_mv, bus_mv, high_mv, clamp_ma), the clamp not yet rounded.
"""

from chargecore import calibration, thresholds
from chargecore.units import ABSENT, TICKS_MASK


class Chance:
    """chance(below): the next of a row of integers that looks like chance and is none."""

    def __init__(self, seed):
        self._x = seed

    def __call__(self, below):
        self._x = (self._x * 1103515245 + 12345) & 0x7FFFFFFF
        return (self._x >> 8) % below


def around(dt_ms, bus_mv, spread_mv, clamp_ma):
    return dt_ms, bus_mv - spread_mv, bus_mv, bus_mv + spread_mv, clamp_ma


def unmeasured(dt_ms, clamp_ma):
    return dt_ms, ABSENT, ABSENT, ABSENT, clamp_ma


def walk(chance):
    """Volts and amps wander; now and then a hole on either side of what the engine bridges."""
    bus_mv, clamp_ma = 12600, 0
    for _ in range(1200):
        bus_mv = max(8000, min(16500, bus_mv + chance(201) - 100))
        clamp_ma = max(-60000, min(60000, clamp_ma + chance(4001) - 2000))
        dt_ms = 1000
        if chance(60) == 0:
            dt_ms = (1, 2300, 9999, 10000, 10001, 65535)[chance(6)]
        yield around(dt_ms, bus_mv, chance(80), clamp_ma)


def steps(chance):
    """A level, held for a few rows or many, then another."""
    for _ in range(60):
        bus_mv, spread_mv = 11500 + 100 * chance(42), (1, 5, 6, 7, 40)[chance(5)]
        clamp_ma = ABSENT if chance(3) == 0 else 500 * (chance(60) - 30)
        for _ in range(1 + chance(30)):
            yield around(1000, bus_mv + chance(5), spread_mv, clamp_ma)


def crank(chance, inrush_mv, held_mv, tenths, clamp_ma):
    """The starter, ten rows a second: inrush, what the battery holds, and the way back up."""
    yield around(100, inrush_mv, 0, clamp_ma)
    for _ in range(tenths):
        yield around(100, held_mv + chance(300), 0, clamp_ma)
    for bus_mv in (11350, 11380, 11420, 12100, 12900):
        yield around(100, bus_mv, 0, ABSENT if clamp_ma == ABSENT else 0)


def cranks(chance):
    """Good, weak, hardly one, and one that never ends; each tried twice."""
    kinds = ((8200, 10200, 8), (7000, 9100, 20), (9900, 10900, 3), (7400, 8300, 330))
    for inrush_mv, held_mv, tenths in kinds:
        for _ in range(30):
            yield around(1000, 12550, 1, 0)
        yield from crank(chance, inrush_mv, held_mv, tenths, -120000)
        for _ in range(chance(8)):
            yield around(1000, 12800 + chance(900), 30, 2000)
        yield from crank(chance, inrush_mv, held_mv, tenths, ABSENT)
        for _ in range(15):
            yield around(1000, 12300 + chance(40), 35, ABSENT)


def day(chance, clamp):
    """Rest, crank, charge, marginal, deficit, overcharge, rest."""
    plan = (
        (90, 12600, 0, 2), (0, 0, 0, 0), (60, 14000, 4000, 40), (40, 13120, 2500, 40), (40, 14000, 4000, 40),
        (60, 12500, -15000, 40), (30, 13900, 9000, 40), (20, 15400, 9000, 40), (30, 14000, 2000, 40),
        (120, 12000, 0, 2),
    )  # fmt: skip
    for seconds, bus_mv, clamp_ma, noise in plan:
        if noise == 0:
            yield from crank(chance, 8800, 9300, 12, -90000 if clamp else ABSENT)
        for _ in range(seconds):
            yield around(1000, bus_mv + chance(noise + 1), noise, clamp_ma + chance(300) if clamp else ABSENT)


def absences(chance):
    """Codes at and beyond the converter's ends, through a calibration; then a minute of no volts."""
    cal = calibration.Calibration()
    cal.clamp_fitted = 1
    odd = (-70000, -1, 0, 63, 64, 65455, 65457, 65520, 65535, 65536, 1 << 20)
    for _ in range(250):
        bus = odd[chance(len(odd))] if chance(6) == 0 else 49600 + chance(500)
        clamp = odd[chance(len(odd))] if chance(4) == 0 else 32000 + chance(2500)
        bus_mv, clamp_ma = cal.bus_mv(bus), cal.clamp_ma(clamp)
        yield unmeasured(1000, clamp_ma) if bus_mv == ABSENT else around(1000, bus_mv, 20, clamp_ma)
    for _ in range(70):
        yield unmeasured(1000, ABSENT)
    for _ in range(10):
        yield around(1000, 13900 + chance(30), 20, ABSENT)


def contradictions(chance):
    """A clamp the wrong way round while the regulator drifts; then current into an empty battery."""
    for _ in range(20):
        yield around(1000, 14200 + chance(30), 30, 500)
    for second in range(700):
        yield around(1000, 14200 - second + chance(30), 30, -10000)
    for _ in range(90):
        yield around(1000, 11700 + chance(60), 30, 5000)


def hover(chance):
    """At each of the limits, a little above and a little below, still and alive."""
    limits = thresholds.Thresholds()
    for name in ("discharging_mv", "marginal_mv", "healthy_mv", "overcharge_mv", "crank_mv", "low_rest_mv"):
        for spread_mv in (limits.still_mv // 2, 60):
            for _ in range(60):
                yield around(1000, getattr(limits, name) - 110 + chance(220), spread_mv, ABSENT)
    for _ in range(120):
        yield around(1000, 13100 + chance(40), 60, -limits.clamp_dead_ma - 400 + chance(800))


def holes(chance):
    """A deficit in the making, with rows missing for just as long as is bridged and just longer."""
    for hole_ms in (2000, 5000, 9999, 10000, 10001, 60000):
        for _ in range(20):
            yield around(1000, 13950 + chance(40), 30, 2000)
        for index in range(12):
            yield around(hole_ms if index == 3 else 1000, 12500 + chance(40), 30, -9000)


def parked(chance):
    """Rest in rows of a minute, with one just too long; then a starter in the middle of it."""
    for _ in range(40):
        yield around(1000, 12600 + chance(3), 2, ABSENT)
    for minute in range(120):
        dt_ms = (65535 if minute % 50 == 20 else 65536) if minute % 50 in (20, 40) else 60000
        yield around(dt_ms, 12600 - minute // 2, chance(12), ABSENT)
        if minute % 50 == 40:
            for _ in range(25):
                yield around(1000, 12500 + chance(3), 2, ABSENT)
    yield around(23400, 12540, 2, ABSENT)
    yield from crank(chance, 8800, 9900, 9, ABSENT)
    for _ in range(60):
        yield around(1000, 13900 + chance(40), 30, ABSENT)


def keyed(chance):
    """A day for an engine that is told of the key (KEYS)."""
    yield from day(chance, False)
    yield from day(chance, True)


# The key, in turn, for so many rows each in the vector "keyed": unknown, on, off.
KEYS = ((ABSENT, 30), (1, 170), (0, 25), (1, 130), (0, 60))


def key_at(index):
    """The key at a row of "keyed"."""
    index %= sum([rows for _, rows in KEYS])
    for key, rows in KEYS:
        if index < rows:
            return key
        index -= rows
    return ABSENT


def every(seed):
    """(name, rows, the clock before the first row) of each vector."""
    return (
        ("walk", walk(Chance(seed)), 0),
        ("steps", steps(Chance(seed)), 5),
        ("cranks", cranks(Chance(seed)), 0),
        ("day", day(Chance(seed), True), 0),
        ("wrap", day(Chance(seed), True), TICKS_MASK - 130000),
        ("volts", day(Chance(seed), False), 0),
        ("absences", absences(Chance(seed)), 0),
        ("contradictions", contradictions(Chance(seed)), TICKS_MASK - 30000),
        ("hover", hover(Chance(seed)), 0),
        ("holes", holes(Chance(seed)), 0),
        ("parked", parked(Chance(seed)), 0),
        ("keyed", keyed(Chance(seed)), 0),
    )


def one(name, seed=1):
    """(rows, the clock before the first row) of the vector of this name."""
    return next(vector[1:] for vector in every(seed) if vector[0] == name)


NAMES = tuple([vector[0] for vector in every(1)])
