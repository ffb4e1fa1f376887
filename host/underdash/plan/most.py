"""The most that lasts: what the alternator gives, and what all loads together draw."""

from underdash.carfile.model import BRIEF, CarFile


def full_output_a(car: CarFile) -> float:
    """The most that the alternator gives [A]: a cold machine gives more than its rating, which is hot."""
    machine = car.alternator
    return max(machine.rated_a, *machine.hot_a, *machine.cold_a)


def full_demand_a(car: CarFile) -> float:
    """The largest demand that lasts as long as a cable takes to warm [A].

    It is that of a hot idle in night and rain, where every condition holds. Each load counts in full, as on its own
    cable, for what a thermal switch turns on stays on for minutes; what is on by the driver's hand alone counts with
    its duty, for beside the others its heat is as its mean.
    """
    return sum(load.amps * (load.duty if load.when == {BRIEF} else 1.0) for load in car.loads)
