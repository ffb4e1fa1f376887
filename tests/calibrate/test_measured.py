"""Real converters' measured curves: honest points of them are refused nowhere, and the line keeps its promise."""

import numpy as np
import pytest

from calibrate.make_believe import METER
from conftest import measured_data
from underdash.calibrate import meter
from underdash.calibrate.checks import Nominal, check_set
from underdash.calibrate.points import Point, unfolded
from underdash.calibrate.session import TARGETS
from underdash.calibrate.uncertainty import expected_of

FULL_SCALE = 18.249  # [V]


@pytest.mark.parametrize("chip", [1, 2, 3])
def test_five_points_on_a_measured_curve(chip: int) -> None:
    steps, codes = np.loadtxt(measured_data("rp2040-adc") / f"device{chip}.csv", delimiter=",", skiprows=1).T
    # Each mean is of 12 readings; a sample of the board's is of 64, and a point of 16 samples.
    codes = np.convolve(codes, np.ones(7) / 7, "same") * 16
    random = np.random.default_rng(chip)
    for _ in range(30):
        volts = np.array(TARGETS) + random.uniform(-0.12, 0.12, 5)
        error = random.uniform(-0.001, 0.001)
        points = []
        for one in volts:
            code = float(np.interp(one / FULL_SCALE * 32768, steps, codes))
            text = f"{one * (1 + error):.3f}"
            points.append(Point(float(text), text, code, unfolded(code), 2.0, 16, "curve"))
        line = check_set(points, meter.parse(METER), Nominal())
        kept = expected_of(line)
        for one in np.arange(11.6, 15.61, 0.05):
            shown = kept.volts(unfolded(float(np.interp(one / FULL_SCALE * 32768, steps, codes)))) / (1 + error)
            assert shown == pytest.approx(one, abs=0.005)
