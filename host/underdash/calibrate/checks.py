"""What cannot be right about points of volts, each with its reason and its remedy in one line."""

from dataclasses import dataclass
from itertools import pairwise
from math import isfinite, sqrt

import numpy as np

from chargecore import nominal
from chargecore.units import CODE_MAX
from underdash.calibrate.fit import Line, fit_line
from underdash.calibrate.meter import Meter
from underdash.calibrate.points import Point, decimals, unfolded
from underdash.problems import DataError

MIN_SPAN = 2.0  # [V] between lowest and highest: 3 mV at its ends are then 1.5 mV/V of slope
MIN_APART = 0.1  # [V] between neighbours
UNSTABLE = 0.005  # [V] standard deviation of the codes of one point
END = 64  # [1/16 step] closer to an end the converter does not follow its input (chargecore.calibration)
# The four wide codes' middles. Noise of a step blurs what the board can unfold to half a step either way.
WIDE = tuple(511 * 16 + 16384 * index for index in range(4))
WIDE_REACH = 24  # [1/16 step]
GAIN_SHARE = 0.06  # 0.1 % resistors and a 3.3 V supply of 2 % leave less than half of it open
POINT_SHARE = 0.10
ZERO_LIMIT = 0.4  # [V] by which the line may miss 0 V
# What is left of a converter's non-linearity after a five-point fit, rms: three chips' measured curves gave 0.9 to
# 1.4 mV within, 2.6 to 5.1 mV from 6 to 18 V (github.com/kitanokitsune/rp2040adc_correction at 61898dd).
_WITHIN = (11.6, 15.7)  # [V]
_REMAINDER, _REMAINDER_OUTSIDE = 0.0015, 0.006  # [V]


class Refusal(DataError):
    """Points that cannot be right. number: which one to take again, from 1, or None if that cannot be told."""

    def __init__(self, text: str, number: int | None = None) -> None:
        super().__init__(text)
        self.number = number


@dataclass(frozen=True)
class Nominal:
    """What an uncalibrated board takes for true: gain [V per unit], zero [units]."""

    gain: float = nominal.BUS_GAIN_NV / 1e9
    zero: float = float(nominal.BUS_ZERO)

    def volts(self, reading: float) -> float:
        return (reading - self.zero) * self.gain


def remainder(volts: float) -> float:
    """Standard uncertainty [V] from the converter's non-linearity that a line leaves at these volts."""
    return _REMAINDER if _WITHIN[0] <= volts <= _WITHIN[1] else _REMAINDER_OUTSIDE


def resolution(points: list[Point], meter: Meter) -> float:
    """One step [V] of the last digit that was written down: the meter's, unless all points have fewer."""
    return max(meter.resolution, 10.0 ** -max(decimals(point.text) for point in points)) if points else meter.resolution


def own_sigma(point: Point, gain: float, step: float) -> float:
    """A point's own standard uncertainty [V]: its scatter, its last digit, the converter's remainder."""
    scatter = point.spread * gain / sqrt(point.count) if isfinite(point.spread) else 0.0
    return sqrt(scatter**2 + step**2 / 12 + remainder(point.meter) ** 2)


def off_limit(point: Point, gain: float, meter: Meter, step: float) -> float:
    """By how much [V] a point may miss the line through the others: four times its own uncertainty, and a
    quarter of the meter's class, for a meter is a little crooked, too (our choice, no source)."""
    return 4 * own_sigma(point, gain, step) + meter.limit(point.meter) / 4


def check_point(point: Point, expected: Nominal, number: int | None = None) -> None:
    """Refuse what one point alone shows to be wrong."""
    where = f"point {number} ({point.text} V)" if number else f"{point.text} V"
    if point.meter < 0:
        raise Refusal(
            f"{where}: negative, the meter's leads are reversed; red to plus, black to ground, read again", number
        )
    if point.code < END:
        raise Refusal(
            (
                f"{where}: the board's input reads code {point.code:.0f}, the lower end of its range; check the "
                "sense lead and its fuse"
            ),
            number,
        )
    if point.code > CODE_MAX - END:
        raise Refusal(
            (
                f"{where}: the board's input reads code {point.code:.0f}, saturated at the upper end; turn the "
                "supply down to at most 16 V, check the divider's lower arm"
            ),
            number,
        )
    board = expected.volts(point.reading)
    if point.meter == 0:
        raise Refusal(
            (
                f"{where}: the meter reads nothing while the board reads about {board:.2f} V; check the meter's "
                "leads and range"
            ),
            number,
        )
    if isfinite(point.spread) and point.spread * expected.gain > UNSTABLE:
        raise Refusal(
            (
                f"{where}: unstable, the board's reading scatters by {point.spread * expected.gain * 1e3:.1f} "
                f"mV (limit {UNSTABLE * 1e3:g}); wait, fasten the leads, use a quieter supply"
            ),
            number,
        )
    if in_wide_code(point.code):
        raise Refusal(
            (
                f"{where}: within a wide code of the converter, blind there for some 40 mV; choose a voltage "
                "0.1 V higher or lower"
            ),
            number,
        )
    if abs(point.meter / board - 1) > POINT_SHARE:
        raise Refusal(f"{where}: {_far_off(point, board)}", number)


