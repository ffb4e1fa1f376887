"""Where the converter's wide codes lie in bus volts, and whether the volts that matter are clear of them.

Inside a wide code (erratum E11 of the chip: nine steps that all read the same) no calibration helps. They
lie at eighths of full scale, so full scale decides where they fall on the bus.
"""

from dataclasses import dataclass
from itertools import product

from underdash.frontend.constants import SPAN, TYPICAL_OFFSET, arm, constants, only
from underdash.frontend.parts import GROUND, Values

WINDOW = (11.6, 15.6)  # [V] the volts that matter: from a flat battery to overcharge
# [V] what nominal full scale may be: what is promised ends at 18 V; above, a step of the converter grows past 6 mV.
REACH = (18.0, 25.0)
_CABIN = (0.0, 50.0)  # [C]
_DROP_SPREAD = 0.005  # [V] of what the converter's own current drops on its filter, from memory
_OFFSETS = (11.0, 17.0)  # [steps] of five measured chips (docs/check-values.md)
# In sixteenths of a step, as chargecore.calibration has them: the first wide code, its width, the distance.
_FIRST, _WIDE, _APART = 511 * 16 - 8, 16 + 138, 16384 + 138


@dataclass(frozen=True)
class FullScale:
    """nominal [V]; lowest, highest [V] over tolerances in a cabin; codes: [V] lowest begin and highest end of
    each wide code; typical: the same of the nominal values. clear: none reaches into WINDOW. gap [V]: how
    far the nearest stays away, negative if it reaches in."""

    nominal: float
    lowest: float
    highest: float
    codes: list[tuple[float, float]]
    typical: list[tuple[float, float]]

    @property
    def gap(self) -> float:
        low, high = WINDOW
        return min(max(low - end, begin - high) for begin, end in self.codes)

    @property
    def clear(self) -> bool:
        return bool(self.gap > 0)

    @property
    def fits(self) -> bool:
        return REACH[0] <= self.nominal <= REACH[1]

    @property
    def problems(self) -> list[str]:
        """One line for each thing that is wrong with it."""
        found = []
        if not self.fits:
            why = "the converter stands at its end below the volts that matter" if self.nominal < REACH[0] else (
                "its steps are coarser than the promise")  # fmt: skip
            found.append(f"full scale: {self.nominal:.2f} V, must be {REACH[0]:g} to {REACH[1]:g} V: {why}; change R3 "
                         "or R4 so that it is near 18.26 V")  # fmt: skip
        if not self.clear:
            found.append(
                f"wide codes: one reaches {-self.gap * 1000:.0f} mV into {WINDOW[0]} to {WINDOW[1]} V, full scale is "
                f"{self.nominal:.2f} V: make R3 so that it is near 18.26 V, or the reference better"
            )
        return found


def full_scale(values: Values) -> FullScale:
    """UsageError if the divider is not whole."""
    found = constants(values)
    upper = arm(values, "fused", "sensed") + arm(values, "sensed", "bus_mid")
    lower = arm(values, "bus_mid", GROUND)
    # The first order is enough: each end moves by its share of the divider.
    series = [*values.between("resistor", "fused", "sensed"), *values.between("resistor", "sensed", "bus_mid")]
    shunts = values.between("resistor", "bus_mid", GROUND)
    warmth = max(abs(celsius - 25.0) for celsius in _CABIN)
    away = [part["tolerance"] + part["tempco_ppm"] * 1e-6 * warmth for part in (*series, *shunts)]
    factors = [
        upper / (upper + lower) * (max(away[: len(series)]) + max(away[len(series) :])) * sign for sign in (-1, 1)
    ]
    references = [part for part in values.present() if part.kind == "reference"]
    source = references[0] if references else only(values, "board")
    spread = source["tolerance"] + source["tempco_ppm"] * 1e-6 * warmth
    volts = [found.reference * (1 - spread), found.reference * (1 + spread)]
    if not references:
        volts = [volts[0] - _DROP_SPREAD, volts[1] + _DROP_SPREAD]
    ends = [volt / found.reference * (1 + factor) * found.full_scale for volt, factor in product(volts, factors)]
    lowest, highest = min(ends), max(ends)
    codes, typical = [], []
    for number in range(4):
        begin = _FIRST + number * _APART
        codes.append((_at(begin, _OFFSETS[1], lowest), _at(begin + _WIDE, _OFFSETS[0], highest)))
        typical.append(
            (_at(begin, TYPICAL_OFFSET, found.full_scale), _at(begin + _WIDE, TYPICAL_OFFSET, found.full_scale))
        )
    return FullScale(found.full_scale, lowest, highest, codes, typical)


def _at(reading: float, offset: float, scale: float) -> float:
    """Bus volts at an unfolded reading [1/16 steps]."""
    return (reading - offset * 16) / SPAN * scale
