"""What the sized cables mean, in plain words."""

from collections.abc import Sequence

from underdash.carfile.model import CHARGE, LOOP, SUPPLY_SIDE
from underdash.plan.cables.charge import Path
from underdash.plan.cables.criteria import AMPACITY, CRANKING, DROP, FUSE, FUSE_LOAD, HOTTEST_C, PATH
from underdash.plan.cables.flows import NOMINAL_12_V, Flow
from underdash.plan.results import CableResult, Circuit, Criterion, Finding
from underdash.wire import ampacity

TABLE = "33 CFR 183.425 Table 5"


def amps_text(amps: float) -> str:
    """Amps as a reader needs them: `85 A`, `7.5 A`, `0.3 A`."""
    return f"{amps:.0f} A" if amps >= 9.95 else f"{amps:.1f} A"


def volts_text(volts: float) -> str:
    """Volts to the hundredth: `0.21 V`; below that in millivolts; no more than a car has."""
    if volts > NOMINAL_12_V:
        return f"more than the {NOMINAL_12_V:.0f} V that the car has"
    return f"{volts:.2f} V" if volts >= 0.095 else f"{1000.0 * volts:.0f} mV"


def of_cable(result: CableResult, flow: Flow) -> tuple[Finding, ...]:
    """What is to be said of one cable; the whole charge path is for `of_paths`."""
    words = {AMPACITY: _too_much, DROP: _loses, CRANKING: _loses, FUSE: _fuse_too_large, FUSE_LOAD: _fuse_too_small}
    found = [words[test.name](result, test) for test in result.ranked if test.name in words and not test.passed]
    found += [*_unsaid(result, flow), *_fed_twice(result), *_alone(result)]
    advice = result.fuse
    fits = all(test.passed for test in result.criteria if test.name == AMPACITY)
    if advice and advice.choice_a is None and fits:
        text = (
            f"{_name(result)}: no standard fuse both carries its load, which asks for {amps_text(advice.least_a)} or "
            f"more, and protects its copper, which {amps_text(advice.most_a)} does at most. A larger cable makes room."
        )
        found.append(_finding("watch", text, "80 % of the fuse's rating; 150 % of ampacity", result))
    fuse_a = result.cable.fuse_a
    if fuse_a is not None and 0.0 < fuse_a < result.crank_amps:
        text = (
            f"{_name(result)} has a {amps_text(fuse_a)} fuse, and the starter takes {amps_text(result.crank_amps)} "
            "through it: it may open while the engine is started."
        )
        found.append(
            _finding("watch", text, "starter cables usually carry no fuse: common practice, no source", result)
        )
    return tuple(found)


def of_paths(paths: Sequence[Path]) -> list[Finding]:
    """Sides of the charge path that lose more than the file accepts, where no one cable of another gauge mends it.

    What one cable can do is in the table, and `plan.charge_path` tells it.
    """
    found = []
    for path in paths:
        if path.drop_v <= path.limit_v or path.mends_alone:
            continue
        side = "From alternator to battery" if path.side == SUPPLY_SIDE else "From engine to the battery's ground"
        several = path.mended()
        mends = "No size of these cables would bring it within: make them shorter, or see to their joints."
        if several is not None:
            sizes = ", ".join(f"{gauge} for {name}" for name, gauge in several.items())
            mends = f"No larger gauge of one of them mends that alone; together these would: {sizes}."
        text = (
            f"{side} the cables lose {volts_text(path.drop_v)} together at {amps_text(path.amps)}; the limit is "
            f"{volts_text(path.limit_v)}. {mends}"
        )
        own = ", ".join(f"{cable.name} {volts_text(path.own(cable)[1])}" for cable in path.members)
        found.append(Finding("watch", text, own, path.members[0].line if path.members else 0))
    return found


def of_circuits(circuits: Sequence[Circuit]) -> list[Finding]:
    """Loads whose supply and ground together lose more than the file accepts."""
    found = []
    for circuit in circuits:
        lost_v = circuit.supply_v + circuit.ground_v
        if lost_v <= circuit.limit_v:
            continue
        way = "on the way there and back"
        if not circuit.ground_known:
            way = "on the way there alone (its ground is not in the file)"
        elif not circuit.supply_known:
            way = "on the way back alone (its supply is not in the file)"
        supply = volts_text(circuit.supply_v) if circuit.supply_known else "not in the file"
        ground = volts_text(circuit.ground_v) if circuit.ground_known else "not in the file"
        text = (
            f"{_capital(circuit.load.name)} loses {volts_text(lost_v)} {way}; the limit is "
            f"{volts_text(circuit.limit_v)}. Shorter or larger cable gives it its volts."
        )
        evidence = f"supply {supply}, ground {ground}, at {amps_text(circuit.amps)}"
        found.append(Finding("watch", text, evidence, circuit.load.line))
    return found


