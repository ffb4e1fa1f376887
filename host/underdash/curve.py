"""A smooth curve through points that never overshoots them."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def monotone(x: Floats, y: Floats, at: Floats) -> Floats:
    """Piecewise cubic through (x, y), never overshooting, evaluated at `at`; flat outside.

    PCHIP: slopes are the weighted harmonic mean of the neighbouring chords (Fritsch and Butland
    1984), the end slopes one-sided three-point estimates limited to keep the shape.
    """
    h = np.diff(x)
    chord = np.diff(y) / h
    slope = np.zeros_like(y)
    for i in range(1, len(x) - 1):
        if chord[i - 1] * chord[i] > 0.0:
            before, after = h[i] + 2.0 * h[i - 1], 2.0 * h[i] + h[i - 1]
            slope[i] = (before + after) / (after / chord[i - 1] + before / chord[i])
    slope[0] = _end_slope(h[0], h[1], chord[0], chord[1])
    slope[-1] = _end_slope(h[-1], h[-2], chord[-1], chord[-2])

    at = np.clip(at, x[0], x[-1])
    left = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    u = (at - x[left]) / h[left]
    value = (
        (1.0 + 2.0 * u) * (1.0 - u) ** 2 * y[left]
        + u * (1.0 - u) ** 2 * h[left] * slope[left]
        + u**2 * (3.0 - 2.0 * u) * y[left + 1]
        + u**2 * (u - 1.0) * h[left] * slope[left + 1]
    )
    return np.asarray(value, dtype=np.float64)


def _end_slope(h0: float, h1: float, chord0: float, chord1: float) -> float:
    slope = ((2.0 * h0 + h1) * chord0 - h0 * chord1) / (h0 + h1)
    if slope * chord0 <= 0.0:
        return 0.0
    if chord0 * chord1 <= 0.0 and abs(slope) > 3.0 * abs(chord0):
        return 3.0 * chord0
    return slope
