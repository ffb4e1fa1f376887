"""A network of resistances: what flows where, and what two places see between them."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np


class Branch(NamedTuple):
    """A resistance between two places."""

    name: str
    start: str
    end: str
    ohm: float


class Unconnected(ValueError):
    """Nothing leads from one place to another; `places` are the two."""

    def __init__(self, one: str, other: str) -> None:
        super().__init__(f"nothing leads from {one} to {other}")
        self.places = (one, other)


def reached(branches: Sequence[Branch], place: str) -> set[str]:
    """Every place that `place` is connected to, itself included."""
    found = {place}
    grown = True
    while grown:
        ends = {b.end for b in branches if b.start in found} | {b.start for b in branches if b.end in found}
        grown = not ends <= found
        found |= ends
    return found


def potentials(branches: Sequence[Branch], injected: Mapping[str, float], zero: str) -> dict[str, float]:
    """Volts at every place against `zero` [V], with `injected` amps fed in there [A], all of it leaving at `zero`.

    Kirchhoff's current law at each place, solved at once. Raises Unconnected where amps cannot get to `zero`.
    """
    live = reached(branches, zero)
    for place, amps in injected.items():
        if amps and place not in live:
            raise Unconnected(place, zero)
    places = sorted(live - {zero})
    if not places:
        return {zero: 0.0}
    row = {place: i for i, place in enumerate(places)}
    conductance = np.zeros((len(places), len(places)))
    for branch in branches:
        ends = [row[place] for place in (branch.start, branch.end) if place in row]
        if not live >= {branch.start, branch.end}:
            continue
        for i in ends:
            conductance[i, i] += 1.0 / branch.ohm
        if len(ends) == 2 and ends[0] != ends[1]:
            conductance[ends[0], ends[1]] -= 1.0 / branch.ohm
            conductance[ends[1], ends[0]] -= 1.0 / branch.ohm
    fed = np.array([injected.get(place, 0.0) for place in places])
    volts = np.linalg.solve(conductance, fed)
    return {zero: 0.0, **{place: float(v) for place, v in zip(places, volts, strict=True)}}


def currents(branches: Sequence[Branch], injected: Mapping[str, float], zero: str) -> dict[str, float]:
    """Amps in each branch [A], positive from its start to its end; 0 in a branch that hangs loose."""
    volts = potentials(branches, injected, zero)
    return {b.name: (volts[b.start] - volts[b.end]) / b.ohm if b.start in volts else 0.0 for b in branches}


def between(branches: Sequence[Branch], one: str, other: str) -> float:
    """Resistance that `one` and `other` see between them [ohm]. Raises Unconnected."""
    return potentials(branches, {one: 1.0}, other)[one] if one != other else 0.0
