"""How a load of the car file draws: resistances, constant powers, inrush."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from underdash.carfile.model import NOMINAL_V, Load


def siemens(load: Load) -> float:
    """Conductance [S]; zero for a constant-power load."""
    return 0.0 if load.constant_power else load.amps / NOMINAL_V


def watts(load: Load) -> float:
    """Constant power [W]; zero for a resistive load."""
    return load.amps * NOMINAL_V if load.constant_power else 0.0


def draws(shares: Iterable[tuple[Load, float]]) -> tuple[float, float]:
    """Conductance [S] and constant power [W] of loads together, each times its share."""
    conductance = power = 0.0
    for load, share in shares:
        conductance += share * siemens(load)
        power += share * watts(load)
    return conductance, power


def excess(load: Load, on_for_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """The draw as a multiple of the steady one, `on_for_s` [s] after switch-on: a decaying inrush."""
    return 1.0 + (load.inrush - 1.0) * np.exp(-on_for_s / load.inrush_s)
