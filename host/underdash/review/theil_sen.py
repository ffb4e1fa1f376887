"""A straight line through noisy points that a few bad ones do not bend: Theil and Sen's slope.

H. Theil 1950; P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", JASA 63 (1968): the median
of the slopes of all pairs, and an interval from their ranks. scipy.stats.theilslopes gives the same; but a season has a
night for each drive, and there are few points in each: its own checks take longer than the slope. And scipy.stats takes
most of a second to load, which is longer than a season of 1,000 hours takes to judge.
"""

from functools import lru_cache
from math import sqrt
from typing import NamedTuple

import numpy as np

from underdash.review.rows import Floats, Ints

NORMAL_95 = 1.959963984540054  # quantile 0.975 of the normal distribution
_KEPT = 600  # pairs of more points are not kept: they are large


class Slope(NamedTuple):
    """Units of y per unit of x: the slope, and the ends of its 95 % interval."""

    slope: float
    low: float
    high: float


def theil_sen(y: Floats, x: Floats, z: float = NORMAL_95) -> Slope:
    """The slope of finite points; the interval reaches z standard errors. ValueError if all stand at the same x."""
    first, second = pairs(len(x))
    run = x[second] - x[first]
    rise = y[second] - y[first]
    apart = run != 0.0
    if not apart.all():
        run, rise = run[apart], rise[apart]
    if not len(run):
        raise ValueError("all points stand at the same x")
    slopes = rise / run
    count = len(slopes)
    spread = z * sqrt(max((_pairs_term(len(x)) - _ties(x) - _ties(y)) / 18.0, 0.0))
    low = max(round((count - spread) / 2.0) - 1, 0)
    high = min(round((count + spread) / 2.0), count - 1)
    slopes.partition(sorted({low, high, (count - 1) // 2, count // 2}))
    middle = (slopes[(count - 1) // 2] + slopes[count // 2]) / 2.0
    return Slope(float(middle), float(slopes[low]), float(slopes[high]))


def kendall(y: Floats, x: Floats) -> float:
    """Kendall's tau-b of finite points [-1..1]: of all pairs apart in both, how many more agree; 0 where none is."""
    first, second = pairs(len(x))
    run, rise = x[second] - x[first], y[second] - y[first]
    apart = float(np.count_nonzero(run)) * float(np.count_nonzero(rise))
    agrees = run * rise
    more = np.count_nonzero(agrees > 0.0) - np.count_nonzero(agrees < 0.0)
    return more / sqrt(apart) if apart else 0.0


def pairs(count: int) -> tuple[Ints, Ints]:
    """The places of all pairs of so many points."""
    return _kept_pairs(count) if count <= _KEPT else np.triu_indices(count, 1)


@lru_cache(maxsize=16)
def _kept_pairs(count: int) -> tuple[Ints, Ints]:
    return np.triu_indices(count, 1)


def _pairs_term(count: int) -> int:
    return count * (count - 1) * (2 * count + 5)


def _ties(values: Floats) -> int:
    """What equal values take from the variance, Sen's formula 2.6."""
    ordered = np.sort(values)
    edges = np.flatnonzero(ordered[1:] != ordered[:-1])
    counts = np.diff(np.concatenate([[-1], edges, [len(ordered) - 1]]))
    many = counts[counts > 1]
    return int((many * (many - 1) * (2 * many + 5)).sum())
