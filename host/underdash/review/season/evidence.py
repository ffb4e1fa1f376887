"""What the numbers of a season support: a trend, a change, and how sure one may be of either.

Nothing here knows a car. Values are in the order of time; none needs to be normal, and one bad night moves nothing.
"""

from dataclasses import dataclass
from math import comb, exp, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]

LEAST_POINTS = 8  # fewer say nothing of a change (chosen here)
_LATEST = (3, 4, 6, 8, 12, 16, 24)  # how many of the latest values may stand apart from those before
_TRIES = 2 * len(_LATEST)  # either side, each number: what Bonferroni divides by
_HOPELESS = 0.1  # no use to look where it began
_SIDE = 3  # values that a level has at least
_Z_95 = 1.959964


@dataclass(frozen=True)
class Trend:
    """Theil and Sen's slope [a unit of x] with its 95 % interval, and the p of Mann and Kendall's test."""

    slope: float
    low: float
    high: float
    p: float


@dataclass(frozen=True)
class Change:
    """The first point `at` of the new level, the medians before and after, the p of the test that found it."""

    at: int
    before: float
    after: float
    p: float


def memory(residuals: Floats) -> float:
    """Lag-1 autocorrelation [0..0.9] of residuals, those beyond 3 robust deviations clipped; what is within its own
    standard error, 1 / sqrt(n), counts as 0, for so much has noise without any."""
    centred = residuals - np.median(residuals)
    reach = 3.0 * 1.4826 * float(np.median(np.abs(centred)))
    if reach > 0.0:
        centred = np.clip(centred, -reach, reach)
    power = float(centred @ centred)
    if power <= 0.0:
        return 0.0
    return min(max(float(centred[1:] @ centred[:-1]) / power - 1.0 / sqrt(len(centred)), 0.0), 0.9)


def trend(x: Floats, values: Floats) -> Trend | None:
    """The robust trend of `values` over `x`; None for fewer than three points, or none apart in x.

    Slope: Sen 1968, as scipy.stats.theilslopes computes it. Each value remembers the one before: a memory r widens
    the interval, and shrinks Kendall's statistic, by sqrt((1 + r) / (1 - r)), which is how far a first-order process
    has fewer values to tell than there are (Bayley and Hammersley 1946, from memory).
    """
    if len(values) < 3 or np.ptp(x) == 0.0:
        return None
    thin = slice(None, None, max(1, len(values) // 100))  # a slope from fewer is as good for this
    r = memory(values - stats.theilslopes(values[thin], x[thin])[0] * x) if np.ptp(x[thin]) else 0.0
    wider = sqrt((1.0 + r) / (1.0 - r))
    slope, _, low, high = stats.theilslopes(values, x, alpha=2.0 * float(stats.norm.cdf(_Z_95 * wider)) - 1.0)
    tau = float(stats.kendalltau(x, values).statistic) if np.ptp(values) > 0.0 else 0.0
    n = len(values)
    z = tau / sqrt(2.0 * (2.0 * n + 5.0) / (9.0 * n * (n - 1.0))) / wider
    return Trend(float(slope), float(low), float(high), 2.0 * float(stats.norm.sf(abs(z))))


def change(values: Floats) -> Change | None:
    """The one change of level that the order of the values supports best; None for fewer than LEAST_POINTS.

    Two tests share the p, each at half (Bonferroni): Pettitt's for a change anywhere, and whether the latest values
    stand apart from those before, for one that is only a few drives old, to which Pettitt's is nearly blind. Where it
    began is where two levels fit best, by the sum of distances.
    """
    if len(values) < LEAST_POINTS:
        return None
    p = min(1.0, 2.0 * min(pettitt(values)[1], latest(values)))
    if p > _HOPELESS:
        return None
    at = min(range(_SIDE, len(values) - _SIDE + 1), key=lambda split: float(np.abs(levelled(values, split)).sum()))
    return Change(at, float(np.median(values[:at])), float(np.median(values[at:])), p)


def pettitt(values: Floats) -> tuple[int, float]:
    """(first point of the new level, p) after Pettitt, A non-parametric approach to the change-point problem, 1979.

    U_t = 2 sum of the first t ranks - t (n + 1), K = max |U_t|, p = 2 exp(-6 K^2 / (n^3 + n^2)). K is shrunk by the
    memory of what is left when the two levels are taken off, as in `trend`.
    """
    n = len(values)
    t = np.arange(1, n)
    u = np.abs(2.0 * np.cumsum(stats.rankdata(values))[:-1] - t * (n + 1.0))
    at = int(np.argmax(u)) + 1
    r = memory(levelled(values, at))
    k2 = float(u[at - 1]) ** 2 * (1.0 - r) / (1.0 + r)
    return at, min(1.0, 2.0 * exp(-6.0 * k2 / (float(n) ** 3 + float(n) ** 2)))


def latest(values: Floats) -> float:
    """p that the latest values stand apart from those before by chance: a precedence test (Nelson 1963, from memory).

    If n values come in any order alike, the chance that the last k lie among the k + j most extreme of one side is
    C(k + j, k) / C(n, k), exactly. k is each of _LATEST up to n / 2, j what is found; the least p counts, times the
    number of tries. With a memory r in what came before, k values tell no more than k (1 - r) / (1 + r).
    """
    n, best = len(values), 1.0
    for k in _LATEST:
        if n - k < k:
            break
        before, after = values[:-k], values[-k:]
        r = memory(before)
        worth = int(k * (1.0 - r) / (1.0 + r) + 1e-9)
        if worth < _SIDE:
            continue
        beyond = min(int((before >= after.min()).sum()), int((before <= after.max()).sum()))
        best = min(best, _TRIES * comb(worth + beyond, worth) / comb(n - k + worth, worth))
    return best


def levelled(values: Floats, at: int) -> Floats:
    """The values less the median of their own side of `at`."""
    return np.concatenate([values[:at] - np.median(values[:at]), values[at:] - np.median(values[at:])])


def steps_better(x: Floats, values: Floats, at: int) -> bool:
    """Whether two levels come nearer to the values than one line does, by the sum of distances."""
    slope, level, _, _ = stats.theilslopes(values, x)
    return float(np.abs(levelled(values, at)).sum()) < float(np.abs(values - level - slope * x).sum())
