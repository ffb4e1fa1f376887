"""Every cable of a car file, sized: what it may carry, what it loses, the smallest gauge that would do."""

from dataclasses import replace

from underdash.carfile import paths
from underdash.carfile.model import ALL_LOADS, BATTERY, BODY, GROUND, GROUND_SIDE, SUPPLY_SIDE, Cable, CarFile
from underdash.plan.cables import findings as words
from underdash.plan.cables import fuses
from underdash.plan.cables.criteria import allowed_a, tests, working_c, working_ohm
from underdash.plan.cables.flows import NOMINAL_12_V, Flow, flows
from underdash.plan.results import CableResult, Cables, Circuit, Criterion, Finding
from underdash.wire import ampacity
from underdash.wire.gauge import Gauge, ladder
from underdash.wire.network import reached


def size(car: CarFile) -> Cables:
    """Every cable of the file, the hardest-used first, and each load's circuit."""
    flowing = flows(car)
    results = sorted((_sized(car, cable, flowing[cable.name]) for cable in car.cables), key=lambda r: -r.used)
    circuits = _circuits(car, {result.cable.name: result for result in results})
    findings: list[Finding] = [finding for result in results for finding in result.findings]
    findings += words.of_circuits(circuits)
    findings += words.of_all(results)
    return Cables(tuple(results), circuits, tuple(findings))


def _sized(car: CarFile, cable: Cable, flow: Flow) -> CableResult:
    others = [replace(cable, gauge=gauge) for gauge in ladder(cable.gauge.system)] if cable.gauge else []
    criteria: list[Criterion] = []
    smallest: Gauge | None = None
    decided_by, no_size_passes = "", False
    for test in tests(cable, flow):
        value, limit = test.measure(cable)
        passing = next((other.gauge for other in others if test.passes(other)), None) if test.sized else None
        criteria.append(Criterion(test.name, value, limit, test.unit, passing))
        if not test.sized or no_size_passes:
            continue
        if passing is None:
            smallest, decided_by, no_size_passes = None, test.name, True
        elif smallest is None or passing.area_mm2 > smallest.area_mm2:
            smallest, decided_by = passing, test.name
    if smallest is not None and smallest == others[0].gauge:
        decided_by = ""  # the thinnest passes everything
    amps = flow.sustained_a
    may_a, ohm = allowed_a(cable), working_ohm(cable, amps)
    result = CableResult(
        cable=cable,
        amps=amps,
        brief_amps=flow.brief_a,
        table_a=ampacity.table_a(cable.gauge.area_mm2, cable.insulation_c) if cable.gauge else None,
        factors=_factors(cable),
        ampacity_a=may_a,
        ohm=ohm,
        conductor_c=working_c(cable, amps),
        drop_v=amps * ohm,
        criteria=tuple(criteria),
        smallest=smallest,
        decided_by=decided_by,
        by_insulation=tuple(
            (kind, allowed_a(cable, insulation_c=kind) or 0.0)
            for kind in ampacity.CLASSES
            if cable.gauge and kind > cable.ambient_c
        ),
        fuse=fuses.advise(car, cable, flow, may_a),
        findings=(),
        drop_amps=flow.drop_a,
    )
    return replace(result, findings=words.of_cable(result))


def _factors(cable: Cable) -> tuple[tuple[str, float], ...]:
    if cable.gauge is None:
        return ()
    air = "engine space" if cable.ambient_c == ampacity.ENGINE_SPACE_C else "ambient"
    named = (
        (air, ampacity.ambient_factor(cable.insulation_c, cable.ambient_c)),
        ("bundle", ampacity.bundle_factor(cable.bundle)),
    )
    return tuple((what, factor) for what, factor in named if factor != 1.0)


def _circuits(car: CarFile, results: dict[str, CableResult]) -> tuple[Circuit, ...]:
    upstream = _upstream(car)
    found = []
    for load in car.loads:
        named = [cable for cable in car.cables if load.name in cable.carries]
        if not named:
            continue
        shared = [cable for cable in car.cables if ALL_LOADS in cable.carries and cable.name not in upstream]
        lost = {SUPPLY_SIDE: 0.0, GROUND_SIDE: 0.0}
        for cable in {cable.name: cable for cable in (*named, *shared)}.values():
            lost[cable.side] += _lost_v(car, cable, results[cable.name])
        limit_v = car.limits.load_share * NOMINAL_12_V
        found.append(Circuit(load, load.amps, lost[SUPPLY_SIDE], lost[GROUND_SIDE], limit_v))
    return tuple(found)


def _lost_v(car: CarFile, cable: Cable, result: CableResult) -> float:
    """What a cable of a circuit loses with everything on that it carries [V]."""
    if ALL_LOADS in cable.carries:
        return result.drop_v
    return result.ohm * sum(load.amps for load in car.loads if load.name in cable.carries)


def _upstream(car: CarFile) -> set[str]:
    """Cables between battery and bus, or between body and battery: no part of any one load's circuit."""
    found = set()
    for branches, here, origin in (
        (paths.supply(car), car.bus, BATTERY),
        (paths.ground(car), BODY, GROUND),
    ):
        # With the bus (the body) taken out, what still hangs together with the battery lies before it.
        apart = [branch for branch in branches if here not in (branch.start, branch.end)]
        before = reached(apart, origin) if origin != here else set()
        found |= {branch.name for branch in branches if {branch.start, branch.end} & before}
    return found
