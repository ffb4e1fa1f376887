"""A car file as a whole: names that meet, places that are connected."""

from collections import Counter
from collections.abc import Iterator, Sequence

from underdash.carfile import paths
from underdash.carfile.model import (
    ALL_LOADS,
    ALTERNATOR,
    BATTERY,
    BODY,
    CHARGE,
    CRANK,
    ENGINE,
    GROUND,
    LOOP,
    STARTER,
    SUPPLY_SIDE,
    Cable,
    CarFile,
    Load,
)
from underdash.toml_file import TomlFile, nearest
from underdash.wire.network import reached

_FLOWS = (CHARGE, ALL_LOADS, CRANK, LOOP)


def problems_of(car: CarFile, file: TomlFile) -> list[tuple[int, str]]:
    """[(line, what is wrong and what to write)] of a file whose parts are right each by itself."""
    return [*_names(car), *_carried(car), *_connected(car, file)]


def _names(car: CarFile) -> Iterator[tuple[int, str]]:
    yield from _doubles(car.loads, "load")
    yield from _doubles(car.cables, "cable")
    for cable in car.cables:
        if cable.name == paths.AMMETER:
            yield cable.line, f"[[cable]] {cable.name}: that name is the meter's own; call the cable otherwise"
    for load in car.loads:
        if load.name in _FLOWS:
            yield load.line, f"[[load]] {load.name}: that word means a flow in `carries`; call the load otherwise"


def _doubles(items: Sequence[Load] | Sequence[Cable], title: str) -> Iterator[tuple[int, str]]:
    first: dict[str, int] = {}
    for item in items:
        if item.name in first:
            yield item.line, f"[[{title}]] {item.name}: line {first[item.name]} has that name too; give each its own"
        first.setdefault(item.name, item.line)


def _carried(car: CarFile) -> Iterator[tuple[int, str]]:
    names = [load.name for load in car.loads]
    for cable in car.cables:
        for flow in cable.carries:
            if flow == LOOP and car.ammeter is None:
                yield (
                    cable.line,
                    f"[[cable]] {cable.name} carries the ammeter loop, but there is no [ammeter]; write one",
                )
            elif flow not in (*_FLOWS, *names):
                near = nearest(flow, [*_FLOWS, *names])
                known = f'there are {", ".join(_FLOWS)}, the names of loads, or amps such as "20 A"'
                yield cable.line, f"[[cable]] {cable.name} carries {flow}: no load has that name{near or '; ' + known}"


def _connected(car: CarFile, file: TomlFile) -> Iterator[tuple[int, str]]:
    supply, ground = paths.supply(car), paths.ground(car)
    if car.ammeter is not None:
        wired = {place for branch in supply if branch.name != paths.AMMETER for place in (branch.start, branch.end)}
        for place in (car.ammeter.start, car.ammeter.end):
            if place not in wired:
                yield car.ammeter.line, f"[ammeter]: no cable leads to {place}{nearest(place, sorted(wired))}"
    loose = list(_loose(car))
    if loose:
        yield from loose
        return
    live = reached(supply, BATTERY)
    for place, at in ((STARTER, 1), (ALTERNATOR, 1), (car.bus, file.line("bus"))):
        if place not in live:
            near = nearest(place, sorted(live)) if place == car.bus else ""
            yield at, f"no cable leads from {BATTERY} to {place}{near or '; write the [[cable]] that does'}"
    grounded = reached(ground, GROUND)
    for place in (ENGINE, BODY):
        if place not in grounded:
            yield (
                1,
                f"no cable leads from {GROUND} (the battery's negative post) to {place}; write the [[cable]] that does",
            )
    for cable in car.cables:
        wrong = (ENGINE, GROUND, BODY) if cable.side == SUPPLY_SIDE else (ALTERNATOR, STARTER, BATTERY, car.bus)
        for place in (cable.start, cable.end):
            if place in wrong:
                text = f"is on the {cable.side} side but leads to {place}: a short circuit; look at from, to and side"
                yield cable.line, f"[[cable]] {cable.name} {text}"


def _loose(car: CarFile) -> Iterator[tuple[int, str]]:
    """Cables of the power wiring with an end that nothing else is connected to: most often a slip in its name.

    A load's own feed ends at the load, and need not lead further.
    """
    ends = Counter(place for cable in car.cables for place in (cable.start, cable.end))
    if car.ammeter is not None:
        ends.update((car.ammeter.start, car.ammeter.end))
    own = {ALTERNATOR, STARTER, BATTERY, car.bus, ENGINE, GROUND, BODY}
    for cable in car.cables:
        single = [place for place in (cable.start, cable.end) if ends[place] == 1 and place not in own]
        feeds_loads = not set(cable.carries) & set(_FLOWS) and cable.stated_ohm is None
        if len(single) > (1 if feeds_loads else 0):
            others = sorted((own | set(ends)) - set(single))
            near = nearest(single[0], others) or "; connect it to a place of another cable"
            yield cable.line, f"[[cable]] {cable.name}: nothing else is connected to {single[0]}{near}"
