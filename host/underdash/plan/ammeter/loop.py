"""The old ammeter loop within the supply side: where it parts from the other ways, and where it joins them again."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from underdash.carfile.model import ALTERNATOR, BATTERY, LOOP, CarFile
from underdash.carfile.paths import AMMETER, supply
from underdash.wire.network import Branch, Unconnected, between, currents, potentials, reached


@dataclass(frozen=True)
class Loop:
    """The way from the alternator to the battery that leads through the meter, as far as it is a way of its own."""

    chain: tuple[Branch, ...]
    """From `near` to `far`, the meter among them."""
    places: tuple[str, ...]
    """The chain's places, `near` first: one more than branches."""
    rest: tuple[Branch, ...]
    """The whole supply side without the chain."""

    @property
    def near(self) -> str:
        """The place on the alternator's side where the ways part."""
        return self.places[0]

    @property
    def far(self) -> str:
        """The place on the battery's side where they join."""
        return self.places[-1]

    @property
    def ohm(self) -> float:
        """Of the chain [ohm]."""
        return sum(branch.ohm for branch in self.chain)

    @property
    def other_ohm(self) -> float | None:
        """What `near` and `far` see between them without the chain [ohm]; None if nothing joins them then."""
        try:
            return between(self.rest, self.near, self.far)
        except Unconnected:
            return None

    @property
    def simply_parallel(self) -> bool:
        """True where the divider's rule holds: nothing joins the chain between its ends, and without it all of a
        current from alternator to battery passes from `near` to `far`."""
        other = self.other_ohm
        if other is None or reached(self.rest, self.near) & set(self.places[1:-1]):
            return False
        try:
            volts = potentials(self.rest, {ALTERNATOR: 1.0}, BATTERY)
        except Unconnected:
            return False
        return self.near in volts and abs(volts[self.near] - volts[self.far] - other) <= 1e-9 * other


def find_loop(car: CarFile) -> Loop | None:
    """The loop that the meter is in, as it was before the conversion, up to where other ways now join it.

    None without a meter, and if no way from alternator to battery leads through it, before or after.
    Raises Unconnected if nothing leads from alternator to battery even after.
    """
    before, after = supply(car, before=True), supply(car)
    old = {branch.name for branch in live(before)} | {cable.name for cable in car.cables if LOOP in cable.carries}
    stops = {ALTERNATOR, BATTERY} | {place for b in live(after) if b.name not in old for place in (b.start, b.end)}
    for network in (before, after):
        if BATTERY not in reached(network, ALTERNATOR):
            continue
        volts = potentials(network, {ALTERNATOR: 1.0}, BATTERY)
        ways = [branch for branch in live(network) if branch.start in volts]
        meter = next((branch for branch in ways if branch.name == AMMETER), None)
        if meter is None:
            continue
        on = list(_series(ways, meter, meter.end, stops))
        back = list(_series(ways, meter, meter.start, stops))[::-1]
        chain = [*(branch for branch, _ in back), meter, *(branch for branch, _ in on)]
        places = [*(place for _, place in back), meter.start, meter.end, *(place for _, place in on)]
        if volts[places[0]] < volts[places[-1]]:
            chain.reverse()
            places.reverse()
        used = {branch.name for branch in chain}
        return Loop(tuple(chain), tuple(places), tuple(branch for branch in after if branch.name not in used))
    return None


def charge_through(branches: Sequence[Branch]) -> float:
    """Share of a current from alternator to battery that passes the meter, negative from its end to its start.

    Raises Unconnected if nothing leads from alternator to battery.
    """
    return currents(branches, {ALTERNATOR: 1.0}, BATTERY)[AMMETER]


def live(branches: Sequence[Branch], keep: Collection[str] = (ALTERNATOR, BATTERY)) -> list[Branch]:
    """`branches` without what leads nowhere, such as the feed of a single load; `keep` are no dead ends."""
    found = [branch for branch in branches if branch.start != branch.end]
    while True:
        ends = _ends(found)
        loose = {b.name for b in found if any(ends[p] == 1 and p not in keep for p in (b.start, b.end))}
        if not loose:
            return found
        found = [branch for branch in found if branch.name not in loose]


def route(branches: Sequence[Branch], start: str, end: str) -> list[Branch] | None:
    """`branches` in order from `start` to `end`, if what is live of them is one unbranched way; else None."""
    left = live(branches, keep=(start, end))
    found: list[Branch] = []
    at = start
    while at != end:
        onward = [branch for branch in left if at in (branch.start, branch.end)]
        if len(onward) != 1:
            return None
        found.append(onward[0])
        left.remove(onward[0])
        at = other_end(onward[0], at)
    return None if left else found


def other_end(branch: Branch, place: str) -> str:
    """The place at which a branch ends that begins at `place`."""
    return branch.end if branch.start == place else branch.start


def _ends(branches: Sequence[Branch]) -> dict[str, int]:
    """How many branches end at each place."""
    count: dict[str, int] = {}
    for branch in branches:
        for place in (branch.start, branch.end):
            count[place] = count.get(place, 0) + 1
    return count


def _series(ways: Sequence[Branch], meter: Branch, place: str, stops: set[str]) -> Iterator[tuple[Branch, str]]:
    """Each branch in series with the meter beyond `place`, with the place that it leads to."""
    ends = _ends(ways)
    at = meter
    while ends[place] == 2 and place not in stops:
        at = next(branch for branch in ways if place in (branch.start, branch.end) and branch.name != at.name)
        if at.name == meter.name:
            return
        place = other_end(at, place)
        yield at, place
