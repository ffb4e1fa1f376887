"""What a copper conductor may carry: 33 CFR 183.425 Table 5, with its surroundings taken into account.

The table holds for stranded copper in 30 C air, under 50 V, one insulation class a column. It is law for boats; on a
car it is a yardstick. docs/cables.md says more.
"""

from bisect import bisect_right
from math import log, sqrt

from underdash.wire.gauge import SIZES, Gauge

CLASSES = (60, 75, 80, 90, 105, 125, 200)
"""Insulation temperature ratings that the table has a column for [C]."""

TABLE_C = 30.0
"""Air that the table holds for [C]."""

ENGINE_SPACE_C = 50.0
"""Air of an engine space in the regulation [C]."""

# 33 CFR 183.425 Table 5 [A], a row a size of SIZES, a column a class of CLASSES.
TABLE_5 = {
    "18": (10, 10, 15, 20, 20, 25, 25),
    "16": (15, 15, 20, 25, 25, 30, 35),
    "14": (20, 20, 25, 30, 35, 40, 45),
    "12": (25, 25, 35, 40, 45, 50, 55),
    "10": (40, 40, 50, 55, 60, 70, 70),
    "8": (55, 65, 70, 70, 80, 90, 100),
    "6": (80, 95, 100, 100, 120, 125, 135),
    "4": (105, 125, 130, 135, 160, 170, 180),
    "3": (120, 145, 150, 155, 180, 195, 210),
    "2": (140, 170, 175, 180, 210, 225, 240),
    "1": (165, 195, 210, 210, 245, 265, 280),
    "1/0": (195, 230, 245, 245, 285, 305, 325),
    "2/0": (225, 265, 285, 285, 330, 355, 370),
    "3/0": (260, 310, 330, 330, 385, 410, 430),
    "4/0": (300, 360, 385, 385, 445, 475, 510),
}

# Note 1 of the table, 50 C against 30 C. 0.85 as two trade pages quote it; the others from memory.
ENGINE_SPACE = {60: 0.58, 75: 0.75, 80: 0.78, 90: 0.82, 105: 0.85, 125: 0.89, 200: 1.00}

# (up to so many conductors, factor): note 2 of the table, as a catalogue prints it from the Coast Guard's guideline,
# delzer.com p. 212. The law asks for it from 50 V up (33 CFR 183.435(b)); heat does not, so it is used here too.
BUNDLES = ((2, 1.0), (3, 0.7), (6, 0.6), (24, 0.5))
LARGER_BUNDLE = 0.4

# The column that the heating is taken from, whatever the insulation: a conductor's warmth depends on copper and
# air, and the columns' rounded amps would make a better insulation look cooler or hotter than another.
_HEATING_CLASS = 105

_LEAST_MM2 = 0.5
_AREAS = tuple(Gauge("AWG", size).area_mm2 for size in SIZES)


def column(insulation_c: float) -> int:
    """The class of CLASSES at or below an insulation's rating [C]. ValueError below the lowest."""
    if insulation_c < CLASSES[0]:
        raise ValueError(f"33 CFR 183.425 Table 5 begins at {CLASSES[0]} C; {insulation_c:g} C is below it")
    return CLASSES[bisect_right(CLASSES, insulation_c) - 1]


def table_a(area_mm2: float, insulation_c: float) -> float:
    """Table 5's current [A] for so much copper [mm2] at the class at or below `insulation_c` [C].

    AWG sizes are the table's own. Between two, the larger size's current times the ratio of the areas (ABYC E-11's
    note for metric sizes, as a forum quotes it), never below the smaller size's current nor above a straight line
    between the two on logarithmic scales. Below 18 AWG the same ratio, down to 0.5 mm2; above 4/0 nothing is
    added. ValueError below 0.5 mm2 or 60 C.
    """
    if area_mm2 < _LEAST_MM2:
        raise ValueError(f"{area_mm2:g} mm2 is too far below Table 5 to say what it carries; the least is 0.5 mm2")
    place = CLASSES.index(column(insulation_c))
    if area_mm2 < _AREAS[0]:
        return TABLE_5[SIZES[0]][place] * area_mm2 / _AREAS[0]
    row = bisect_right(_AREAS, area_mm2) - 1
    thinner = float(TABLE_5[SIZES[row]][place])
    if row == len(SIZES) - 1:
        return thinner
    thicker = float(TABLE_5[SIZES[row + 1]][place])
    by_ratio = thicker * area_mm2 / _AREAS[row + 1]
    slope = log(thicker / thinner) / log(_AREAS[row + 1] / _AREAS[row])
    by_line: float = thinner * (area_mm2 / _AREAS[row]) ** slope
    return min(by_line, max(thinner, by_ratio))


def ambient_formula(insulation_c: float, ambient_c: float) -> float:
    """Correction for air other than the table's: sqrt((Tc - Ta) / (Tc - 30)), 0 where the air is as hot as Tc.

    The formula is from memory; it reproduces the 17 factors that NEC 310.16 prints. Cooler air earns nothing: 1.
    """
    if ambient_c <= TABLE_C:
        return 1.0
    return sqrt(max(insulation_c - ambient_c, 0.0) / (insulation_c - TABLE_C))


def ambient_factor(insulation_c: float, ambient_c: float) -> float:
    """The more careful of `ambient_formula` and, from 50 C up, the engine-space factor of the column used."""
    of_column = column(insulation_c)
    factor = ambient_formula(of_column, ambient_c)
    return min(factor, ENGINE_SPACE[of_column]) if ambient_c >= ENGINE_SPACE_C else factor


def bundle_factor(conductors: int) -> float:
    """Correction for `conductors` that carry current side by side, the one in question included."""
    if conductors < 1:
        raise ValueError("a bundle has at least one conductor")
    return next((factor for most, factor in BUNDLES if conductors <= most), LARGER_BUNDLE)


def allowed_a(area_mm2: float, insulation_c: float, ambient_c: float, bundle: int = 1) -> float:
    """What the table allows in these surroundings [A]; 0 where the air is as hot as the column used.

    Area [mm2], insulation's rating [C], air around it [C], conductors in the bundle. ValueError as `table_a`.
    """
    return table_a(area_mm2, insulation_c) * ambient_factor(insulation_c, ambient_c) * bundle_factor(bundle)


def conductor_c(area_mm2: float, amps: float, ambient_c: float, bundle: int = 1) -> float:
    """Conductor's temperature at a lasting current [C]: an estimate.

    The table's current warms the conductor from 30 C air to the class; warming goes with the square of the current
    and comes on top of whatever air there is: Ta + (105 - 30) x (I / (105 C column x bundle factor))^2.
    """
    share = amps / (table_a(area_mm2, _HEATING_CLASS) * bundle_factor(bundle))
    return ambient_c + (_HEATING_CLASS - TABLE_C) * share**2