def in_wide_code(code: float) -> bool:
    """Is a mean code so near one of the four wide codes that it tells too little?"""
    return any(abs(code - middle) < WIDE_REACH for middle in WIDE)


def near_wide(volts: float, expected: Nominal) -> bool:
    """Are these volts [V] so near a wide code that a board of any make might be in it?"""
    middles = [expected.volts(unfolded(middle)) for middle in WIDE]
    return any(abs(volts - middle) < 0.06 + 0.008 * middle for middle in middles)


def _far_off(point: Point, board: float) -> str:
    for factor, said in (
        (1000, "in mV"),
        (100, ""),
        (10, ""),
        (0.1, ""),
        (0.01, ""),
        (0.001, "in kV, or the range is"),
    ):
        if abs(point.meter / factor / board - 1) <= POINT_SHARE:
            what = f"read {said}" if factor == 1000 else "its decimal point is in the wrong place"
            return f"{what}, for the board reads about {board:.2f} V; type {point.meter / factor:g}"
    for swapped in swaps(point.text):
        if abs(float(swapped) / board - 1) <= POINT_SHARE / 5:
            return f"two digits swapped? The board reads about {board:.2f} V; if the meter shows {swapped}, type that"
    return (
        f"the board reads about {board:.2f} V, {abs(point.meter / board - 1) * 100:.0f} % away (limit "
        f"{POINT_SHARE * 100:g} %); meter and board on the same terminals? Right range, "
        "right divider (own parts: --values)?"
    )


def swaps(text: str) -> list[str]:
    """The number with each two neighbouring digits swapped, where that changes it."""
    plain = text.strip().replace(",", ".").rstrip("V v")
    places = [place for place, mark in enumerate(plain) if mark.isdigit()]
    found = []
    for left, right in pairwise(places):
        if plain[left] != plain[right]:
            marks = list(plain)
            marks[left], marks[right] = marks[right], marks[left]
            found.append("".join(marks))
    return found


def check_set(points: list[Point], meter: Meter, expected: Nominal) -> Line:
    """The line through points that, taken together, can be right; Refusal for those that cannot."""
    if len(points) < 2:
        raise Refusal(
            f"{len(points)} point{'s' * (len(points) != 1)}: too few, a line needs at least 2, better 5; take more"
        )
    for number, point in enumerate(points, 1):
        check_point(point, expected, number)
    step = resolution(points, meter)
    if len(points) > 2:
        _swapped(points, meter, expected, step)
    order = sorted(range(len(points)), key=lambda index: points[index].meter)
    for low, high in pairwise(order):
        one, two = points[low], points[high]
        if one.text == two.text or two.meter - one.meter < MIN_APART - 1e-9:
            same = "the same" if one.meter == two.meter else f"only {(two.meter - one.meter) * 1e3:.0f} mV apart"
            raise Refusal(
                f"points {low + 1} and {high + 1} ({one.text} and {two.text} V): {same}, neighbours must be "
                f"{MIN_APART:g} V apart; take one of them elsewhere",
                max(low, high) + 1,
            )
        if two.reading <= one.reading:
            raise Refusal(
                (
                    f"points {low + 1} and {high + 1}: the board's reading falls from {one.reading:.0f} to "
                    f"{two.reading:.0f} while the meter rises from {one.text} to {two.text} V; take both again, "
                    "and let the supply settle"
                ),
                high + 1,
            )
    span = points[order[-1]].meter - points[order[0]].meter
    if span < MIN_SPAN:
        raise Refusal(
            f"{len(points)} points from {points[order[0]].text} to {points[order[-1]].text} V: too close "
            f"together, {span:.2f} V (limit {MIN_SPAN:g}); take points near 11.8 and 15.4 V, too"
        )
    line = fit_points(points, expected, step)
    _plausible(points, line, expected)
    _outlier(points, line, meter, step)
    return line


def fit_points(points: list[Point], expected: Nominal, step: float) -> Line:
    """The line, each point weighed by its own uncertainty."""
    sigmas = [own_sigma(point, expected.gain, step) for point in points]
    return fit_line([point.reading for point in points], [point.meter for point in points], sigmas)


