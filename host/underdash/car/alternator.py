"""A self-regulated alternator: what it can give at a speed, and the volts it aims for."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from underdash.carfile.devices import CLASS_COLD_A, CLASS_HOT_A, CLASS_RATED_A, CLASS_RPM
from underdash.carfile.model import ALTERNATOR
from underdash.curve import monotone

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Alternator:
    """Parameters of the alternator and of the regulator inside it.

    Without a curve of its own it has the class curve of `carfile.devices`. Set point 14.4 V at 20 C and -10 mV/K:
    Westerbeke workshop manual (14.4 +/- 0.3 V, -0.1 V per 10 C). Pulley ratio: passenger cars about 2:1, older 2:1
    to 3:1 (prestolite.com). Time constants, the regulator's temperature rise and its droop are invented for the demo.
    """

    rated_a: float = 75.0
    """Output at high speed, hot [A]: what the curve is a share of."""
    pulley_ratio: float = 2.4
    """Alternator turns for each engine turn."""
    set_point_v: float = 14.4
    """Regulated volts at 20 C [V]."""
    slope_v_per_k: float = -0.010
    """Change of the set point with regulator temperature [V/K]."""
    senses: str = ALTERNATOR
    """Where the regulator senses its volts: `alternator` or `battery`."""
    curve_rpm: tuple[float, ...] = CLASS_RPM
    """Speeds of the machine itself [rev/min]."""
    hot_share: tuple[float, ...] = tuple(amps / CLASS_RATED_A for amps in CLASS_HOT_A)
    """Hot output at these speeds, as a share of `rated_a`."""
    cold_share: tuple[float, ...] = tuple(amps / CLASS_RATED_A for amps in CLASS_COLD_A)
    """Cold output."""
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

        Nothing below the first speed of the curve; flat above the last, where nothing is known.
        """
        share = np.array(self.hot_share if hot else self.cold_share)
        speed = np.asarray(engine_rpm, dtype=np.float64) * self.pulley_ratio
        amps = monotone(np.array(self.curve_rpm), share, speed) * self.rated_a
        return np.where(speed < self.curve_rpm[0], 0.0, amps)

    def target_volts(self, regulator_c: float) -> float:
        """The regulator's set point [V] at its own temperature [C]."""
        return self.set_point_v + self.slope_v_per_k * (regulator_c - 20.0)
