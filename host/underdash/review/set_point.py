"""What the regulator holds: median, spread, against temperature where one was logged, and by engine speed."""

from typing import Any

import numpy as np

from underdash.review.rows import Floats, Lines, Rows
from underdash.review.theil_sen import theil_sen

SETTLED_S = 60.0  # after charging begins; the crank's charge is back by then (chosen here)
IDLE_RPM = (500.0, 900.0)
FAST_RPM = (2000.0, 3000.0)  # where shop manuals measure charging volts: 2,000 to 2,500 or 3,000 rpm
_LEAST_SPAN_K = 5.0  # a smaller change of temperature says nothing of a slope
_LEAST_POINTS = 30
_MOST_POINTS = 400


def set_point(driven: Rows, charging: Any) -> dict[str, float | None]:
    """set_point_volts (the median), _low_, _high_ (5th and 95th percentile) [V], set_point_slope_v_per_k [V/K]: all of
    charging that has settled, but the median of all charging where none has.

    charging: whether each row is of charging, with hindsight: a verdict stands for a while after its condition has
    gone, and the first seconds of a deficit, or of a car just parked, are no set point.
    """
    volts, t_s = driven.volts[charging], driven.t_s[charging]
    names = ("set_point_volts", "set_point_low_volts", "set_point_high_volts", "set_point_slope_v_per_k")
    known = np.isfinite(volts)
    if not known.any():
        return dict.fromkeys(names)
    settled = t_s >= t_s[0] + SETTLED_S
    celsius = driven.temperature[charging] if np.isfinite(driven.temperature).any() else None
    if not known.all():
        settled, volts = settled[known], volts[known]
        celsius = celsius[known] if celsius is not None else None
    low = middle = high = slope = None
    if settled.any():
        held = volts[settled]
        low, middle, high = (round(value, 3) for value in quantiles(held, 0.05, 0.5, 0.95))
        slope = _slope(held, celsius[settled]) if celsius is not None else None
    else:
        middle = round(quantiles(volts, 0.5)[0], 3)
    return dict(zip(names, (middle, low, high, slope), strict=True))


def quantiles(values: Floats, *shares: float) -> list[float]:
    """Quantiles of finite values, in a straight line between neighbours, as numpy.quantile has them; in one go."""
    places = [share * (len(values) - 1) for share in shares]
    around = [(int(place), min(int(place) + 1, len(values) - 1)) for place in places]
    ordered = np.partition(values, sorted({place for pair in around for place in pair}))
    return [
        float(ordered[below] + (ordered[above] - ordered[below]) * (place - below))
        for place, (below, above) in zip(places, around, strict=True)
    ]


def _slope(volts: Floats, celsius: Floats) -> float | None:
    """Theil and Sen's slope [V/K]; None where the temperature hardly changed."""
    known = np.isfinite(celsius)
    volts, celsius = volts[known], celsius[known]
    if len(volts) < _LEAST_POINTS or np.ptp(celsius) < _LEAST_SPAN_K:
        return None
    thin = np.linspace(0, len(volts) - 1, min(len(volts), _MOST_POINTS)).astype(int)
    if np.ptp(celsius[thin]) == 0.0:
        return None
    return round(theil_sen(volts[thin], celsius[thin]).slope, 5)


def by_speed(driven: Rows, step_s: Floats, discharging: Any, lines: Lines | None) -> dict[str, float | None] | None:
    """Volts at idle and at speed, where the log has the engine's speed; None where it has not.

    idle_volts, fast_volts: medians at 500 to 900 and 2,000 to 3,000 rpm [V]; idle_s, fast_s: time there [s];
    idle_short_s: time at idle while discharging [s]. step_s: the time of each row [s]; discharging: whether it is of
    such an episode. lines: of the drive, as the log has them: the medians are of these, or of the rows where few
    lines have both.
    """
    if not np.isfinite(driven.rpm).any():
        return None

    from_: Lines | Rows = driven
    # A log may have the speed in lines of its own, without volts.
    if lines is not None and 2 * np.isfinite(lines.rpm + lines.volts).sum() >= np.isfinite(driven.rpm).sum():
        from_ = lines

    def median(band: tuple[float, float]) -> float | None:
        return _median(from_.volts[(from_.rpm >= band[0]) & (from_.rpm <= band[1])])

    idle, fast = ((driven.rpm >= least) & (driven.rpm <= most) for least, most in (IDLE_RPM, FAST_RPM))
    return {
        "idle_volts": median(IDLE_RPM),
        "idle_s": round(float(step_s[idle].sum()), 1),
        "idle_short_s": round(float(step_s[idle & discharging].sum()), 1),
        "fast_volts": median(FAST_RPM),
        "fast_s": round(float(step_s[fast].sum()), 1),
    }


def _median(volts: Floats) -> float | None:
    known = volts[np.isfinite(volts)]
    return round(quantiles(known, 0.5)[0], 3) if len(known) else None
