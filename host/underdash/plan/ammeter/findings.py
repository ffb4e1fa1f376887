"""What the plan says of the dash ammeter and its old loop, in plain words."""

from collections.abc import Iterator

from underdash.carfile.model import Ammeter, CarFile
from underdash.carfile.paths import supply
from underdash.plan.ammeter.cases import AFTER_START, CRANKING, HOT_IDLE_ALL
from underdash.plan.ammeter.loop import charge_through
from underdash.plan.ammeter.old_loop import FUSE, LEAVE, OldLoop, Strand
from underdash.plan.most import full_output_a
from underdash.plan.results import WEIGHTS, AmmeterShare, Finding, Needle

TAKE_OUT = (
    "take it off at both ends, insulate each end by itself (heat-shrink, not tape alone), stow and label it; "
    "battery's ground lead off first"
)


def findings(car: CarFile, old: OldLoop, share: AmmeterShare) -> tuple[Finding, ...]:
    """Findings of the ammeter's share, the gravest first."""
    assert car.ammeter is not None, "without a meter there is no share"
    cases = {needle.case: needle for needle in share.needles}
    found = [_loop(car, old), *_reading(car, car.ammeter, old, share, cases), *_cranking(car.ammeter, cases)]
    return tuple(sorted(found, key=lambda finding: WEIGHTS.index(finding.weight)))


def _reading(
    car: CarFile, meter: Ammeter, old: OldLoop, share: AmmeterShare, cases: dict[str, Needle]
) -> Iterator[Finding]:
    turned = -1.0 if charge_through(supply(car)) < 0.0 else 1.0
    paths = f"{share.meter_path_ohm * 1000:.1f} mohm by way of the meter"
    if share.other_path_ohm is not None:
        paths += f", {share.other_path_ohm * 1000:.1f} mohm beside it"
    shares = f"share of a charging current {share.after_share:.0%}"
    if share.before_known:
        shares += f", before {share.before_share:.0%}"
    if old.loop is None:
        yield Finding(
            "note",
            "No way from the alternator to the battery leads through the ammeter: it sees no charging at all. If "
            "your car is wired otherwise, look through the cables of the file.",
            f"the meter lies between {meter.start} and {meter.end}",
            meter.line,
        )
    elif AFTER_START in cases:
        yield _plain(meter, cases[AFTER_START], turned, f"{paths}; {shares}")
        if turned < 0.0:
            yield Finding(
                "watch",
                f"By the file the needle goes to - while the battery is charged. If the real one goes to +, exchange "
                f"{meter.start} and {meter.end} in [ammeter].",
                shares,
                meter.line,
            )
    idle = cases.get(HOT_IDLE_ALL)
    if idle is not None and idle.battery_a < -1.0:
        yield _misled(meter, idle, turned)
    if not share.before_known:
        yield Finding(
            "note",
            "Without what the conversion adds, the file has no whole way between alternator, battery and loads, so "
            "what the needle showed before is not known. State the old cables, if you want the comparison.",
            "the cables that are not marked as added",
        )


def _plain(meter: Ammeter, start: Needle, turned: float, evidence: str) -> Finding:
    """What the needle makes of a charge."""
    shown, charge = turned * start.after_a, start.battery_a
    says = f"Of a charge of {charge:.0f} A the needle shows {shown:.1f} A"
    if abs(shown - charge) < max(0.05 * charge, 0.5):
        return Finding("note", f"{says}: as good as all.", evidence, meter.line)
    if shown <= -meter.smallest_a:
        return Finding(
            "note", f"{says}, the wrong way: the loads' current comes back through it.", evidence, meter.line
        )
    if shown >= meter.smallest_a:
        text = f"{says}. Take it for a hint of the direction, not for an amount."
        return Finding("note", text, evidence, meter.line)
    text = (
        f"The needle reads next to nothing: {abs(shown):.1f} A of a charge of {charge:.0f} A, less than the "
        f"{meter.smallest_a:g} A that the eye sees on its scale. "
    )
    text += "It is not broken; the current takes the other way."
    if shown < -0.05:
        text += " By a hair it even points to discharge, for a part of the loads' current comes back through it."
    return Finding("note", text, evidence, meter.line)


def _misled(meter: Ammeter, idle: Needle, turned: float) -> Finding:
    """What the needle makes of a battery that feeds the car."""
    gives, shown = -idle.battery_a, turned * idle.after_a
    evidence = (
        f"{idle.case}: alternator {idle.alternator_a:.0f} A, loads {idle.loads_a:.0f} A, needle {shown:+.1f} A "
        f"(before {idle.before_a:+.1f} A)"
    )
    if shown >= meter.smallest_a:
        seen = f"it shows {shown:.1f} A of charge"
    elif shown > -meter.smallest_a:
        seen = f"it stands at {shown:+.1f} A, which looks like all is well"
    else:
        amount = "" if abs(gives + shown) < max(0.05 * gives, 0.5) else ": the direction is right, the amount is not"
        return Finding(
            "note",
            f"At a hot idle with everything on the battery gives {gives:.0f} A, and the needle shows {-shown:.1f} A"
            f"{amount}.",
            evidence,
            meter.line,
        )
    return Finding(
        "watch",
        f"At a hot idle with everything on the battery gives {gives:.0f} A, but the needle does not say so: {seen}. "
        "The loads' current and the battery's share the two ways differently. Believe the volts.",
        evidence,
        meter.line,
    )


