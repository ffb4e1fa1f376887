"""The slope and its interval are those of scipy.stats.theilslopes, an independent writing of the same papers."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from underdash.review.theil_sen import kendall, theil_sen

values = st.lists(
    st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=2, max_size=40
)  # small whole numbers: many ties


@settings(max_examples=300, deadline=None)
@given(points=values, scale=st.sampled_from([1.0, 0.001, 1e6]))
def test_the_same_as_scipy_ties_and_all(points: list[tuple[int, int]], scale: float) -> None:
    x, y = np.array(points, float).T * scale
    assume(np.ptp(x) > 0)
    try:
        expected = stats.theilslopes(y, x)
    except RuntimeWarning:  # so few points, and so many ties, that Sen's variance is below 0
        assume(False)
    assert theil_sen(y, x) == pytest.approx((expected[0], expected[2], expected[3]), rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("count", [2, 3, 60, 400])
def test_the_same_as_scipy_with_noise(count: int) -> None:
    chance = np.random.default_rng(count)
    x = np.sort(chance.uniform(0, 10, count))
    y = -3.0 * x + chance.normal(0, 1, count)
    expected = stats.theilslopes(y, x)
    assert theil_sen(y, x) == pytest.approx((expected[0], expected[2], expected[3]), rel=1e-12)


def test_a_line_is_found_exactly_and_one_x_is_none() -> None:
    x = np.arange(20.0)
    assert theil_sen(2.0 * x + 1.0, x) == (2.0, 2.0, 2.0)
    with pytest.raises(ValueError, match="same x"):
        theil_sen(x, np.ones(20))


@settings(max_examples=200, deadline=None)
@given(points=values)
def test_kendalls_tau_is_scipys_ties_and_all(points: list[tuple[int, int]]) -> None:
    x, y = np.array(points, float).T
    expected = stats.kendalltau(x, y).statistic if np.ptp(x) and np.ptp(y) else 0.0
    assert kendall(y, x) == pytest.approx(expected, abs=1e-12)


def test_the_interval_reaches_as_far_as_asked() -> None:
    x = np.arange(50.0)
    y = x + np.random.default_rng(2).normal(0, 5, 50)
    expected = stats.theilslopes(y, x, alpha=0.99)
    assert theil_sen(y, x, float(stats.norm.ppf(0.995))) == pytest.approx((expected[0], expected[2], expected[3]))
