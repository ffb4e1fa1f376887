"""How much charge an episode took where no clamp measured it: bounds from the volts, and on what they rest.

A battery that feeds the car stands at its rested volts less what its current loses on the way to the board:

    volts = rested - current x resistance - polarisation - drop of the supply that the board measures at

None of these is known well, so this gives no figure but two: what it was at least and at most. Only for flooded
batteries: published tables of rested volts of other kinds differ by half a volt.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from underdash.review.rows import Floats

if TYPE_CHECKING:
    from underdash.carfile import CarFile

# Rested volts, flooded: 12.65 V full, 12.24 V half full (BCI table).
FULL_V, HALF_V = 12.65, 12.24
# How fast they fall, full to empty, by the table's flattest and steepest quarter: 0.17 and 0.21 V.
LEAST_FALL_V, MOST_FALL_V = 0.68, 0.84
HIGHEST_RESTED_V = 12.80  # more is surface charge or another kind of battery (one maker's AGM table: 12.8 to 13.2)
SURFACE_V = 0.10  # that a rested reading, or a battery just charged, may stand above the table (chosen here)
# Healthy starter batteries 3 to 5 mohm, 20 and more is bad (one weak published source); from memory 4 to 8.
BATTERY_OHM = (0.003, 0.020)
CABLES_OHM = 0.005  # battery to the board's supply, at most (chosen here: 1.5 m of 4 AWG is 1.2 mohm, joints beside)
# Starters: 75 to 300 A (a wire catalogue); while it turns, up to 280 A at -20 C and 250 A for eight cylinders.
STARTER_A = (75.0, 280.0)
# Polarisation, at most: the bench battery gained 0.15 V within 12 min of the end of a load of C/11; more at more.
POLARISATION_V = 0.25
SUPPLY_DROP_V = 0.20  # a shop limit for charge and ground sides, taken for the board's supply
LEAST_AH, MOST_AH = 30.0, 100.0  # smaller and larger starter batteries are rare in cars (from memory)
LOADS_A = 100.0  # all loads at once of a car that nobody described (chosen here: 99 A in the shipped car file)
FILE_OHM = (0.8, 1.5)  # how far the resistance of a car file may be off, cold and age (chosen here)
FILE_WIRING = 1.2  # and that of its wiring on the way to the board: joints (chosen here)
FILE_AH = 0.7  # capacity that an aged battery still has of what its file says (chosen here)


@dataclass(frozen=True)
class Supply:
    """What is known of the way from the battery to the board. All are bounds."""

    least_ohm: float = BATTERY_OHM[0]
    most_ohm: float = BATTERY_OHM[1] + CABLES_OHM
    """Battery and cables together [ohm]."""
    drop_v: float = SUPPLY_DROP_V
    """Most that the loads' current loses before the board [V]."""
    least_ah: float = LEAST_AH
    """Least capacity [Ah]."""
    most_ah: float = MOST_AH
    """Most capacity [Ah]."""
    most_a: float = LOADS_A
    """Most that the loads can draw [A]."""
    full_v: float = FULL_V
    """Rested volts of the full battery [V]; nan for a kind whose tables disagree."""
    basis: str = f"a flooded battery of 3 to 20 mohm, and loads of {LOADS_A:.0f} A at most"

    def after_crank(self, dip_volts: float | None) -> "Supply":
        """The same, narrowed by what a starter's current did to the volts: dip [V] / 280 A to dip / 75 A."""
        if dip_volts is None or dip_volts <= 0.0:
            return self
        least = max(self.least_ohm, dip_volts / STARTER_A[1])
        most = min(self.most_ohm, dip_volts / STARTER_A[0])
        if most < least:  # the dip contradicts what is known: leave that alone
            return self
        basis = f"{self.basis}, and its dip at the crank"
        return replace(self, least_ohm=least, most_ohm=most, basis=basis)


def supply_of(car: "CarFile") -> Supply:
    """What a car file says of it."""
    from underdash.car.from_file import build
    from underdash.plan.budget.balance import balances

    wiring = build(car).wiring
    ohm = car.battery.internal_ohm + wiring.battery_cable_ohm + wiring.feed_ohm
    most_a = max(balance.peak_a for balance in balances(car))
    return Supply(
        least_ohm=ohm * FILE_OHM[0],
        most_ohm=ohm * FILE_OHM[1],
        drop_v=wiring.bus_ohm * FILE_WIRING * most_a,
        least_ah=car.battery.capacity_ah * FILE_AH,
        most_ah=car.battery.capacity_ah,
        most_a=most_a,
        full_v=FULL_V if car.battery.kind == "flooded" else float("nan"),
        basis=f"the battery, cables and loads of {car.name}",
    )


def bounds(
    volts: Floats, step_s: Floats, length_s: float, rested_volts: float | None, supply: Supply, before_ah: float = 0.0
) -> tuple[float, float] | None:
    """(least, most) that the battery gave in an episode [Ah], both positive; None where the volts do not carry it.

    volts: its rows [V], step_s: their times [s]; length_s: its whole length, from onset [s]. rested_volts: before the
    drive [V], None if unknown. before_ah: most that was taken since those were read [Ah].
    """
    if rested_volts is not None and rested_volts > supply.full_v - FULL_V + HIGHEST_RESTED_V:
        return None
    highest = supply.full_v + SURFACE_V
    low = volts < supply.full_v  # above it the surface charge hides how much flows
    if not low.any():
        return None
    weights = step_s[low]
    total_s = float(weights.sum())
    if not total_s > 0.0:
        return None
    low_v = volts[low]

    def amps(rested: Floats | float, ohm: float) -> Floats:
        return np.clip((rested - low_v) / ohm, 0.0, supply.most_a)

    def taken(rested: float, ohm: float, fall_v_per_ah: float, rounds: int) -> float:
        # The rested volts fall by what is taken. Without that fall the sum is too large; with the fall of that sum
        # too small; with the fall of this one too large again: each round is a bound from the other side.
        found = amps(rested, ohm)
        for _ in range(rounds):
            found = amps(rested - fall_v_per_ah * np.cumsum(found * weights) / 3600.0, ohm)
        return float(found @ weights) / 3600.0

    most = taken(highest, supply.least_ohm, LEAST_FALL_V / supply.most_ah, 2) * float(length_s) / total_s
    if most >= supply.most_ah:  # more than a battery holds is no bound
        return None
    stand = (HALF_V if rested_volts is None else min(rested_volts, supply.full_v)) - SURFACE_V
    stand -= MOST_FALL_V / supply.least_ah * before_ah + POLARISATION_V + supply.drop_v
    least = taken(stand, supply.most_ohm, MOST_FALL_V / supply.least_ah, 1)
    return min(least, most), most
