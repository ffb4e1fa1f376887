"""What flows in the supply side in cases that tell something: who gives, who takes, and what the dash ammeter sees."""

from collections.abc import Mapping
from dataclasses import dataclass

from underdash.carfile.model import ALTERNATOR, BATTERY, STARTER, CarFile
from underdash.carfile.paths import supply
from underdash.plan.budget.balance import loads_on, output_a, sustained
from underdash.plan.most import full_demand_a, full_output_a
from underdash.wire.network import Branch, Unconnected, currents

AFTER_START_A = 30.0  # what a battery takes for a minute or two after a start; common practice, no source
KEY_OFF_A = 10.0  # parking lamps and a radio, about; common practice, no source

AFTER_START = "after a start"
CRUISE = "cruise by day"
HOT_IDLE_ALL = "hot idle, night and rain"
ENGINE_OFF = "engine off, some lamps on"
FLAT_BATTERY = "full output, flat battery"
NO_OUTPUT = "no output, everything on"
CRANKING = "cranking"


@dataclass(frozen=True)
class Case:
    """Amps in and out of the supply side [A]."""

    name: str
    alternator_a: float
    loads_a: float
    starter_a: float = 0.0

    @property
    def battery_a(self) -> float:
        """What is left for the battery [A]; negative when it gives."""
        return self.alternator_a - self.loads_a - self.starter_a

    def injected(self, bus: str) -> dict[str, float]:
        """{place: amps fed in there [A]}; the battery, the network's zero, takes what is left."""
        found: dict[str, float] = {}
        for place, amps in ((ALTERNATOR, self.alternator_a), (bus, -self.loads_a), (STARTER, -self.starter_a)):
            if amps:
                found[place] = found.get(place, 0.0) + amps
        return found


def cases(car: CarFile) -> tuple[Case, ...]:
    """The telling cases with the car's own figures: a plain balance of amps at 13.5 V.

    Below 13.5 V lamps and heaters draw less, so a battery that gives, gives a little less than the balance says.
    """
    engine, machine = car.engine, car.alternator
    day = sustained(loads_on(car, "cruise", "day"))
    everything = sustained(loads_on(car, "hot idle", "night and rain"))
    cold_a = float(output_a(machine, [engine.fast_idle_rpm], hot=False)[0])
    idle_a = float(output_a(machine, [engine.hot_idle_rpm], hot=True)[0])
    full_a = max(machine.hot_a)
    return (
        Case(AFTER_START, min(cold_a, day + AFTER_START_A), day),
        Case(CRUISE, min(full_a, day), day),
        Case(HOT_IDLE_ALL, min(idle_a, everything), everything),
        Case(ENGINE_OFF, 0.0, KEY_OFF_A),
        Case(FLAT_BATTERY, full_a, min(full_a, day)),
        Case(NO_OUTPUT, 0.0, everything),
        Case(CRANKING, 0.0, 0.0, car.starter_a),
    )


def extremes(car: CarFile) -> tuple[Case, ...]:
    """What cables are sized for (`plan.flows`): full output without and with the loads, and the loads alone."""
    output, demand = full_output_a(car), full_demand_a(car)
    return Case("", output, 0.0), Case("", output, demand), Case("", 0.0, demand)


def flows(branches: list[Branch], case: Case, bus: str) -> Mapping[str, float] | None:
    """Amps in each branch from its start to its end [A]; None where alternator, loads or battery are not joined."""
    try:
        return currents(branches, case.injected(bus), BATTERY)
    except Unconnected:
        return None


def openings(car: CarFile) -> dict[str, list[Branch]]:
    """{cable that the conversion adds: the supply side when that one, or its fuse, has opened}."""
    after = supply(car)
    added = {cable.name for cable in car.cables if cable.added} & {branch.name for branch in after}
    return {name: [branch for branch in after if branch.name != name] for name in sorted(added)}
