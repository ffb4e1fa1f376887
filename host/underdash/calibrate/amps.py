"""The clamp's line: amps = (reading - zero) * gain, positive INTO the battery, and what cannot be right about it.

Points come in the order in which they were taken: a clamp's core remembers the last current, so a zero
after charging and a zero after discharging differ, and the line's zero is their middle.
"""

from dataclasses import dataclass, replace
from math import inf, isfinite, sqrt

from chargecore import nominal
from chargecore.units import CODE_MAX
from underdash.calibrate.checks import END, Nominal, Refusal, in_wide_code, swaps
from underdash.calibrate.fit import Line, fit_line
from underdash.calibrate.meter import Meter
from underdash.calibrate.points import Point, decimals, unfolded
from underdash.calibrate.uncertainty import METER_CLASS, Component, Statement, combine, scatter_part

NOMINAL = Nominal(nominal.CLAMP_GAIN_UA / 1e6, float(nominal.CLAMP_ZERO))
# Limits of our choice, for a split-core Hall sensor of 100 A; no source.
MIN_AMPS = 5.0  # [A] times turns, each way
UNSTABLE = 0.15  # [A] standard deviation of one point's codes
GAIN_SHARE = 0.15
ZERO_AMPS = 12.0  # [A] by which the zero may be off its nominal place
HYSTERESIS = 0.6  # [A] between zero after charging and zero after discharging
ASYMMETRY = 0.03
REMANENCE = 0.05  # [A] standard uncertainty of a zero after the usual care
SUPPLY_SHARE = 0.05  # between one point's supply of the sensor and the others'
POSITION = 0.005  # of the current: where in the hole the wire lies (from memory)
AT = (-50.0, -10.0, 0.0, 10.0, 50.0)  # [A]


@dataclass(frozen=True)
class Found:
    """What points of amps say. line: amps for readings; hysteresis [A]: zero after charging minus zero after
    discharging; asymmetry: share by which the gain each way differs; backwards: the sensor counts the other way;
    supply: code of its supply that the line holds for, 0 if that was not measured; points: brought to it."""

    line: Line
    hysteresis: float
    asymmetry: float
    supply: int
    points: list[Point]

    @property
    def backwards(self) -> bool:
        return self.line.gain < 0

    @property
    def values(self) -> dict[str, int]:
        """The board's integers."""
        return {
            "clamp_fitted": 1,
            "clamp_zero": round(self.line.zero),
            "clamp_gain_ua": round(self.line.gain * 1e6),
        }


def check_point(point: Point, expected: Nominal, number: int | None = None) -> None:
    """Refuse what one point alone shows to be wrong."""
    where = f"point {number} ({point.text} A)" if number else f"{point.text} A"
    if point.code < END or point.code > CODE_MAX - END:
        end = "lower" if point.code < END else "upper"
        raise Refusal(
            (
                f"{where}: the clamp's input reads code {point.code:.0f}, the {end} end of its range: the "
                "sensor is unplugged, has no supply, or the current is beyond it; check the plug, pass less "
                "current"
            ),
            number,
        )
    if isfinite(point.spread) and point.spread * expected.gain > UNSTABLE:
        raise Refusal(
            (
                f"{where}: unstable, the board's reading scatters by {point.spread * expected.gain:.2f} A "
                f"(limit {UNSTABLE:g}); use a steady direct current, keep the clamp still"
            ),
            number,
        )
    if in_wide_code(point.code):
        raise Refusal(
            (
                f"{where}: within a wide code of the converter, blind there for some 0.6 A; choose a current "
                "1 A higher or lower"
            ),
            number,
        )
    if point.meter == 0:
        away = (point.reading - expected.zero) * expected.gain
        if abs(away) > ZERO_AMPS:
            raise Refusal(
                (
                    f"{where}: with no current the clamp reads {away:+.1f} A from its nominal zero (limit "
                    f"{ZERO_AMPS:g}): a current flows, the core is magnetised, or its supply is wrong; take every "
                    "wire out, open and close it twice, check its 5 V"
                ),
                number,
            )
    elif abs(point.meter) < MIN_AMPS:
        raise Refusal(
            (
                f"{where}: {abs(point.meter):g} A through the clamp is too little (limit {MIN_AMPS:g}), "
                "remanence would spoil the gain; pass more current, or wind more turns"
            ),
            number,
        )


def at_one_supply(points: list[Point], bus_zero: int) -> tuple[list[Point], int]:
    """Points as they would have been with one supply of the ratiometric sensor, and that supply's code.

    bus_zero [units]: of the converter, the same at all its inputs (as chargecore.calibration.clamp_ma has it). Where
    a point's supply is not known, nothing is changed and the code is 0.
    """
    if not all(point.supply for point in points):
        return points, 0
    common = round(sum(point.supply for point in points) / len(points))
    signal = unfolded(float(common)) - bus_zero
    brought = []
    for number, point in enumerate(points, 1):
        own = unfolded(point.supply) - bus_zero
        if own <= 0 or abs(signal / own - 1) > SUPPLY_SHARE:
            raise Refusal(
                (
                    f"point {number} ({point.text} A): the sensor's supply was at code {point.supply:.0f}, "
                    f"elsewhere at {common} (limit {SUPPLY_SHARE * 100:g} %): a loose plug, or a supply that "
                    "sags; mend it, take the point again"
                ),
                number,
            )
        brought.append(replace(point, reading=bus_zero + (point.reading - bus_zero) * signal / own))
    return brought, common


