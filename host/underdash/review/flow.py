"""What went into the battery and out of it, by the clamp: charge, energy, cycles and what they cost."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from underdash.cycles import count, life_share
from underdash.review.rows import Floats

LEAST_CYCLE_AH = 0.006  # shallower is not counted: cycles.LEAST_DEPTH, of 60 Ah


@dataclass(frozen=True)
class Flow:
    """Rows with a clamp's reading: each row's time [s], current [A, positive charging] and volts [V]."""

    step_s: Floats
    amps: Floats
    volts: Floats

    def report(self, capacity_ah: float | None) -> dict[str, Any]:
        """out_ah, in_ah [Ah], out_wh, in_wh [Wh], cycles, life_share; nulls where no clamp measured."""
        names = ("out_ah", "in_ah", "out_wh", "in_wh")
        if not np.isfinite(self.amps).any():
            return {**dict.fromkeys(names), "cycles": [], "life_share": None}
        charge_as, volts = self.amps * self.step_s, self.volts
        if not np.isfinite(charge_as @ volts):
            charge_as, volts = np.nan_to_num(charge_as), np.nan_to_num(volts)
        found = cycles(charge_as / 3600.0)
        net = float(charge_as.sum()), float(charge_as @ volts)
        np.abs(charge_as, out=charge_as)  # a season of rows is large: no second array of them
        gross = float(charge_as.sum()), float(charge_as @ volts)
        sums = [part for all_in, all_of in zip(net, gross, strict=True)
                for part in ((all_of - all_in) / 2.0, (all_of + all_in) / 2.0)]  # fmt: skip
        return {
            **{name: round(total / 3600.0, 3) for name, total in zip(names, sums, strict=True)},
            "cycles": [{"depth_ah": depth, "count": count} for depth, count in found],
            "life_share": life(found, capacity_ah),
        }


def cycles(charge_ah: Floats) -> list[tuple[float, float]]:
    """[(depth [Ah], how many)] of the charge that each row brought [Ah], the deepest first: ASTM E1049 rainflow.

    Counted as in `plan.budget.cycling`: as if the battery were full at the start, so what comes in beyond what went out
    is charging or gas and no cycle.
    """
    # Rows in a row that all charge, or all discharge, turn nowhere: their sums will do.
    inward = charge_ah > 0.0
    begins = np.flatnonzero(np.concatenate([[True], inward[1:] != inward[:-1]]))
    moved = np.concatenate([[0.0], np.cumsum(np.add.reduceat(charge_ah, begins))])
    # A level that may not rise above full: the sum less the most by which it would have overflowed so far.
    level = moved - np.maximum.accumulate(np.maximum(moved, 0.0))
    counted: dict[float, float] = {}
    points = turns(level, LEAST_CYCLE_AH)
    if len(points) == 2:  # the library wants three to see a range
        points = np.array([points[0], points.mean(), points[1]])
    for depth, many in count(points.tolist()):
        if depth >= LEAST_CYCLE_AH:
            shown = round(depth, 3)
            counted[shown] = counted.get(shown, 0.0) + many
    return sorted(counted.items(), reverse=True)


def turns(level: Floats, least: float) -> Floats:
    """The turning points of a record, without the cycles below `least` that rainflow counting would close.

    A range no larger than both its neighbours is a closed cycle, whichever is taken out first; taking out all small
    ones at once, until none is left, spares the counting what a clamp's noise would cost it.
    """
    points = _extremes(level)
    while len(points) > 3:
        ranges = np.abs(points[1:] - points[:-1])
        small = np.flatnonzero(
            (ranges[1:-1] < least) & (ranges[1:-1] <= ranges[:-2]) & (ranges[1:-1] <= ranges[2:])
        ) + 1  # fmt: skip
        if not len(small):
            return points
        # Neighbours share a point: of a row of them every other one goes now.
        starts = np.concatenate([[True], np.diff(small) > 1])
        place = np.arange(len(small)) - np.flatnonzero(starts)[np.cumsum(starts) - 1]
        gone = small[place % 2 == 0]
        keep = np.ones(len(points), dtype=bool)
        keep[gone] = keep[gone + 1] = False
        points = points[keep]  # and what is left still goes up and down by turns
    return points


def _extremes(values: Floats) -> Floats:
    """First, last, and every value at which the record turns."""
    moving: Floats = values[np.concatenate([[True], values[1:] != values[:-1]])]
    if len(moving) < 3:
        return moving
    rising = moving[1:] > moving[:-1]
    turning: Floats = moving[np.concatenate([[True], rising[1:] != rising[:-1], [True]])]
    return turning


def life(found: list[tuple[float, float]], capacity_ah: float | None) -> float | None:
    """Share of a starter battery's cycle life that cycles [Ah] use up, an estimate by the rule of
    `underdash.cycles`; None where the battery's capacity is not known."""
    if capacity_ah is None:
        return None
    return round(life_share([(depth / capacity_ah, many) for depth, many in found]), 6)
