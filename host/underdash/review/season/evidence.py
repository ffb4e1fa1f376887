"""What the numbers of a season support: a trend, a change, and how sure one may be of either.

Nothing here knows a car. Values are in the order of time; none needs to be normal, and one bad night moves nothing.
"""

from dataclasses import dataclass
from math import comb, exp, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from underdash.review.theil_sen import NORMAL_95, kendall, theil_sen

Floats = NDArray[np.float64]

LEAST_POINTS = 8  # fewer say nothing of a change (chosen here)
_LATEST = (3, 4, 6, 8, 12, 16, 24)  # how many of the latest values may stand apart from those before
_TRIES = 2 * len(_LATEST)  # either side, each number: what Bonferroni divides by
_HOPELESS = 0.1  # no use to look where it began
_SIDE = 3  # values that a level has at least
_MOST = 1000  # more points are thinned: their pairs are too many, and they say no more
_NORMAL = NormalDist()


@dataclass(frozen=True)
class Trend:
    """Theil and Sen's slope [a unit of x] with its 95 % interval, and the p of Mann and Kendall's test."""

    slope: float
    low: float
    high: float
    p: float

    @property
    def line(self) -> tuple[float, float, float]:
        """The slope and the ends of its interval."""
        return self.slope, self.low, self.high


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

    Slope: Sen 1968. Each value remembers the one before: a memory r widens the interval, and shrinks Kendall's
    statistic, by sqrt((1 + r) / (1 - r)), which is how far a first-order process has fewer values to tell than there
    are (Bayley and Hammersley 1946, from memory).
    """
    few = slice(None, None, -(-len(values) // _MOST) or 1)
    x, values = x[few], values[few]
    if len(values) < 3 or np.ptp(x) == 0.0:
        return None
    thin = slice(None, None, max(1, len(values) // 100))  # a slope from fewer is as good for this
    r = memory(values - theil_sen(values[thin], x[thin]).slope * x) if np.ptp(x[thin]) else 0.0
    wider = sqrt((1.0 + r) / (1.0 - r))
    line = theil_sen(values, x, NORMAL_95 * wider)
    n = len(values)
    z = kendall(values, x) / sqrt(2.0 * (2.0 * n + 5.0) / (9.0 * n * (n - 1.0))) / wider
    return Trend(*line, p=2.0 * _NORMAL.cdf(-abs(z)))


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
    u = np.abs(2.0 * np.cumsum(ranks(values))[:-1] - t * (n + 1.0))
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


def deeper(values: Floats) -> Change | None:
    """Whether the high values come late, of values that may each stop short of the truth.

    A log too slow for a crank catches it by chance: a dip is at least as deep as what was seen, so the deep ones tell
    and the others do not. Score: by how much a value's rank is above the middle one, 0 below. The sum of score times
    place in time is nearly normal, with the mean and variance of a linear rank statistic (Hajek and Sidak, Theory of
    rank tests, 1967; from memory), shrunk by a memory as in `trend`, that of the first half. One-sided: no battery
    grows young.

    The levels of a Change are upper quartiles here; it begins where the high values were longest overdue. None for
    fewer than LEAST_POINTS, or if it is near to chance.
    """
    n = len(values)
    if n < LEAST_POINTS or np.ptp(values) == 0.0:
        return None
    score = np.maximum(ranks(values) - (n + 1) / 2.0, 0.0)
    score -= score.mean()
    place = np.arange(n) - (n - 1) / 2.0
    spread = sqrt(float(place @ place) * float(score @ score) / (n - 1))
    r = memory(values[: n // 2])
    p = _NORMAL.cdf(-float(place @ score) / spread * sqrt((1.0 - r) / (1.0 + r)))
    if p > _HOPELESS:
        return None
    at = _SIDE + int(np.argmin(np.cumsum(score)[_SIDE - 1 : n - _SIDE]))
    return Change(at, upper(values[:at]), upper(values[at:]), p)


def upper(values: Floats) -> float:
    """The upper quartile."""
    return float(np.quantile(values, 0.75))


def ranks(values: Floats) -> Floats:
    """Ranks from 1; equal values share the mean of theirs."""
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2.0)[place])


def levelled(values: Floats, at: int) -> Floats:
    """The values less the median of their own side of `at`."""
    return np.concatenate([values[:at] - np.median(values[:at]), values[at:] - np.median(values[at:])])


def steps_better(x: Floats, values: Floats, at: int, slope: float) -> bool:
    """Whether two levels come nearer to the values than a line of this slope does, by the sum of distances."""
    line = np.median(values) + slope * (x - np.median(x))
    return float(np.abs(levelled(values, at)).sum()) < float(np.abs(values - line).sum())