def analyse(points: list[Point], meter: Meter, expected: Nominal = NOMINAL, bus_zero: int = nominal.BUS_ZERO) -> Found:
    """The line through points that can be right; Refusal for those that cannot.

    bus_zero [units]: the board's, see at_one_supply.
    """
    if not points:
        raise Refusal("0 points: too few; take a zero, a load each way, and a zero after each")
    for number, point in enumerate(points, 1):
        check_point(point, expected, number)
    points, supply = at_one_supply(points, bus_zero)
    zeros = [point for point in points if point.meter == 0]
    plus = [point for point in points if point.meter > 0]
    minus = [point for point in points if point.meter < 0]
    if not zeros:
        raise Refusal("no point at 0 A: the clamp's zero cannot be told; close it around nothing and take one")
    if not plus or not minus:
        have = "no load" if not plus and not minus else "loads in one direction only"
        raise Refusal(f"{have}: too few points; turn the wire around and take one with the current the other way")
    after = _zeros_after(points)
    if not after["plus"] or not after["minus"]:
        missing = "charging" if not after["plus"] else "discharging"
        raise Refusal(
            f"no zero after the {missing} current: the core's memory cannot be told; take 0 A again after each load"
        )
    zero = (_mean(after["plus"]) + _mean(after["minus"])) / 2
    gains = {
        name: sum((point.reading - zero) * point.meter for point in loads)
        / sum((point.reading - zero) ** 2 for point in loads)
        for name, loads in (("plus", plus), ("minus", minus))
        if any(point.reading != zero for point in loads)
    }
    if len(gains) < 2 or gains["plus"] * gains["minus"] <= 0:
        raise Refusal(
            "the clamp reads to the same side for both directions: the current was not turned around, or "
            "the signs are wrong; in at the face marked BATTERY is charging, positive"
        )
    _size(points, zero, expected)
    gain = (gains["plus"] + gains["minus"]) / 2
    _ratio(points, abs(gain) / expected.gain)
    hysteresis = (_mean(after["plus"]) - _mean(after["minus"])) * gain
    if abs(hysteresis) > HYSTERESIS:
        raise Refusal(
            f"the zero after charging and after discharging differ by {hysteresis:+.2f} A (limit "
            f"{HYSTERESIS:g}): the core keeps a memory or is not shut; open and close it, demagnetise it, "
            "clean its faces, take the points again"
        )
    asymmetry = gains["plus"] / gains["minus"] - 1
    if abs(asymmetry) > ASYMMETRY:
        raise Refusal(
            f"the gain differs by {asymmetry * 100:+.1f} % between the directions (limit "
            f"{ASYMMETRY * 100:g} %): a meter reading is wrong, or the sensor saturates; read both loads "
            "again, or pass less current"
        )
    line = fit_line([p.reading for p in points], [p.meter for p in points], [_sigma(p, meter, gain) for p in points])
    _outlier(points, line, meter)
    return Found(line, round(hysteresis, 2) + 0.0, round(asymmetry, 3) + 0.0, supply, points)


def _zeros_after(points: list[Point]) -> dict[str, list[Point]]:
    found: dict[str, list[Point]] = {"none": [], "plus": [], "minus": []}
    last = "none"
    for point in points:
        if point.meter == 0:
            found[last].append(point)
        else:
            last = "plus" if point.meter > 0 else "minus"
    return found


def _mean(points: list[Point]) -> float:
    return sum(point.reading for point in points) / len(points)


def _sigma(point: Point, meter: Meter, gain: float) -> float:
    """A point's own standard uncertainty [A]."""
    scatter = point.spread * gain / sqrt(point.count) if isfinite(point.spread) else 0.0
    digit = 0.0 if point.meter == 0 else meter.resolution * point.turns / sqrt(12)
    return sqrt(REMANENCE**2 + scatter**2 + digit**2 + (POSITION * point.meter) ** 2)


def _off_limit(point: Point, meter: Meter, gain: float) -> float:
    own = 0.0 if point.meter == 0 else meter.limit(point.meter / point.turns) * point.turns
    return 4 * _sigma(point, meter, gain) + own / 4 + HYSTERESIS / 2


