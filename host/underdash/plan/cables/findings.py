"""What the sized cables mean, in plain words."""

from collections.abc import Sequence

from underdash.carfile.model import CHARGE, CRANK, SUPPLY_SIDE
from underdash.plan.cables.criteria import AMPACITY, DROP, FUSE, FUSE_LOAD
from underdash.plan.results import CableResult, Circuit, Criterion, Finding
from underdash.wire import ampacity

TABLE = "33 CFR 183.425 Table 5"


def amps_text(amps: float) -> str:
    """Amps as a reader needs them: `85 A`, `7.5 A`, `0.3 A`."""
    return f"{amps:.0f} A" if amps >= 9.95 else f"{amps:.1f} A"


def volts_text(volts: float) -> str:
    """Volts to the hundredth: `0.21 V`; below that in millivolts."""
    return f"{volts:.2f} V" if volts >= 0.095 else f"{1000.0 * volts:.0f} mV"


def of_cable(result: CableResult) -> tuple[Finding, ...]:
    """What is to be said of one cable."""
    words = {AMPACITY: _too_much, DROP: _loses, FUSE: _fuse_too_large, FUSE_LOAD: _fuse_too_small}
    found = [words[test.name](result, test) for test in result.criteria if not test.passed]
    advice = result.fuse
    fits = all(test.passed for test in result.criteria if test.name == AMPACITY)
    if advice and advice.choice_a is None and fits:
        text = (
            f"{_name(result)}: no standard fuse both carries its load, which asks for {amps_text(advice.least_a)} or "
            f"more, and protects its copper, which {amps_text(advice.most_a)} does at most. A larger cable makes room."
        )
        found.append(_finding("watch", text, "80 % of the fuse's rating; 150 % of ampacity", result))
    fuse_a = result.cable.fuse_a
    if fuse_a is not None and CRANK in result.cable.carries and fuse_a < result.brief_amps:
        text = (
            f"{_name(result)} has a {amps_text(fuse_a)} fuse, and the starter takes {amps_text(result.brief_amps)} "
            "through it: it may open while the engine is started."
        )
        found.append(
            _finding("watch", text, "starter cables usually carry no fuse: common practice, no source", result)
        )
    return tuple(found)


def of_circuits(circuits: Sequence[Circuit]) -> list[Finding]:
    """Loads whose supply and ground together lose more than the file accepts."""
    return [
        Finding(
            "watch",
            f"{_capital(circuit.load.name)} loses {volts_text(circuit.supply_v + circuit.ground_v)} on the way there "
            f"and back; the limit is {volts_text(circuit.limit_v)}. Shorter or larger cable gives it its volts.",
            f"supply {volts_text(circuit.supply_v)}, ground {volts_text(circuit.ground_v)}, "
            f"at {amps_text(circuit.amps)}",
            circuit.load.line,
        )
        for circuit in circuits
        if circuit.supply_v + circuit.ground_v > circuit.limit_v
    ]


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
            f"A charge cable ({_names(charge)}) has two sources. Its fuse belongs at the end nearest the battery, "
            "which can feed a fault with far more than the alternator. Leave fuse and cable alone while the engine "
            "runs: without a battery the alternator's volts leap."
        )
        found.append(Finding("note", text, "33 CFR 183.455(b), and common practice", charge[0].cable.line))
    crank = [r for r in results if CRANK in r.cable.carries and r.cable.side == SUPPLY_SIDE]
    if crank:
        text = (
            f"Starter cables ({_names(crank)}) usually carry no fuse: common practice, no source. What protects them "
            "is their way: short, clear of edges, exhaust and moving parts, sheathed, clamped, booted at both ends."
        )
        evidence = "33 CFR 183.425(g) leaves cranking conductors out of the table of ampacities"
        found.append(Finding("note", text, evidence, crank[0].cable.line))
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
    better = next((f"{kind} °C" for kind, may_a in result.by_insulation if may_a >= test.value), None)
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
    text = (
        f"{_name(result)} loses {volts_text(test.value)} at {amps_text(result.drop_amps)}; "
        f"the limit is {volts_text(test.limit)}."
    )
    if test.smallest is not None:
        text += f" {test.smallest} would keep within it."
    elif result.cable.gauge is not None:
        text += " No size would keep within it: make it shorter, or see to its joints."
    copper = "" if result.conductor_c is None else f", its copper at about {result.conductor_c:.0f} °C"
    return _finding("watch", text, f"{1000.0 * result.ohm:.2f} mohm with its joints{copper}", result)


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
