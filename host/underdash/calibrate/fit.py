"""The straight line through bench points: volts = (reading - zero) * gain.

A reading is a converter code [1/16 of a 12-bit step] with its wide codes unfolded, the mean of many.

The fit is numpy.polyfit's least squares on centred readings, with its covariance. A fit that also
lets the readings err (orthogonal distance) would change nothing that can be seen: readings scatter
by some 1e-4 of their span, so the slope is low by about 1e-8; and the meter's error, the larger one,
is nearly the same at every point and no fit can find it (see `uncertainty`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """A fitted line, and what the board keeps of it.

    gain [V per unit of reading]; zero [units: the reading at 0 V]; residuals [V]: meter minus line, shape (n,);
    scatter [V]: standard deviation of the residuals with n - 2 degrees of freedom, nan for two points;
    centre [units] and value_at_centre [V]: the mean point, where slope and height are independent;
    unscaled: (2, 2) covariance of (gain, value_at_centre) for a scatter of 1 V [1/units^2, 1/units, 1].
    """

    gain: float
    zero: float
    residuals: Floats
    scatter: float
    centre: float
    value_at_centre: float
    unscaled: Floats

    @property
    def freedom(self) -> int:
        """Degrees of freedom of `scatter`."""
        return len(self.residuals) - 2

    def volts(self, readings: ArrayLike) -> Floats:
        """The line's volts [V] at readings, any shape."""
        return (np.asarray(readings, dtype=np.float64) - self.zero) * self.gain

    def leverage(self, readings: ArrayLike) -> Floats:
        """Variance of the line's height at readings, any shape, for points that scatter by 1 V [1]."""
        away = np.asarray(readings, dtype=np.float64) - self.centre
        return np.asarray(self.unscaled[0, 0] * away**2 + 2 * self.unscaled[0, 1] * away + self.unscaled[1, 1])

    @property
    def covariance(self) -> Floats:
        """(2, 2) covariance of (gain, zero) [V^2/units^2, V, units^2]; nan for two points."""
        # zero = centre - value_at_centre / gain
        jacobian = np.array([[1.0, 0.0], [self.value_at_centre / self.gain**2, -1.0 / self.gain]])
        return np.asarray(jacobian @ self.unscaled @ jacobian.T * self.scatter**2)

    @property
    def bus_gain_nv(self) -> int:
        """The board's gain [nV per unit]: a whole number."""
        return round(self.gain * 1e9)

    @property
    def bus_zero(self) -> int:
        """The board's zero [units]: so that what rounding the gain does is nothing in the points' middle."""
        return round(self.centre - self.value_at_centre * 1e9 / self.bus_gain_nv)


def fit_line(readings: ArrayLike, volts: ArrayLike, sigmas: Sequence[float] | Floats | None = None) -> Line:
    """Fit a line to points, shape (n,) each, n at least 2.

    readings: unfolded codes [1/16 step]. volts [V]: what the meter said. sigmas [V]: each point's own
    standard uncertainty; without them all points weigh the same. ValueError if there are fewer than
    two different readings, or if anything is not a number.
    """
    x = np.asarray(readings, dtype=np.float64)
    y = np.asarray(volts, dtype=np.float64)
    if x.ndim != 1 or x.shape != y.shape:
        raise ValueError(f"readings have shape {x.shape}, volts {y.shape}: must be two lists of one length")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("a reading or a voltage is not a finite number")
    if len(np.unique(x)) < 2:
        raise ValueError(f"{len(np.unique(x))} different readings: a line needs at least 2")
    weights = np.ones_like(x)
    if sigmas is not None:
        own = np.asarray(sigmas, dtype=np.float64)
        if own.shape != x.shape or not (np.isfinite(own) & (own > 0)).all():
            raise ValueError("sigmas must be one positive number for each point")
        # Only how they compare matters; so that scatter stays in volts, their mean weight is 1.
        weights = 1.0 / own
        weights /= np.sqrt(np.mean(weights**2))
    centre = float(np.average(x, weights=weights**2))
    coefficients, unscaled = np.polyfit(x - centre, y, 1, w=weights, cov="unscaled")
    gain, height = (float(value) for value in coefficients)
    if gain == 0.0:
        raise ValueError("the volts do not change with the readings")
    residuals = y - (height + gain * (x - centre))
    freedom = len(x) - 2
    scatter = float(np.sqrt(np.sum((weights * residuals) ** 2) / freedom)) if freedom else float("nan")
    return Line(gain, centre - height / gain, residuals, scatter, centre, height, np.asarray(unscaled))
