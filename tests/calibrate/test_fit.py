"""The line: against an independent implementation, a published example, and lines that are known."""

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from chargecore.calibration import Calibration
from underdash.calibrate.fit import fit_line


def test_the_guides_example_of_a_calibration_line() -> None:
    # JCGM 100:2008, H.3, thermometer against reference; data and results from memory.
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    line = fit_line(t - 20, b)
    assert line.gain == pytest.approx(0.00218, abs=5e-6)
    assert np.sqrt(line.covariance[0, 0]) == pytest.approx(0.00067, abs=5e-6)
    assert line.volts(0.0) == pytest.approx(-0.1712, abs=5e-5)
    assert line.scatter * np.sqrt(line.leverage(0.0)) == pytest.approx(0.0029, abs=5e-5)
    assert line.scatter == pytest.approx(0.0035, abs=5e-5)
    assert line.volts(10.0) == pytest.approx(-0.1494, abs=5e-5)
    assert line.scatter * np.sqrt(line.leverage(10.0)) == pytest.approx(0.0041, abs=5e-5)


@given(
    gain=st.floats(2.6e-4, 2.95e-4),
    zero=st.floats(-500, 900),
    volts=st.lists(st.floats(6, 17.9), min_size=3, max_size=12, unique_by=lambda one: round(one, 1)),
    seed=st.integers(0, 2**31),
)
def test_agrees_with_an_independent_least_squares(gain: float, zero: float, volts: list[float], seed: int) -> None:
    y = np.array(volts)
    x = y / gain + zero
    y = y + np.random.default_rng(seed).normal(0, 0.002, len(y))
    line, other = fit_line(x, y), scipy.stats.linregress(x, y)
    assert line.gain == pytest.approx(other.slope, rel=1e-9)
    assert -line.zero * line.gain == pytest.approx(other.intercept, rel=1e-6, abs=1e-7)
    assert np.sqrt(line.covariance[0, 0]) == pytest.approx(other.stderr, rel=1e-6)
    assert line.scatter * np.sqrt(line.leverage(0.0)) == pytest.approx(other.intercept_stderr, rel=1e-5)


@given(
    gain=st.floats(2.6e-4, 2.95e-4),
    zero=st.floats(-500, 900),
    volts=st.lists(st.floats(6, 17.5), min_size=2, max_size=12, unique_by=lambda one: round(one)),
)
def test_a_known_line_comes_back_on_the_board_too(gain: float, zero: float, volts: list[float]) -> None:
    y = np.array(volts)
    line = fit_line(y / gain + zero, y)
    assert line.gain == pytest.approx(gain, rel=1e-7)
    assert line.zero == pytest.approx(zero, abs=0.01)
    assert np.abs(line.residuals).max() < 1e-6
    # The board's integers: half a unit of zero is 0.15 mV, half a nanovolt of gain at 66,072 units 0.03 mV.
    assert line.bus_gain_nv == round(line.gain * 1e9)
    for one in volts:
        assert (one / gain + zero - line.bus_zero) * line.bus_gain_nv / 1e9 == pytest.approx(one, abs=2.2e-4)


def test_the_boards_own_arithmetic_follows_the_line() -> None:
    kept = Calibration()
    line = fit_line([43000.0, 48000.0, 56000.0], np.array([43000.0, 48000.0, 56000.0]) * 2.765e-4 - 0.05)
    kept.bus_zero, kept.bus_gain_nv = line.bus_zero, line.bus_gain_nv
    # Code 43000 is above three wide codes, whose widths the board adds.
    assert kept.bus_mv(43000 - 3 * 138) == pytest.approx((43000 * 2.765e-4 - 0.05) * 1000, abs=1.2)


def test_two_points_have_no_scatter() -> None:
    line = fit_line([40000, 50000], [11.0, 13.8])
    assert np.isnan(line.scatter) and line.freedom == 0
    assert line.residuals == pytest.approx([0, 0], abs=1e-12)


def test_surer_points_weigh_more() -> None:
    x, y = [0.0, 1.0, 2.0], [0.0, 1.0, 5.0]
    assert fit_line(x, y, [1, 1, 1000]).gain == pytest.approx(1.0, abs=1e-3)
    assert fit_line(x, y, [3, 3, 3]).gain == fit_line(x, y).gain
    assert fit_line(x, y, [3, 3, 3]).scatter == pytest.approx(fit_line(x, y).scatter)


@pytest.mark.parametrize(
    ("readings", "volts", "sigmas", "said"),
    [
        ([1], [1], None, "at least 2"),
        ([2, 2, 2], [1, 2, 3], None, "1 different"),
        ([1, 2], [1, 2, 3], None, "one length"),
        ([1, float("nan")], [1, 2], None, "finite"),
        ([1, 2], [1, 2], [1, 0], "positive"),
        ([1, 2], [1, 2], [1], "one positive number for each"),
        ([1, 2], [5, 5], None, "do not change"),
    ],
)
def test_what_is_no_line_is_refused(
    readings: list[float], volts: list[float], sigmas: list[float] | None, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        fit_line(readings, volts, sigmas)
