"""The dash ammeter as one branch of a parallel path: what share of a current it sees, and what its needle shows."""

from dataclasses import replace

from underdash.carfile.model import CarFile
from underdash.carfile.paths import AMMETER, supply
from underdash.plan.ammeter.cases import cases, flows
from underdash.plan.ammeter.findings import findings
from underdash.plan.ammeter.loop import charge_through, find_loop
from underdash.plan.ammeter.old_loop import old_loop
from underdash.plan.results import AmmeterShare, Needle
from underdash.wire.network import Unconnected


def share(car: CarFile) -> AmmeterShare | None:
    """What the dash ammeter sees of a car's currents before and after the conversion; None without an ammeter.

    The two shares are of a current from the alternator to the battery. The needle is found by superposition:
    the alternator feeds in at `alternator`, the loads take at the bus, the battery takes or gives the rest.
    A case that the wiring cannot carry (a starter that no cable leads to) is left out.

    Raises Unconnected if nothing leads from the alternator to the battery.
    """
    if car.ammeter is None:
        return None
    after, before = supply(car), supply(car, before=True)
    after_share = abs(charge_through(after))
    try:
        before_share, known = abs(charge_through(before)), True
    except Unconnected:
        before_share, known = 0.0, False
    needles = []
    for case in cases(car):
        now, then = flows(after, case, car.bus), flows(before, case, car.bus)
        if now is None:
            continue
        known = known and then is not None
        shown = then[AMMETER] if then is not None else 0.0
        amps = (case.alternator_a, case.loads_a, case.battery_a, shown, now[AMMETER], case.starter_a)
        needles.append(Needle(case.name, *amps))
    loop = find_loop(car)
    old = old_loop(car, loop)
    result = AmmeterShare(
        meter_path_ohm=loop.ohm if loop else car.ammeter.resistance_ohm,
        other_path_ohm=loop.other_ohm if loop else None,
        before_share=before_share,
        after_share=after_share,
        needles=tuple(needles),
        loop_a=old.after_a,
        loop_alone_a=old.alone_a,
        loop_ampacity_a=old.ampacity_a,
        verdict=old.verdict,
        findings=(),
        before_known=known,
    )
    return replace(result, findings=findings(car, old, result))