def _cranking(meter: Ammeter, cases: dict[str, Needle]) -> Iterator[Finding]:
    """The starter's current takes every way there is, for seconds."""
    needle = cases.get(CRANKING)
    if needle is None or abs(needle.after_a) < meter.smallest_a:
        return
    beyond = abs(needle.after_a) > meter.full_scale_a
    yield Finding(
        "watch" if beyond else "note",
        f"While the starter turns, {abs(needle.after_a):.0f} A of its {needle.starter_a:.0f} A go through the meter, "
        "for the old loop now lies beside the starter's cable. "
        + ("That is beyond the scale. " if beyond else "")
        + "A charge cable that lands where the old loop does keeps it out of that.",
        f"needle {needle.after_a:+.1f} A, before {needle.before_a:+.1f} A; full scale {meter.full_scale_a:g} A",
        meter.line,
    )


def _loop(car: CarFile, old: OldLoop) -> Finding:
    """Leave, fuse or remove."""
    line = old.strands[0].cable.line if old.strands else car.ammeter.line if car.ammeter else 0
    evidence = _evidence(car, old)
    if old.verdict == LEAVE:
        text = (
            "The old ammeter loop may stay: it carries no more than it may, and each end with a source has its fuse. "
            + _battery_lost(old)
        )
        return Finding("well", text.strip(), evidence, line)
    if old.is_the_only_way:
        text = (
            "Without the old ammeter loop the alternator or the loads would be cut off from the battery: give them a "
            "fused cable of their own first. " + _fuses(old)
        )
        return Finding("act", f"{text} {_battery_lost(old)}".strip(), evidence, line)
    if old.verdict == FUSE:
        parts = (_fuses(old), f"Or {TAKE_OUT}.", _alone(old), _battery_lost(old), _choice(old))
        return Finding("act", " ".join(part for part in parts if part), evidence, line)
    if old.overloaded:
        worst = max(old.overloaded, key=lambda strand: strand.after_a / (strand.ampacity_a or 1.0))
        why = (
            f"with everything in order '{worst.cable.name}' carries {worst.after_a:.0f} A, and it may carry "
            f"{worst.ampacity_a:.0f} A"
        )
    elif any(strand.ampacity_a is None for strand in old.strands) or not old.strands:
        why = "the file states no gauge for all of it, so nothing says which fuse would protect it"
    else:
        why = f"no standard fuse both holds the {old.after_a:.0f} A that can flow and protects its weakest cable"
    text = f"Take the old ammeter loop out of use: {why}. That is, {TAKE_OUT}. {_then_alone(old)}"
    return Finding("act", text.strip(), evidence, line)


def _fuses(old: OldLoop) -> str:
    """Where fuses go, and how large they may be."""
    most = old.most_fuse_a
    text = "Fuse the old ammeter loop at each end that something can feed, close to where it lands"
    if most is not None:
        text += f", with at most {most:.0f} A, which is 150 % of what its weakest cable allows"
    if old.fuse_a is not None:
        text += f"; {old.fuse_a:g} A holds what flows with everything in order"
    if old.overloaded:
        text += ". And make it thicker, for it carries more than it may"
    return f"{text}. Unfused it can carry all that the battery has into the dash."


def _alone(old: OldLoop) -> str:
    """What comes through the loop when one of the conversion's cables opens."""
    if not old.overloaded_alone:
        return ""
    worst: Strand = max(old.overloaded_alone, key=lambda strand: strand.alone_a / (strand.ampacity_a or 1.0))
    return (
        f"If '{worst.opened}' opens, or its fuse, {worst.alone_a:.0f} A go through '{worst.cable.name}', which may "
        f"carry {worst.ampacity_a:.0f} A."
    )


_LEAP = (
    "the alternator runs without a battery: its volts leap, and it may destroy itself, the lamps and every box of "
    "electronics in the car"
)


def _battery_lost(old: OldLoop) -> str:
    """The worst of it: the loop's fuses follow the charge cable, and nothing holds the alternator's volts."""
    if old.loop is None:
        return ""
    if old.loop.other_ohm is None:
        return f"It is the alternator's only way to the battery: if it opens, or a fuse in it, {_LEAP}."
    fuses = [strand.cable.fuse_a for strand in old.strands if strand.cable.fuse_a is not None]
    fuse_a = min(fuses) if fuses and old.verdict == LEAVE else old.fuse_a
    if fuse_a is not None and fuse_a >= old.alone_a:
        return ""  # they hold what then comes
    return f"The worst: if the charge cable opens, or its fuse, the loop's small fuses follow, and {_LEAP}."


def _choice(old: OldLoop) -> str:
    """What that means for fusing or removing."""
    if not _battery_lost(old) or old.is_the_only_way:
        return ""
    return (
        "So a fused loop is no spare way. If you do not need the needle, taking it out is the plainer choice; either "
        "way all hangs on the charge cable: its nuts tight, its fuse one that opens for a fault in it and nothing else."
    )


def _then_alone(old: OldLoop) -> str:
    """After removal the charge cable is the only way."""
    if old.loop is None:
        return ""
    return (
        f"The charge cable is then the only way: if it opens, or its fuse, {_LEAP}. So its nuts tight, its fuse one "
        "that opens for a fault in it and nothing else."
    )


def _evidence(car: CarFile, old: OldLoop) -> str:
    parts = [f"at most {old.after_a:.1f} A with everything in order"]
    if old.alone_a > old.after_a:
        cold = max(car.alternator.hot_a) < old.alone_a <= full_output_a(car) + 0.05
        most = " (the most that the alternator gives, cold)" if cold else ""
        parts.append(f"{old.alone_a:.0f} A if one of the conversion's cables opens{most}")
    parts += [
        f"'{strand.cable.name}' may carry {strand.ampacity_a:.0f} A"
        if strand.ampacity_a is not None
        else f"'{strand.cable.name}' has no gauge"
        for strand in old.strands
    ]
    return ", ".join(parts)