def _size(points: list[Point], zero: float, expected: Nominal) -> None:
    """One load that contradicts the sensor's nominal gain while others do not: digits, milliamps."""
    loads = [(number, point) for number, point in enumerate(points, 1) if point.meter != 0]
    shares = {
        number: abs(point.meter / ((point.reading - zero) * expected.gain)) if point.reading != zero else inf
        for number, point in loads
    }
    for number, point in loads:
        board = abs(point.reading - zero) * expected.gain
        if abs(shares[number] / 1000 - 1) <= GAIN_SHARE:
            raise Refusal(
                f"point {number} ({point.text} A): read in mA, for the clamp reads about {board:.1f} A; type "
                f"{point.meter / point.turns / 1000:g}",
                number,
            )
        others = [abs(share - 1) <= GAIN_SHARE for other, share in shares.items() if other != number]
        if abs(shares[number] - 1) <= GAIN_SHARE or not all(others):
            continue
        for swapped in swaps(point.text):
            if abs(abs(float(swapped)) * point.turns / board - 1) <= GAIN_SHARE / 3:
                raise Refusal(
                    (
                        f"point {number} ({point.text} A): two digits swapped? The clamp reads about {board:.1f} A; "
                        f"if the meter shows {swapped}, type that"
                    ),
                    number,
                )
        raise Refusal(
            (
                f"point {number} ({point.text} A, {point.turns} turns): the clamp reads about {board:.1f} A; "
                "read the meter and count the turns again"
            ),
            number,
        )


def _ratio(points: list[Point], share: float) -> None:
    """The gain's share of the nominal one, if it is too far from 1."""
    if abs(share - 1) <= GAIN_SHARE:
        return
    turns = max(point.turns for point in points)
    hint = "wrong turns, meter or sensor; count the turns again, or name your own parts with --values"
    for factor in range(2, 101):
        if abs(share * factor - 1) <= 0.05:
            hint = f"as if the wire went through {turns * factor} times, not {turns}; give the turns with --turns"
            break
        if abs(share / factor - 1) <= 0.05 and turns % factor == 0:
            hint = (
                f"as if the wire went through {turns // factor} times, not {turns}; count the passes through the hole"
            )
            break
    raise Refusal(f"the clamp's gain is {share:.3f} of the nominal one (limit {GAIN_SHARE * 100:g} % off): {hint}")


def _outlier(points: list[Point], line: Line, meter: Meter) -> None:
    for number, (point, off) in enumerate(zip(points, line.residuals, strict=True), 1):
        limit = _off_limit(point, meter, line.gain)
        if abs(off) > limit:
            raise Refusal(
                (f"point {number} ({point.text} A) lies {off:+.2f} A off the line (limit {limit:.2f}); take it again"),
                number,
            )


def proof_limit(point: Point, found: Found, meter: Meter) -> float:
    """By how much [A] the board may miss a reading that the line has not seen."""
    return _off_limit(point, meter, found.line.gain) + abs(found.hysteresis) / 2


def of_amps(found: Found, points: list[Point], meter: Meter, at_amps: tuple[float, ...] = AT) -> list[Statement]:
    """The uncertainty for `at_amps` [A]."""
    line = found.line
    turns = max(point.turns for point in points)
    told = []
    for amps in at_amps:
        at = amps / line.gain + line.zero
        parts = [
            Component(
                "the fitted line",
                "A",
                line.scatter * sqrt(float(line.leverage(at))),
                line.freedom,
                f"residuals of {len(points)} points, {line.freedom} degrees of freedom",
            ),
            *scatter_part(points, line.gain),
            Component(
                METER_CLASS,
                "B",
                meter.standard(amps / turns) * turns,
                inf,
                f"{meter}, {turns} turns, rectangular",
            ),
            Component(
                "the meter's last digit",
                "B",
                meter.resolution * turns / sqrt(12),
                inf,
                f"steps of {meter.resolution:g} A times {turns} turns, rectangular",
            ),
            Component(
                "the core's memory",
                "B",
                max(abs(found.hysteresis) / 2, REMANENCE) / sqrt(3),
                inf,
                "half of the difference between the zeros, rectangular",
            ),
            Component(
                "place of the wire in the hole",
                "B",
                POSITION * abs(amps) / sqrt(3),
                inf,
                f"{POSITION * 100:g} % of the current, from memory",
            ),
            Component(
                "whole numbers on the board",
                "B",
                sqrt(2 * line.gain**2 / 12 + 0.05**2 / 12),
                inf,
                "rows count 50 mA, zero in sixteenths of a step",
            ),
        ]
        told.append(combine(amps, parts))
    return told


def cautions(points: list[Point], found: Found, meter: Meter) -> list[str]:
    """What is no reason to refuse, but must be told."""
    told = []
    if not found.supply:
        told.append(
            "The sensor's supply was not measured: zero and gain hold for the supply they were taken "
            "with, and an ampere or more may be missing with another. Give supply_code with the points."
        )
    told.append(
        f"The zeros after charging and after discharging differ by {found.hysteresis:+.2f} A: small "
        "currents are no surer."
    )
    if found.backwards:
        told.append("The sensor counts the other way; its gain carries the minus sign, so it may stay as it is.")
    largest = max(abs(point.meter) for point in points)
    if largest < 20:
        told.append(f"The largest current was {largest:g} A: beyond it the line is stretched.")
    loads = [point.text for point in points if point.meter != 0]
    if max(decimals(text) for text in loads) < meter.decimals:
        told.append("No load was read with all of the meter's digits.")
    return told