def _without(points: list[Point], left_out: int, expected: Nominal, step: float) -> Line | None:
    others = [point for index, point in enumerate(points) if index != left_out]
    if len({point.reading for point in others}) < 2:
        return None
    return fit_points(others, expected, step)


def _swapped(points: list[Point], meter: Meter, expected: Nominal, step: float) -> None:
    """One point far off the line through the others, which two digits swapped would bring back to it.

    Of four and more that is the point without which the others are straightest; of three it may be any.
    """
    found = []
    for index, point in enumerate(points):
        line = _without(points, index, expected, step)
        if line is not None:
            found.append((float(abs(line.residuals).max()), index, point, line))
    found.sort(key=lambda one: one[0])
    for crooked, index, point, line in found if len(points) == 3 else found[:1]:
        wanted = float(line.volts(point.reading))
        limit = max(off_limit(each, expected.gain, meter, step) for each in points)
        reach = limit * sqrt(1 + float(line.leverage(point.reading)))
        if abs(line.gain / expected.gain - 1) > GAIN_SHARE or abs(point.meter - wanted) <= reach or crooked > reach:
            continue
        for swapped in swaps(point.text):
            if abs(float(swapped) - wanted) <= reach:
                raise Refusal(
                    f"point {index + 1} ({point.text} V) lies {abs(point.meter - wanted) * 1e3:.0f} mV off "
                    "the line of the others: two digits swapped? "
                    f"They say {wanted:.3f} V; if the meter showed {swapped}, type that",
                    index + 1,
                )


def _plausible(points: list[Point], line: Line, expected: Nominal) -> None:
    share = line.gain / expected.gain - 1
    if abs(share) > GAIN_SHARE:
        raise Refusal(
            f"gain {line.gain * 1e9:.0f} nV per unit is {share * 100:+.1f} % from the nominal "
            f"{expected.gain * 1e9:.0f} "
            f"(limit {GAIN_SHARE * 100:g} %): wrong divider resistor, wrong meter range, or a point misread; "
            "check "
            "these, or name your own parts with --values"
        )
    miss = (line.zero - expected.zero) * expected.gain
    if abs(miss) > ZERO_LIMIT:
        raise Refusal(
            f"the line misses 0 V by {miss * 1e3:+.0f} mV (limit {ZERO_LIMIT * 1e3:g}): something adds "
            "volts, as a ground lead that carries current, or a point is misread; measure at the sense "
            "lead's own terminals"
        )


def _outlier(points: list[Point], line: Line, meter: Meter, step: float) -> None:
    """The point farthest off the line through the others, if it is too far."""
    if len(points) == 2:
        return
    expected = Nominal(line.gain, line.zero)
    worst, off, limit = 0, 0.0, 1.0
    for index, point in enumerate(points):
        other = _without(points, index, expected, step)
        assert other is not None
        reach = off_limit(point, line.gain, meter, step) * sqrt(1 + float(other.leverage(point.reading)))
        away = point.meter - float(other.volts(point.reading))
        if abs(away) / reach > abs(off) / limit:
            worst, off, limit = index, away, reach
    if abs(off) <= limit:
        return
    if len(points) == 3:
        raise Refusal(
            f"the three points do not lie on a line: each is up to {abs(off) * 1e3:.0f} mV off the other "
            f"two's (limit {limit * 1e3:.0f}); take them again, or a fourth to learn which is wrong"
        )
    raise Refusal(
        (
            f"point {worst + 1} ({points[worst].text} V) lies {off * 1e3:+.0f} mV off the line of the others "
            f"(limit {limit * 1e3:.0f}); take it again"
        ),
        worst + 1,
    )


def cautions(points: list[Point], meter: Meter) -> list[str]:
    """What is no reason to refuse, but must be told."""
    found = []
    volts = np.array([point.meter for point in points])
    step = resolution(points, meter)
    if len(points) == 2:
        found.append(
            "Two points: nothing shows whether they are right. The uncertainty rests on judgement alone (no Type A)."
        )
    if step > meter.resolution * 1.001:
        found.append(
            f"No reading has more than {decimals(max((p.text for p in points), key=decimals))} decimals "
            f"though the meter shows steps of {meter.resolution:g} V: the uncertainty is worked out with "
            f"{step:g} V."
        )
    if volts.min() > 12.05 or volts.max() < 14.95:
        found.append(
            f"The points reach from {volts.min():.2f} to {volts.max():.2f} V: beyond them the line is stretched."
        )
    limit = meter.limit(13.5)
    if limit > 0.005:
        found.append(
            f"The meter's own class allows {limit * 1e3:.1f} mV at 13.5 V. No calibration by it is better "
            "than that; the board now agrees with this meter."
        )
    return found
