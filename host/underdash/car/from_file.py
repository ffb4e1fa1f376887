"""The virtual car that a car file describes."""

from dataclasses import dataclass, field, replace

from underdash.car.alternator import Alternator
from underdash.car.battery import Battery
from underdash.car.circuit import Wiring
from underdash.car.cooling import Cooling
from underdash.car.starter import Starter
from underdash.carfile import paths
from underdash.carfile.model import ALTERNATOR, BATTERY, BODY, ENGINE, GROUND, STARTER, CarFile, Load
from underdash.wire.network import Branch, between

_DEFAULT_AH = 60.0  # what the battery's surface-charge constants are for


@dataclass(frozen=True)
class Car:
    """All parts of one car."""

    battery: Battery = field(default_factory=Battery)
    alternator: Alternator = field(default_factory=Alternator)
    wiring: Wiring = field(default_factory=Wiring)
    starter: Starter = field(default_factory=Starter)
    cooling: Cooling = field(default_factory=Cooling)
    loads: tuple[Load, ...] = ()
    charge: float = 0.94
    """State of charge that a drive begins with [0..1]."""

    @property
    def fans(self) -> tuple[Load, ...]:
        """What the thermal switch in the coolant turns on, all of it together."""
        return tuple(load for load in self.loads if load.coolant_switch)


def build(car: CarFile) -> Car:
    """The electrical model of a car file.

    The battery's surface charge scales with its capacity, the starter's inrush and ripple with its current.
    """
    size = car.battery.capacity_ah / _DEFAULT_AH
    battery, starter, machine = Battery(), Starter(), car.alternator
    strength = car.starter_a / starter.turning_a
    return Car(
        battery=replace(
            battery,
            capacity_as=car.battery.capacity_ah * 3600.0,
            internal_ohm=car.battery.internal_ohm,
            surface_f=battery.surface_f * size,
            charge_exchange_a=battery.charge_exchange_a * size,
            discharge_exchange_a=battery.discharge_exchange_a * size,
        ),
        alternator=Alternator(
            rated_a=machine.rated_a,
            pulley_ratio=machine.pulley_ratio,
            set_point_v=machine.set_point_v,
            slope_v_per_k=machine.slope_v_per_k,
            senses=machine.senses,
            curve_rpm=machine.curve_rpm,
            hot_share=tuple(amps / machine.rated_a for amps in machine.hot_a),
            cold_share=tuple(amps / machine.rated_a for amps in machine.cold_a),
        ),
        wiring=wiring(car),
        starter=replace(
            starter,
            turning_a=car.starter_a,
            inrush_a=starter.inrush_a * strength,
            ripple_a=starter.ripple_a * strength,
        ),
        loads=car.loads,
        charge=car.battery.charge,
    )


def wiring(car: CarFile) -> Wiring:
    """The heavy wiring, both sides together, as the star that alternator, bus and battery see.

    Any network of resistances with three terminals is a star to them: its arm to one terminal is half of what that
    one sees to each of the others, less what these see between them. What goes out on the supply side comes back on
    the ground side between the same three, so the two stars add, arm by arm. (Before the starter's post the current
    of a turning starter shares the battery's arm: that share is the transfer resistance of starter and bus.)
    """
    supply, ground = paths.supply(car), paths.ground(car)
    to_alternator, to_bus, to_battery = _star(supply, ALTERNATOR, car.bus, BATTERY)
    engine, body, post = _star(ground, ENGINE, BODY, GROUND)
    shared = min(_star(supply, STARTER, car.bus, BATTERY)[2], to_battery)
    return Wiring(
        charge_cable_ohm=to_alternator + engine,
        bus_ohm=to_bus + body,
        feed_ohm=to_battery - shared,
        battery_cable_ohm=shared + post,
    )


def _star(branches: list[Branch], one: str, two: str, three: str) -> tuple[float, float, float]:
    """The star's three arms [ohm]."""
    a, b, c = (between(branches, *pair) for pair in ((one, two), (one, three), (two, three)))
    arms = ((a + b - c) / 2.0, (a + c - b) / 2.0, (b + c - a) / 2.0)
    return (max(arms[0], 0.0), max(arms[1], 0.0), max(arms[2], 0.0))  # rounding may leave -1e-19
