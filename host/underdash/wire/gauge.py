"""Conductor sizes: AWG by its formula, SAE by its smaller areas, square millimetres as they are."""

import re
from dataclasses import dataclass
from math import pi

SYSTEMS = ("AWG", "SAE", "mm2")
# The sizes that 33 CFR 183.425 Table 5 lists, thin to thick.
SIZES = ("18", "16", "14", "12", "10", "8", "6", "4", "3", "2", "1", "1/0", "2/0", "3/0", "4/0")
# Square millimetres that cable is sold in: IEC 60228's series, as a cable engineers' page prints it.
METRIC_SIZES = ("0.5", "0.75", "1", "1.5", "2.5", "4", "6", "10", "16", "25", "35", "50", "70", "95", "120")

MM2_PER_CIRCULAR_MIL = pi / 4.0 * 0.0254**2
# Circular mils of SAE cable, as catalogues print them (secondary): 16, 10, 6, 4/0 delzer.com p. 70; 18, 14, 12
# sportsmensmarine.com/archives/1034; 4, 2, 1/0, 2/0 batterycable.co, whose rows below 6 are shifted and not used.
_SAE_CIRCULAR_MILS = {
    **{"18": 1537.0, "16": 2336.0, "14": 3702.0, "12": 5833.0, "10": 9343.0, "6": 24538.0},
    **{"4": 37360.0, "2": 62450.0, "1/0": 98980.0, "2/0": 125100.0, "4/0": 205500.0},
}
_SAE_SHARE = 0.88  # of AWG, for the others: smaller than any of those above (0.89 to 0.97), so on the careful side

_WRITTEN = re.compile(r"\s*(\d+/0|\d+(?:\.\d+)?)\s*(AWG|SAE|mm2|mm²|sqmm)\s*", re.IGNORECASE)
_SYSTEM_OF = {"awg": "AWG", "sae": "SAE", "mm2": "mm2", "mm²": "mm2", "sqmm": "mm2"}


def awg_diameter_mm(size: str) -> float:
    """Diameter of a solid conductor [mm]: 0.127 mm x 92^((36 - n) / 39), n = 0, -1, -2, -3 for 1/0 to 4/0.

    ASTM B258 as GNU units defines it: 4/0 is 0.46 in and 36 is 0.005 in, exactly.
    """
    number = 1 - int(size.removesuffix("/0")) if size.endswith("/0") else int(size)
    return float(0.127 * 92.0 ** ((36 - number) / 39.0))


@dataclass(frozen=True)
class Gauge:
    """A conductor's size as its seller calls it, such as `4 AWG`, `6 SAE`, `16 mm2`."""

    system: str
    """One of SYSTEMS."""
    size: str
    """The number as written, `1/0` to `4/0` included."""

    @property
    def area_mm2(self) -> float:
        """Copper [mm2]."""
        if self.system == "mm2":
            return float(self.size)
        if self.system == "SAE" and self.size in _SAE_CIRCULAR_MILS:
            return _SAE_CIRCULAR_MILS[self.size] * MM2_PER_CIRCULAR_MIL
        area = pi / 4.0 * awg_diameter_mm(self.size) ** 2
        return area * _SAE_SHARE if self.system == "SAE" else area

    def __str__(self) -> str:
        return f"{self.size} {'mm²' if self.system == 'mm2' else self.system}"


def parse(text: str) -> Gauge:
    """The gauge that `text` names. ValueError says what is wrong and what to write."""
    written = _WRITTEN.fullmatch(text)
    if not written:
        raise ValueError('names no gauge; write "4 AWG", "4 SAE" or "16 mm2" (AWG and SAE of one number differ)')
    size, system = written[1], _SYSTEM_OF[written[2].lower()]
    if system == "mm2":
        if not 0.5 <= float(size) <= 120.0:
            raise ValueError("is outside 0.5 to 120 mm2")
    elif size not in SIZES:
        raise ValueError(f"is no {system} size that the table of ampacities lists; there are {', '.join(SIZES)}")
    return Gauge(system, size)


def ladder(system: str) -> tuple[Gauge, ...]:
    """Every size of `system` that is sold, thin to thick."""
    return tuple(Gauge(system, size) for size in (METRIC_SIZES if system == "mm2" else SIZES))
