"""The heavy wiring of a car file as a network: supply side and ground side."""

from underdash.carfile.model import GROUND_SIDE, SUPPLY_SIDE, Cable, CarFile
from underdash.wire.copper import STRANDED, ohm_per_m
from underdash.wire.network import Branch

AMMETER = "ammeter"
_LEAST_OHM = 1e-6  # no branch of a network may be a short


def cable_ohm(cable: Cable, conductor_c: float | None = None) -> float:
    """Resistance of a cable with its joints [ohm], its copper at `conductor_c` [C], else at its ambient.

    Stranded copper: the solid formula of `wire.copper` times 1.02. A stated resistance stays as stated.
    """
    if cable.stated_ohm is not None:
        return max(cable.stated_ohm, _LEAST_OHM)
    assert cable.gauge is not None, "the reader lets no cable pass that has neither gauge nor resistance"
    copper_c = cable.ambient_c if conductor_c is None else conductor_c
    copper = STRANDED * ohm_per_m(cable.gauge.area_mm2, copper_c) * cable.length_m
    return max(copper + cable.joints_ohm, _LEAST_OHM)


def supply(car: CarFile, *, before: bool = False) -> list[Branch]:
    """The supply side, the ammeter included; `before` leaves out what the conversion adds."""
    found = _side(car, SUPPLY_SIDE, before)
    if car.ammeter is not None:
        meter = car.ammeter
        found.append(Branch(AMMETER, meter.start, meter.end, max(meter.resistance_ohm, _LEAST_OHM)))
    return found


def ground(car: CarFile, *, before: bool = False) -> list[Branch]:
    """The ground side; `before` leaves out what the conversion adds."""
    return _side(car, GROUND_SIDE, before)


def _side(car: CarFile, side: str, before: bool) -> list[Branch]:
    return [
        Branch(cable.name, cable.start, cable.end, cable_ohm(cable))
        for cable in car.cables
        if cable.side == side and not (before and cable.added)
    ]
