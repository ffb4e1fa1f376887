"""Every cable of a car file, sized: what it may carry, what it loses, the smallest gauge that would do."""

from dataclasses import replace

from underdash.carfile import paths
from underdash.carfile.model import SUPPLY_SIDE, Cable, CarFile
from underdash.plan.cables import findings as words
from underdash.plan.cables import fuses
from underdash.plan.cables.charge import Path, paths_of
from underdash.plan.cables.circuits import circuits, cranking
from underdash.plan.cables.criteria import DROP, PATH, allowed_a, tests, working_c, working_ohm
from underdash.plan.cables.flows import CLEARLY, Flow, flows
from underdash.plan.cables.sources import fuse_ends
from underdash.plan.results import GRAVITY, CableResult, Cables, Criterion, Finding
from underdash.wire import ampacity
from underdash.wire.gauge import Gauge, ladder


def size(car: CarFile) -> Cables:
    """Every cable of the file, the hardest-used first, and each load's circuit."""
    flowing, charged = flows(car), paths_of(car)
    results = sorted((_sized(car, c, flowing[c.name], charged.get(c.side)) for c in car.cables), key=_place)
    each_load = circuits(car, {result.cable.name: result for result in results})
    findings: list[Finding] = [finding for result in results for finding in result.findings]
    findings += words.of_paths(tuple(charged.values()))
    findings += words.of_circuits(each_load)
    findings += words.of_all(results)
    return Cables(tuple(results), each_load, tuple(findings), cranking(car))


def _place(result: CableResult) -> tuple[int, float]:
    """Where a cable stands: those that fail first, the gravest before the others; then the hardest-used."""
    first = next(iter(result.ranked), None)
    if first is None or first.passed:
        return len(GRAVITY) + 1, -result.used
    return GRAVITY.index(first.name) if first.name in GRAVITY else len(GRAVITY), -first.used


def _sized(car: CarFile, cable: Cable, flow: Flow, path: Path | None) -> CableResult:
    others = [replace(cable, gauge=gauge) for gauge in ladder(cable.gauge.system)] if cable.gauge else []
    criteria: list[Criterion] = []
    smallest: Gauge | None = None
    decided_by, no_size_passes = "", False
    for test in tests(cable, flow, path):
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
    drop_a, drop_v = _own_drop(cable, flow, path, criteria, ohm)
    factor, more_a = CLEARLY
    alone = flow.solved if flow.solved.alone_a > max(factor * amps, amps + more_a) else None
    ends = fuse_ends(car, cable) if cable.side == SUPPLY_SIDE else ()
    result = CableResult(
        cable=cable,
        amps=amps,
        brief_amps=flow.brief_a,
        table_a=ampacity.table_a(cable.gauge.area_mm2, cable.insulation_c) if cable.gauge else None,
        factors=_factors(cable),
        ampacity_a=may_a,
        ohm=ohm,
        conductor_c=working_c(cable, amps),
        drop_v=drop_v,
        criteria=tuple(criteria),
        smallest=smallest,
        decided_by=decided_by,
        by_insulation=tuple(
            (kind, allowed_a(cable, insulation_c=kind) or 0.0)
            for kind in ampacity.CLASSES
            if cable.gauge and kind > cable.ambient_c
        ),
        fuse=fuses.advise(cable, flow, may_a, ends),
        findings=(),
        drop_amps=drop_a,
        crank_amps=flow.crank_a,
        crank_v=flow.crank_a * paths.cable_ohm(cable),
        alone_a=alone.alone_a if alone else 0.0,
        opened=alone.opened if alone else "",
    )
    return replace(result, findings=words.of_cable(result, flow))


def _own_drop(
    cable: Cable, flow: Flow, path: Path | None, criteria: list[Criterion], ohm: float
) -> tuple[float, float]:
    """(amps of its harder drop test [A], what the cable itself loses at it [V]), cranking aside."""
    used = {criterion.name: criterion.used for criterion in criteria}
    if path is not None and PATH in used and used[PATH] >= used.get(DROP, 0.0):
        return path.own(cable)
    return flow.drop_a, (flow.drop_a or flow.sustained_a) * ohm


def _factors(cable: Cable) -> tuple[tuple[str, float], ...]:
    if cable.gauge is None:
        return ()
    air = "engine space" if cable.ambient_c == ampacity.ENGINE_SPACE_C else "ambient"
    named = (
        (air, ampacity.ambient_factor(cable.insulation_c, cable.ambient_c)),
        ("bundle", ampacity.bundle_factor(cable.bundle)),
    )
    return tuple((what, factor) for what, factor in named if factor != 1.0)