def of_all(results: Sequence[CableResult]) -> list[Finding]:
    """What holds for several cables at once, said once."""
    found = []
    bare = [r for r in results if r.fuse is not None and r.cable.fuse_a is None]
    if bare:
        text = (
            f"The file names no fuse for {_names(bare)}. A supply cable without one can burn when it chafes through; "
            "the ratings that would protect each are in the table."
        )
        found.append(
            Finding("watch", text, "33 CFR 183.455(a): each ungrounded conductor, in boats", bare[0].cable.line)
        )
    charge = [r for r in results if CHARGE in r.cable.carries and r.fuse is not None]
    if charge:
        text = (
            f"A charge cable ({_names(charge)}) has two sources. Its fuse belongs at the end that the battery feeds, "
            "for that can feed a fault with far more than the alternator. Leave fuse and cable alone while the engine "
            "runs: without a battery the alternator's volts leap."
        )
        found.append(Finding("note", text, "33 CFR 183.455(b), and common practice", charge[0].cable.line))
    crank = [r for r in results if r.crank_amps > 0.0 and r.cable.side == SUPPLY_SIDE]
    if crank:
        text = (
            f"Starter cables ({_names(crank)}) usually carry no fuse: common practice, no source. What protects them "
            "is their way: short, clear of edges, exhaust and moving parts, sheathed, clamped, booted at both ends."
        )
        evidence = "33 CFR 183.425(g) leaves cranking conductors out of the table of ampacities"
        found.append(Finding("note", text, evidence, crank[0].cable.line))
    spared = [r for r in results if r.alone_a > 0.0 and r.ampacity_a is not None and r.alone_a <= r.ampacity_a]
    if spared:
        each = ", ".join(
            f"{r.cable.name} {amps_text(r.alone_a)} of {amps_text(r.ampacity_a or 0.0)} if {r.opened} does"
            for r in sorted(spared, key=lambda r: r.cable.name)
        )
        text = f"Cables that share a current carry more when another opens, and may: {each}."
        evidence = "shares by the network; the amps that each may carry by the table"
        found.append(Finding("note", text, evidence, spared[0].cable.line))
    sae = [r for r in results if r.cable.gauge and r.cable.gauge.system == "SAE"]
    if sae:
        text = f"SAE cable has less copper than AWG of the same number; here its own area counts: {_names(sae)}."
        found.append(
            Finding("note", text, "3 to 11 % less by catalogues, 12 % taken where they are silent", sae[0].cable.line)
        )
    tested = [r for r in results if r.criteria]
    if tested and all(test.passed for r in tested for test in r.criteria):
        hardest = max(tested, key=lambda r: r.used)
        text = f"Every cable passes its tests; the hardest-used is {hardest.cable.name}, at {100 * hardest.used:.0f} %."
        found.append(Finding("well", text, f"{len(tested)} cables", hardest.cable.line))
    return found


def _too_much(result: CableResult, test: Criterion) -> Finding:
    cable = result.cable
    assert cable.gauge is not None and result.table_a is not None
    over = test.value - test.limit
    rating, column = cable.insulation_c, ampacity.column(cable.insulation_c)
    kind = f"{rating:g} °C insulation" + ("" if column == rating else f" (the table's {column} °C column)")
    around = f"in {cable.ambient_c:g} °C air" + (f", bundled with {cable.bundle - 1} more" if cable.bundle > 1 else "")
    allows = f"{cable.gauge} with {kind} {around} allows {amps_text(test.limit)} by {TABLE}"
    if test.limit > 0.0:
        text = (
            f"{_name(result)} carries {amps_text(test.value)}; {allows}: {amps_text(over)} "
            f"({100.0 * over / test.limit:.0f} %) more than the table."
        )
    else:
        text = f"{_name(result)} carries {amps_text(test.value)}, but its air is as hot as its insulation: {allows}."
    # Other insulation on the same copper loses the same volts: no remedy where these fail too.
    keeps = all(each.passed for each in result.criteria if each.name in (PATH, DROP, CRANKING))
    better = next((f"{kind} °C" for kind, may_a in result.by_insulation if keeps and may_a >= test.value), None)
    ways = []
    if test.smallest is not None:
        ways.append(f"{test.smallest} of the same insulation")
    if better is not None:
        ways.append(f"{cable.gauge} of {better} insulation")
    text += (
        f" {_capital(' or '.join(ways))} would carry it." if ways else " No size of the table would, as it lies here."
    )
    factors = "".join(f" x {factor:.3g} ({what})" for what, factor in result.factors)
    return _finding("act", text, f"table: {amps_text(result.table_a)}{factors} = {amps_text(test.limit)}", result)


