"""A current through one side of the wiring: what flows in each cable, its copper as warm as that makes it."""

from collections.abc import Mapping
from dataclasses import dataclass

from underdash.carfile.model import SUPPLY_SIDE, CarFile
from underdash.carfile.paths import cable_ohm, ground, supply
from underdash.wire.ampacity import conductor_c
from underdash.wire.network import Branch, Unconnected, currents, potentials, reached

_HOTTEST_C = 200.0  # copper is not followed beyond the hottest insulation of the table
_ROUNDS = 6  # of currents and temperatures in turn; the third changes less than a millivolt


@dataclass(frozen=True)
class Flow:
    """A current between two places of one side, its copper as warm as it makes it."""

    branches: tuple[Branch, ...]
    volts: Mapping[str, float]
    """At each place against the second one [V]."""
    amps: Mapping[str, float]
    """In each branch from its start to its end [A]."""
    drop_v: float
    """From the first place to the second [V]."""
    start: str
    """The first place."""
    end: str
    """The second."""

    def lost_v(self, branch: Branch) -> float:
        """Between the two ends of a branch [V]."""
        return abs(self.amps[branch.name]) * branch.ohm

    @property
    def main_way(self) -> list[Branch]:
        """One way from the first place to the second, by the most current at each: its losses add up to the drop."""
        found: list[Branch] = []
        at = self.start
        while at != self.end:
            leaving = [(self._from(branch, at), branch) for branch in self.branches if at in (branch.start, branch.end)]
            amps, branch = max(leaving, key=lambda pair: pair[0])
            if amps <= 0.0:
                return []  # no current, no way
            found.append(branch)
            at = branch.end if branch.start == at else branch.start
        return found

    @property
    def beside(self) -> list[Branch]:
        """What else carries current, side by side with the main way; from the first place on."""
        main = {branch.name for branch in self.main_way}
        rest = [b for b in self.branches if b.name not in main and b.start in self.volts and self.lost_v(b) > 0.0]
        return sorted(rest, key=lambda branch: (-max(self.volts[branch.start], self.volts[branch.end]), branch.name))

    def _from(self, branch: Branch, place: str) -> float:
        """Amps that leave a place by a branch [A]."""
        return self.amps[branch.name] if branch.start == place else -self.amps[branch.name]


def flow(car: CarFile, side: str, amps: float, start: str, end: str, *, before: bool = False) -> Flow:
    """`amps` [A] from `start` to `end` through a side of the wiring, currents and copper's warmth in balance.

    Raises Unconnected if nothing leads from one to the other.
    """
    branches = supply(car, before=before) if side == SUPPLY_SIDE else ground(car, before=before)
    if end not in reached(branches, start):
        raise Unconnected(start, end)
    cables = {cable.name: cable for cable in car.cables if cable.side == side}
    found = currents(branches, {start: amps}, end)
    for _ in range(_ROUNDS):
        warm = []
        for branch in branches:
            cable = cables.get(branch.name)
            if cable is not None and cable.gauge is not None and cable.stated_ohm is None:
                area, through = cable.gauge.area_mm2, abs(found[branch.name])
                celsius = conductor_c(area, through, cable.ambient_c, cable.bundle)
                branch = branch._replace(ohm=cable_ohm(cable, min(celsius, max(_HOTTEST_C, cable.ambient_c))))
            warm.append(branch)
        branches = warm
        found = currents(branches, {start: amps}, end)
    volts = potentials(branches, {start: amps}, end)
    return Flow(tuple(branches), volts, found, volts[start], start, end)
