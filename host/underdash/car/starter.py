"""The starter: a stalled motor's inrush, then the pull of one compression after another."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Starter:
    """Parameters of a starter on a four-cylinder engine.

    Turning current: about 150 A at most for four cylinders (studyslide lesson), 80-120 A at
    5-27 C (Saturn 1998). Inrush: 75-300 A is the published range of starters
    (eastpennmanufacturing.com wire catalogue p. 140). Decay and ripple are invented for the demo.
    """

    turning_a: float = 136.0
    """Mean current while it turns the engine [A]."""
    inrush_a: float = 285.0
    """Current at standstill [A]."""
    decay_s: float = 0.07
    """Time constant from standstill to turning [s]."""
    ripple_a: float = 22.0
    """Amplitude of the compression ripple [A]."""
    rpm: float = 170.0
    """Engine speed while cranking [rev/min]."""
    cylinders: int = 4

    @property
    def ripple_hz(self) -> float:
        """Compressions each second [Hz]: a four-stroke has cylinders / 2 for each turn."""
        return self.rpm / 60.0 * self.cylinders / 2.0

    def amps(self, since_s: Floats) -> Floats:
        """Current [A] at `since_s` [s] after the solenoid closed."""
        settled = 1.0 - np.exp(-since_s / self.decay_s)
        ripple = self.ripple_a * np.sin(2.0 * np.pi * self.ripple_hz * since_s)
        return self.inrush_a + settled * (self.turning_a - self.inrush_a + ripple)