def _loses(result: CableResult, test: Criterion) -> Finding:
    amps = result.crank_amps if test.name == CRANKING else test.value / result.ohm
    when = " while cranking" if test.name == CRANKING else ""
    text = (
        f"{_name(result)} loses {volts_text(test.value)} at {amps_text(amps)}{when}; "
        f"the limit is {volts_text(test.limit)}."
    )
    if test.smallest is not None:
        text += f" {test.smallest} would keep within it."
    elif result.cable.gauge is not None:
        text += " No size would keep within it: make it shorter, or see to its joints."
    if test.name == CRANKING or result.conductor_c is None:
        return _finding("watch", text, f"{1000.0 * test.value / amps:.2f} mohm with its joints", result)
    copper = "over 200 °C" if result.conductor_c > HOTTEST_C else f"about {result.conductor_c:.0f} °C"
    return _finding("watch", text, f"{1000.0 * result.ohm:.2f} mohm with its joints, its copper at {copper}", result)


def _unsaid(result: CableResult, flow: Flow) -> list[Finding]:
    """Where the network has more flow than the file's words amount to."""
    if not flow.unsaid_a:
        return []
    cable, solved = result.cable, flow.solved
    words = f"{cable.stated_a:g} A" if cable.stated_a is not None else ", ".join(cable.carries)
    whose = "of charge" if solved.charge_a > solved.loads_a else "for the loads"
    too = " too" if flow.claimed_a > 0.0 or flow.crank_a > 0.0 else ""
    text = f"The file says that {cable.name} carries {words}; {amps_text(flow.unsaid_a)} {whose} flow there{too}."
    failed = any(not test.passed for test in result.criteria if test.name in (AMPACITY, FUSE, FUSE_LOAD))
    text += " It fails by that." if failed else " It is held to that, and carries it."
    evidence = f"by the network: {amps_text(solved.charge_a)} of full output, {amps_text(solved.loads_a)} for all loads"
    return [_finding("act" if failed else "watch", text, evidence, result)]


def _fed_twice(result: CableResult) -> list[Finding]:
    """A fitted fuse, where the cable is fed from both ends."""
    if result.cable.fuse_a is None or result.fuse is None or len(result.fuse.ends) < 2:
        return []
    one, other = result.fuse.ends
    text = (
        f"{_name(result)} is fed from both ends, {one} and {other}, by cables that no fuse for it protects; the file "
        "has one fuse. Put one at each end: with one, a chafed place is fed from the other side."
    )
    return [_finding("watch", text, "each end reaches the battery with the cable itself taken out", result)]


def _alone(result: CableResult) -> list[Finding]:
    """What flows if a cable beside it opens, where that is more than it may carry."""
    may_a, amps, fuse_a = result.ampacity_a, result.alone_a, result.cable.fuse_a
    if not amps or may_a is None or amps <= may_a or LOOP in result.cable.carries:
        return []
    text = f"If {result.opened} opens (a loose nut, a fuse), {amps_text(amps)} go through {result.cable.name}"
    if fuse_a is None:
        text += f", which may carry {amps_text(may_a)}; it has no fuse."
        text += " A larger one, or a fuse where it is fed, makes that safe." if result.fuse else " A larger one does."
        return [_finding("watch", text, "the network without that cable", result)]
    ends = "; its fuse opens then too" if amps > fuse_a else f"; its {amps_text(fuse_a)} fuse protects it"
    return [_finding("note", f"{text}{ends}.", "the network without that cable", result)]


def _fuse_too_large(result: CableResult, test: Criterion) -> Finding:
    text = (
        f"{_name(result)} has a {amps_text(test.value)} fuse; its copper is protected up to {amps_text(test.limit)}. "
        + (
            f"A {amps_text(result.fuse.choice_a)} fuse fits load and copper."
            if result.fuse and result.fuse.choice_a
            else "The cable should be larger, or what it feeds fused by itself."
        )
    )
    return _finding("act", text, "33 CFR 183.455(c)(1): at most 150 % of the table's amps", result)


def _fuse_too_small(result: CableResult, test: Criterion) -> Finding:
    end = "it will open" if result.amps > test.limit else "it may tire and open"
    text = (
        f"{_name(result)} has a {amps_text(test.limit)} fuse, and its load asks for {amps_text(test.value)} or more: "
        f"{end}."
    )
    return _finding("watch", text, "a lasting load is at most 80 % of the rating: trade practice, from memory", result)


def _finding(weight: str, text: str, evidence: str, result: CableResult) -> Finding:
    return Finding(weight, text, evidence, result.cable.line)


def _name(result: CableResult) -> str:
    return _capital(result.cable.name)


def _names(results: Sequence[CableResult]) -> str:
    return ", ".join(sorted(result.cable.name for result in results))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
