"""How far a calibrated board may be off, put together as the GUM does (JCGM 100:2008, from memory).

Type A: from the scatter of what was measured here. Type B: from what is known otherwise (the meter's
class, the last digit, what the converter keeps of its crookedness). Standard uncertainties add as
squares; the expanded one covers about 95 % by the t-factor of the effective degrees of freedom
(Welch and Satterthwaite, G.4).
"""

from dataclasses import dataclass
from math import inf, isfinite, sqrt

from scipy import stats

from underdash.calibrate.checks import Nominal, own_sigma, remainder, resolution
from underdash.calibrate.fit import Line
from underdash.calibrate.meter import Meter
from underdash.calibrate.points import Point

AT = (12.0, 12.6, 13.5, 14.4, 15.0)  # [V]
METER_CLASS = "the meter's class"  # the part that no residual shows
COVERAGE = 0.9545  # two standard deviations of a normal distribution


@dataclass(frozen=True)
class Component:
    """One part. kind "A" or "B"; standard: standard uncertainty; freedom: degrees of freedom; why, in words."""

    name: str
    kind: str
    standard: float
    freedom: float
    why: str


@dataclass(frozen=True)
class Statement:
    """What holds at one value. combined: standard uncertainty; expanded = factor times combined; all in its unit."""

    value: float
    components: tuple[Component, ...]
    combined: float
    freedom: float
    factor: float
    expanded: float


def combine(value: float, components: list[Component]) -> Statement:
    """Components, all with a sensitivity of 1, as one statement."""
    combined = sqrt(sum(part.standard**2 for part in components))
    scattered = sum(part.standard**4 / part.freedom for part in components if isfinite(part.freedom))
    freedom = combined**4 / scattered if scattered > 0 else inf
    factor = float(stats.t.ppf(0.5 + COVERAGE / 2, freedom)) if isfinite(freedom) else 2.0
    return Statement(value, tuple(components), combined, freedom, factor, factor * combined)


def scatter_part(points: list[Point], gain: float) -> list[Component]:
    """One sample's scatter, pooled over the points that know theirs."""
    known = [point for point in points if isfinite(point.spread) and point.count > 1]
    if not known:
        return []
    freedom = sum(point.count - 1 for point in known)
    pooled = sqrt(sum((point.count - 1) * point.spread**2 for point in known) / freedom) * abs(gain)
    return [
        Component(
            "scatter of one shown value", "A", pooled, freedom, f"{freedom + len(known)} samples in {len(known)} points"
        )
    ]


def of_volts(line: Line, points: list[Point], meter: Meter, at_volts: tuple[float, ...] = AT) -> list[Statement]:
    """The statements for `at_volts` [V]: true volts minus the board's, calibrated by `line` from `points`."""
    step = resolution(points, meter)
    found = []
    for volts in at_volts:
        at = volts / line.gain + line.zero
        leverage = sqrt(float(line.leverage(at)))
        if line.freedom > 0:
            fitted = Component(
                "the fitted line",
                "A",
                line.scatter * leverage,
                line.freedom,
                f"residuals of {len(points)} points, {line.freedom} degrees of freedom",
            )
        else:
            prior = sqrt(sum(own_sigma(point, line.gain, step) ** 2 for point in points) / len(points))
            fitted = Component(
                "the fitted line",
                "B",
                prior * leverage,
                inf,
                "two points have no residuals: judged from digit, scatter and converter",
            )
        rounding = sqrt(2 * line.gain**2 / 12 + 0.001**2 / 12)
        found.append(
            combine(
                volts,
                [
                    fitted,
                    *scatter_part(points, line.gain),
                    Component(
                        METER_CLASS,
                        "B",
                        meter.standard(volts),
                        inf,
                        f"{meter}: {meter.limit(volts) * 1e3:.1f} mV, rectangular, the same at every point",
                    ),
                    Component("the meter's last digit", "B", step / sqrt(12), inf, f"steps of {step:g} V, rectangular"),
                    Component(
                        "converter's non-linearity",
                        "B",
                        remainder(volts),
                        inf,
                        "rms that a line left on three measured chips",
                    ),
                    Component(
                        "whole numbers on the board",
                        "B",
                        rounding,
                        inf,
                        "1 mV shown, zero in sixteenths of a step, rectangular",
                    ),
                ],
            )
        )
    return found


def expected_of(line: Line) -> Nominal:
    """The line as what a board that has it takes for true."""
    return Nominal(line.bus_gain_nv / 1e9, float(line.bus_zero))
