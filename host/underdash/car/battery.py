"""A 12 V flooded starter battery: rested volts, internal resistance, surface charge.

One emf, one resistance, one capacitor. The capacitor holds the surface charge and leaks through
an element that is easy to discharge and, near full, hard to charge: that alone makes a full
battery take an ampere or two, a deficit sag over seconds and a parked car settle over minutes.
"""

from bisect import bisect_right
from dataclasses import dataclass
from math import cosh, sinh
from typing import NamedTuple

# Rested volts against state of charge at 26.7 C, flooded: BCI table
# (studylib.net/doc/18054160, "Source: BCI").
BCI_CHARGE = (0.0, 0.25, 0.50, 0.75, 1.0)
BCI_RESTED_V = (11.89, 12.06, 12.24, 12.45, 12.65)


def rested_volts(charge: float) -> float:
    """Rested open-circuit volts [V] at a state of charge [0..1], linear between the BCI points.

    No temperature term: published coefficients disagree from about 0 to +4.3 mV/K.
    """
    charge = min(max(charge, 0.0), 1.0)
    i = min(bisect_right(BCI_CHARGE, charge), len(BCI_CHARGE) - 1)
    span = (charge - BCI_CHARGE[i - 1]) / (BCI_CHARGE[i] - BCI_CHARGE[i - 1])
    return BCI_RESTED_V[i - 1] + span * (BCI_RESTED_V[i] - BCI_RESTED_V[i - 1])


class BatteryState(NamedTuple):
    """What a battery remembers: charge [0..1], surface charge [V above rested], gas made [A s]."""

    charge: float
    surface_v: float = 0.0
    gassed_as: float = 0.0


@dataclass(frozen=True)
class Battery:
    """Parameters of the battery; every current is positive when it charges.

    The defaults are a healthy 60 Ah starter battery. Its internal resistance of 6.5 mohm is from
    memory (typical 4-8 mohm for 45-70 Ah; one weak published range says 3-5 mohm). The surface
    charge constants are invented for the demo, chosen so that a full battery takes 1-2 A at
    14.2 V and 15 A of discharge eats a full surface charge in 10-20 s.
    """

    capacity_as: float = 60.0 * 3600.0
    """Capacity [A s]."""
    internal_ohm: float = 0.0065
    """Ohmic resistance post to post [ohm]."""
    surface_f: float = 200.0
    """Surface-charge capacitance [F]."""
    charge_exchange_a: float = 0.055
    """Scale of the charge acceptance of a full battery [A]."""
    charge_slope_v: float = 0.38
    """Surface volts over which acceptance grows e-fold [V]."""
    acceptance_gain: float = 100.0
    """How much more an empty battery accepts: the factor is 1 + hunger x (1 - charge)."""
    discharge_exchange_a: float = 4.0
    """Scale of the discharge reaction [A]."""
    discharge_slope_v: float = 0.06
    """Polarisation over which discharge grows e-fold [V]."""

    def emf(self, state: BatteryState) -> float:
        """Volts behind the internal resistance [V]: rested volts plus surface charge."""
        return rested_volts(state.charge) + state.surface_v

    def reaction(self, state: BatteryState) -> tuple[float, float]:
        """Current that leaks out of the surface charge into the plates [A], and its slope [A/V].

        i = I0 sinh(v / V0), a symmetric activation law, with its own I0 and V0 for each sign.
        """
        if state.surface_v >= 0.0:
            exchange = self.charge_exchange_a * (1.0 + self.acceptance_gain * (1.0 - state.charge))
            slope_v = self.charge_slope_v
        else:
            exchange = self.discharge_exchange_a
            slope_v = self.discharge_slope_v
        x = state.surface_v / slope_v
        return exchange * sinh(x), exchange * cosh(x) / slope_v

    def step(self, state: BatteryState, amps: float, dt_s: float) -> BatteryState:
        """The state after `dt_s` [s] of `amps` [A, positive charging].

        Charge is counted in coulombs; what a full battery still takes becomes gas and is counted
        apart, so that charge x capacity + gas always equals the coulombs put in. The surface
        charge takes one linearised implicit Euler step: stable for any `dt_s`.
        """
        leak, slope = self.reaction(state)
        surface_v = state.surface_v + dt_s * (amps - leak) / (self.surface_f + dt_s * slope)
        charge = state.charge + amps * dt_s / self.capacity_as
        gassed_as = state.gassed_as
        if charge > 1.0:
            gassed_as += (charge - 1.0) * self.capacity_as
            charge = 1.0
        return BatteryState(charge, surface_v, gassed_as)
