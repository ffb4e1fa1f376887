"""What draws current on the bus, each with its amps at 13.5 V, how it starts and who says so."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

NOMINAL_V = 13.5

_WIRE = "eastpennmanufacturing.com wire catalogue p. 140"
_HOT_ROD = "hotrod.com 0804rc"


@dataclass(frozen=True)
class Load:
    """A switched load.

    Lamps, heaters and plain motors are resistances; electronics with their own supply draw
    constant power. At switch-on the draw starts at `inrush` times the steady one and decays.
    """

    name: str
    amps: float
    """Steady current at 13.5 V [A]."""
    source: str
    """Where the current comes from."""
    constant_power: bool = False
    inrush: float = 1.0
    """Draw at switch-on, as a multiple of the steady one."""
    decay_s: float = 0.1
    """Time constant of the inrush [s]."""

    @property
    def siemens(self) -> float:
        """Conductance [S]; zero for a constant-power load."""
        return 0.0 if self.constant_power else self.amps / NOMINAL_V

    @property
    def watts(self) -> float:
        """Constant power [W]; zero for a resistive load."""
        return self.amps * NOMINAL_V if self.constant_power else 0.0

    def excess(self, on_for_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """The draw as a multiple of the steady one, `on_for_s` [s] after switch-on."""
        return 1.0 + (self.inrush - 1.0) * np.exp(-on_for_s / self.decay_s)


# Inrush of the fan: 2-3 x (engineerfix.com). All other inrush figures are from memory.
FAN = Load("fan", 16.0, f"6-30 A, {_HOT_ROD}; 15-30 A and 2-3 x at start, engineerfix.com", inrush=2.6, decay_s=0.3)

LOADS = {
    load.name: load
    for load in (
        Load("standby", 0.030, "25-50 mA after rest, 2023 Ford Edge in fixxvault"),
        Load("ignition", 3.0, f"1.5-3.5 A, {_WIRE}", constant_power=True),
        Load("injection", 4.0, "about 70 W in a textbook table, from memory", constant_power=True),
        Load("pump", 8.0, f"7-15 A, {_HOT_ROD}", inrush=2.0, decay_s=0.08),
        Load("gauges", 2.0, f"2-4 A, {_HOT_ROD}"),
        Load("radio", 2.0, f"2-5 A, {_WIRE}", constant_power=True),
        Load("headlamps", 8.5, f"8-9 A low beam pair, {_WIRE}", inrush=5.0, decay_s=0.05),
        Load("tail lamps", 1.8, f"tail 0.5 A, parking 1.3 A, {_WIRE}", inrush=5.0, decay_s=0.04),
        Load("brake lamps", 3.75, f"3.5-4 A, {_WIRE}", inrush=5.0, decay_s=0.04),
        Load("blower", 8.0, f"6-10 A, {_WIRE}", inrush=2.0, decay_s=0.3),
        Load("rear heater", 23.0, f"20-25 A, {_WIRE}"),
        Load("wipers", 4.0, f"3-6 A, {_WIRE}", inrush=2.0, decay_s=0.1),
        Load("windows", 18.0, f"2-20 A, {_WIRE}", inrush=1.8, decay_s=0.15),
    )
}
