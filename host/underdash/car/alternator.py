"""A self-regulated alternator: what it can give at a speed, and the volts it aims for.

Shape of the output from one complete published curve (Westerbeke 33A workshop manual, p. 83:
about 50 A class, 13.5 V, speeds of the alternator itself), scaled by rated output.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CUT_IN_RPM = 1000.0  # from memory: no output below about this speed
CURVE_RPM = (CUT_IN_RPM, 1300.0, 2500.0, 5000.0)
CURVE_HOT_A = (0.0, 16.0, 41.0, 48.0)  # published, but for the cut-in
CURVE_COLD_A = (0.0, 24.0, 50.0, 53.0)  # published at 1,300 and 2,500; 53 A is assumed (48 A / 0.9)
CURVE_RATED_A = 48.0  # rated output here means the published 5,000 rpm hot value


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


@dataclass(frozen=True)
class Alternator:
    """Parameters of the alternator and of the regulator inside it.

    Set point 14.4 V at 20 C and -10 mV/K: Westerbeke workshop manual (14.4 +/- 0.3 V, -0.1 V per
    10 C). Pulley ratio: passenger cars about 2:1, older 2:1 to 3:1 (prestolite.com). Time
    constants, the regulator's temperature rise and its droop are invented for the demo.
    """

    rated_a: float = 75.0
    """Output at 5,000 alternator rpm, hot [A]."""
    pulley_ratio: float = 2.4
    """Alternator turns for each engine turn."""
    set_point_v: float = 14.4
    """Regulated volts at 20 C [V]."""
    slope_v_per_k: float = -0.010
    """Change of the set point with regulator temperature [V/K]."""
    droop_ohm: float = 0.0005
    """Fall of the regulated volts with output [ohm]."""
    warm_up_s: float = 600.0
    """Time constant from cold to hot [s]."""
    rise_k: float = 50.0
    """Regulator above ambient when hot [K]."""
    field_s: float = 0.12
    """Time constant of the field, so of any change of output [s]."""
    wake_s: float = 1.5
    """The limit climbs from nothing over this time once the engine runs [s]."""

    def available(self, engine_rpm: Floats, *, hot: bool) -> Floats:
        """Greatest output [A] at engine speeds [rpm], fully hot or cold.

        Beyond 5,000 alternator rpm nothing is published and the output stays flat.
        """
        curve = np.array(CURVE_HOT_A if hot else CURVE_COLD_A)
        speed = np.asarray(engine_rpm, dtype=np.float64) * self.pulley_ratio
        return monotone(np.array(CURVE_RPM), curve, speed) * (self.rated_a / CURVE_RATED_A)

    def target_volts(self, regulator_c: float) -> float:
        """The regulator's set point [V] at its own temperature [C]."""
        return self.set_point_v + self.slope_v_per_k * (regulator_c - 20.0)
