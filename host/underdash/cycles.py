"""Cycles of a battery, counted after ASTM E1049, and what they cost of its life: for the plan and the review alike.

An estimate, and a coarse one (docs/budget.md): one published point of cycle life, carried to depths of a few
thousandths, for which nothing is published.
"""

from collections.abc import Sequence

LEAST_DEPTH = 1e-4  # shallower than this share of the capacity is not counted: 22 A s of 60 Ah

# A battery of the starter kind: "50-70 cycles at 30 %" (element82.co.nz FAQ), their middle. One point; a table from
# memory (130 to 150 at 30 %) has twice as many.
LIFE_CYCLES = 60.0
LIFE_DEPTH = 0.30


def count(charge: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """Cycles of a record of the state of charge [0..1]: (depth [0..1], how many), the deepest first.

    ASTM E1049-85, rainflow counting, by the library of that name: half a cycle for what never closes. Depths are told
    apart to a thousandth of a per cent; those below LEAST_DEPTH are left out.
    """
    import rainflow

    counted = rainflow.count_cycles(charge, ndigits=5)
    return tuple((float(depth), float(many)) for depth, many in reversed(counted) if depth >= LEAST_DEPTH)


def life_share(cycles: Sequence[tuple[float, float]]) -> float:
    """Share of a starter battery's cycle life that `cycles` use up, an estimate [0..1].

    A battery lasts LIFE_CYCLES x LIFE_DEPTH / depth cycles: as if it could give the same charge in all, however
    shallow the cycles.
    """
    return sum(many * depth for depth, many in cycles) / (LIFE_CYCLES * LIFE_DEPTH)
