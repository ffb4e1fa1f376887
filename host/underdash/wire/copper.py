"""Resistance of copper, from its area and its temperature."""

SIEMENS_M_PER_MM2 = 58.0  # IACS copper at 20 C: 1 m of 1 mm2 is 1/58 ohm (GNU units, which cites the standard)
PER_K = 0.00393  # at 20 C, 100 % IACS; from memory, and NEC chapter 9 table 8 follows from it to three figures
STRANDED = 1.02  # the lay of strands: NEC chapter 9 table 8, stranded over solid, is 1.018 to 1.025


def ohm_per_m(area_mm2: float, conductor_c: float = 20.0) -> float:
    """Resistance of solid copper [ohm/m] of `area_mm2` [mm2] at `conductor_c` [C].

    1 / (58 A) x (1 + 0.00393 (T - 20 C)).
    """
    return (1.0 + PER_K * (conductor_c - 20.0)) / (SIEMENS_M_PER_MM2 * area_mm2)
