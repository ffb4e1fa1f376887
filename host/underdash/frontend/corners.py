"""Corners: every part at an end of its tolerance, at the ends of temperature.

2**n corners would take days and say little. What hurts is known: what lets most current through, at what
volts the suppressors begin, and how warm it is; the three are combined in full. Supplies and their limits
go with the suppressors (both high, both low), capacitors are always small.
"""

from dataclasses import dataclass
from itertools import product

from underdash.frontend.parts import GROUND, Part

ROOM = 25.0  # [C]
COLD, HOT = -40.0, 85.0  # [C] what the chip is specified for; a closed cabin in the sun stays below


@dataclass(frozen=True)
class Corner:
    """through: 1 with series resistors low and those to ground high, so that most arrives at the pins;
    -1 the other way. suppressors: 1 with breakdown, regulated volts and their limits high, -1 low. small:
    capacitors at their low end. celsius [C]."""

    name: str
    through: int = 0
    suppressors: int = 0
    small: bool = False
    celsius: float = ROOM

    def at(self, lowest: float, highest: float) -> "Corner":
        """The same corner, its temperature held between two [C]."""
        celsius = min(max(self.celsius, lowest), highest)
        return Corner(self.name, self.through, self.suppressors, self.small, celsius)

    def _away(self, part: Part, sign: int) -> float:
        """The factor of a part that is at the end of its tolerance, its drift on top."""
        drift = part["tempco_ppm"] * 1e-6 * abs(self.celsius - ROOM)
        return 1.0 + sign * (part["tolerance"] + drift)

    def ohms(self, part: Part) -> float:
        """Of a resistor [ohm]."""
        return part["ohms"] * self._away(part, self.through if GROUND in part.nodes else -self.through)

    def farads(self, part: Part) -> float:
        cold = part.get("cold_share", 1.0) if self.celsius < -20.0 else 1.0
        return part["farads"] * self._away(part, -1 if self.small else 0) * cold

    def esr(self, part: Part) -> float:
        """Series resistance of a capacitor [ohm]."""
        return part.get("esr_ohms") * (part.get("cold_esr", 1.0) if self.celsius < -20.0 else 1.0)

    def breakdown(self, part: Part) -> float:
        """Of a suppressor [V]: its tempco is real, not a tolerance."""
        spread = 1.0 + self.suppressors * part["tolerance"]
        return part["breakdown_volts"] * spread * (1.0 + part["tempco_ppm"] * 1e-6 * (self.celsius - ROOM))

    def supply(self, part: Part, figure: str) -> float:
        """Of a regulator, a reference or the board's converter [V]."""
        return part[figure] * self._away(part, self.suppressors)


NOMINAL = Corner("nominal")


def corners(quick: bool = False) -> list[Corner]:
    """Those that a front end is tried in."""
    if quick:
        return [NOMINAL]
    found = [NOMINAL]
    for celsius, suppressors, through in product((COLD, HOT), (-1, 1), (-1, 1)):
        words = ("cold" if celsius == COLD else "hot", "clamps high" if suppressors > 0 else "clamps low",
                 "most through" if through > 0 else "least through")  # fmt: skip
        found.append(Corner(", ".join(words), through, suppressors, True, celsius))
    return found
