"""What the plan says of the charge path and its ground, in plain words."""

from collections.abc import Iterator

from underdash.carfile.model import BATTERY, CHARGE, CRANK, GROUND_SIDE, SUPPLY_SIDE, CarFile
from underdash.plan.charge_path.currents import Flow
from underdash.plan.charge_path.remedy import largest, remedies
from underdash.plan.charge_path.stray import stray_findings
from underdash.plan.charge_path.ways import lost_where, shares
from underdash.plan.most import full_output_a
from underdash.plan.results import WEIGHTS, ChargePath, Drop, Finding

CLOSE_SHARE = 0.1  # a miss by less is within what meters and lengths are known to; common practice, no source
LONG_M = 1.5  # beyond that a battery is likely not beside its engine; common practice, no source

_SENSE_CAUTION = (
    "A sense wire that breaks or comes off can drive a machine without a fallback far over its set point (from memory: "
    "ask the machine's maker); run it away from heat, fused at the battery."
)
_CLOSE_V = 0.1  # a loss at the battery that changes what it is charged with; common practice, no source


def findings(car: CarFile, path: ChargePath, there: Flow, back: Flow) -> tuple[Finding, ...]:
    """Findings of the charge path, the gravest first. `there` and `back`: full output on either side."""
    supply_side, ground_side, *others = path.drops
    found = [
        _drop(car, path, supply_side, there, SUPPLY_SIDE),
        _drop(car, path, ground_side, back, GROUND_SIDE),
        *(_body(drop) for drop in others),
        *stray_findings(car, path.output_a),
        *_far_battery(car),
        *_added(car, path),
        _sensing(car, path),
    ]
    return tuple(sorted(found, key=lambda finding: WEIGHTS.index(finding.weight)))


def _drop(car: CarFile, path: ChargePath, drop: Drop, along: Flow, side: str) -> Finding:
    """One side's drop against its limit, with the cable that loses most."""
    assert drop.limit_v is not None, "both sides have a limit"
    worst = largest(along)[0]
    line = next((cable.line for cable in car.cables if cable.name == worst.name), 0)
    evidence = f"{drop.ohm * 1000:.2f} mohm; {lost_where(along, side)}{_why_amps(car, drop)}"
    way = "From the alternator to the battery" if side == SUPPLY_SIDE else "From the engine back to the battery"
    lost, limit = _apart(drop.volts, drop.limit_v)
    text = f"{way} {lost} are lost at {drop.amps:.0f} A"
    if drop.volts <= drop.limit_v:
        return Finding("well", f"{text}, within the {limit} that you allow.", evidence, line)
    text += f"; you allow {limit}. The largest part in '{worst.name}', {along.lost_v(worst):.2f} V."
    if side == SUPPLY_SIDE and car.alternator.senses == BATTERY:
        text += (
            " The regulator senses at the battery and makes up for it, so the battery lacks nothing; but the "
            f"alternator's own post then stands at {path.set_point_v + drop.volts:.2f} V hot, not at "
            f"{path.set_point_v:.2f} V, and what is connected near it with it."
        )
        weight = "watch"
    elif drop.volts < (1.0 + CLOSE_SHARE) * drop.limit_v:
        text += " That is close: clean and tight joints may be all that it needs."
        weight = "watch"
    else:
        weight = "act"
    ways = "; or ".join(remedies(car, drop, along, side))
    text += f" What would mend it: {ways}. First clean and tighten what is there."
    if side == SUPPLY_SIDE:
        text += (
            " What lies beside a charge cable is no thinner and has its own fuse: if one opens, the other has it all."
        )
    return Finding(weight, text, evidence, line)


def _why_amps(car: CarFile, drop: Drop) -> str:
    """Why the table of cables has other amps, where it has."""
    most_a = full_output_a(car)
    if most_a < drop.amps + 0.5:
        return ""
    return f". {drop.amps:.0f} A is the output hot; the table of cables has {most_a:.0f} A, the most that it gives cold"


def _far_battery(car: CarFile) -> Iterator[Finding]:
    """A battery far from its engine: a long cable that carries all that the battery has, and usually no fuse."""
    for cable in car.cables:
        charges = CHARGE in cable.carries and BATTERY in (cable.start, cable.end)
        if cable.side != SUPPLY_SIDE or not (charges or CRANK in cable.carries) or cable.length_m <= LONG_M:
            continue
        fused = f"a {cable.fuse_a:g} A fuse" if cable.fuse_a is not None else "no fuse"
        yield Finding(
            "watch",
            f"'{cable.name}' is {cable.length_m:g} m long: the battery lies far from the engine, in the boot perhaps. "
            "Where such a cable chafes through, all that the battery has goes into the body, near tank and fuel line. "
            "At the battery: a fuse or fusible link rated for cranking, or an isolator. On the way: sheath, clamps, a "
            "grommet in every panel, well away from fuel. The battery: clamped, in a closed box vented to the outside. "
            "Its ground return: a cable of the same size, or the body, its seams checked by their voltage drop while "
            "cranking. The vehicle's manual and licensed practice come first (docs/conversion.md, the battery in the "
            "boot).",
            f"{cable.start} to {cable.end}, {fused} in the file; far: beyond {LONG_M:g} m (common practice, no source)",
            cable.line,
        )


def _apart(volts: float, limit_v: float) -> tuple[str, str]:
    """Both in words, with as many digits as tell them apart."""
    digits = next((d for d in (2, 3) if f"{volts:.{d}f}" != f"{limit_v:.{d}f}" or volts == limit_v), 4)
    return f"{volts:.{digits}f} V", f"{limit_v:g} V"


def _body(drop: Drop) -> Finding:
    """Engine against body, as if the loads took everything."""
    text = f"If the loads took all of the {drop.amps:.0f} A, body and engine would be {drop.volts:.2f} V apart"
    evidence = f"{drop.ohm * 1000:.2f} mohm between {drop.start} and {drop.end}"
    if drop.limit_v is not None and drop.volts > drop.limit_v:
        return Finding(
            "watch",
            f"{text}, more than {drop.limit_v:g} V. Such a current looks for other ways, through throttle cables and "
            "bearings: join body and engine, or body and the battery's negative post, with a cable of its own.",
            evidence,
        )
    return Finding("well", f"{text}.", evidence)


def _added(car: CarFile, path: ChargePath) -> Iterator[Finding]:
    """The ground cables that the conversion adds, as a parallel path."""
    added = [cable for cable in car.cables if cable.side == GROUND_SIDE and cable.added]
    share_of = dict(path.ground_shares)
    used = [cable for cable in added if share_of.get(cable.name, 0.0) >= 0.01]
    now_v, limit_v = path.drops[1].volts, car.limits.charge_ground_v
    evidence = shares(car, path.ground_shares)
    if not used:
        if now_v > limit_v:
            return  # said already, with its remedy
        yield Finding(
            "note",
            "The conversion adds no ground cable that carries the charge current. The old ways suffice by these "
            "figures; block, mounts and strap corrode, though, so measure again each year.",
            evidence,
        )
        return
    names = " and ".join(f"'{cable.name}'" for cable in used)
    carried = sum(share_of[cable.name] for cable in used) if len(used) == 1 else None
    share = f" and carries {carried:.0%} of the charge current" if carried is not None else ""
    verb = "lies" if len(used) == 1 else "lie"
    if path.ground_without_added_v is None:
        text = f"{names} {verb} where nothing else leads back to the battery: without it there is no ground at all"
        yield Finding("watch", f"{text}. A second ground strap would survive a loose nut.", evidence, used[0].line)
        return
    gained = f"{_millivolts(path.ground_without_added_v)} without, {_millivolts(now_v)} with"
    text = f"{names} {verb} beside the old ground as a parallel path{share}: {gained}"
    weight = "well" if path.ground_without_added_v > limit_v >= now_v else "note"
    yield Finding(weight, f"{text}.", evidence, used[0].line)


def _millivolts(volts: float) -> str:
    return f"{volts * 1000:.0f} mV" if volts < 0.9995 else f"{volts:.2f} V"


def _sensing(car: CarFile, path: ChargePath) -> Finding:
    """Where the regulator senses, and what the other place would change."""
    supply_v = path.drops[0].volts
    evidence = (
        f"set point {path.set_point_v:.2f} V hot; battery {path.sensed_at_alternator_v:.2f} V if sensed at the "
        f"alternator, {path.sensed_at_battery_v:.2f} V at the battery"
    )
    if car.alternator.senses == BATTERY:
        return Finding(
            "note",
            f"The regulator senses at the battery: its own post then stands {supply_v:.2f} V above the battery's, and "
            f"the loads at {car.bus} {path.bus_over_battery_v:.2f} V. {_SENSE_CAUTION}",
            evidence,
        )
    lost = path.set_point_v - path.battery_v
    start = (
        f"At full output the regulator holds its own post at {path.set_point_v:.2f} V at most, and "
        f"{path.battery_v:.2f} V reach the battery"
    )
    if lost <= _CLOSE_V:
        return Finding("well", f"{start}: sensing at its own post is good enough here.", evidence)
    return Finding(
        "note",
        f"{start}; as the charge tapers off the difference goes. Sensing at the battery's positive post would give it "
        f"{supply_v:.2f} V more and lift the alternator's own post, and loads near it, by as much; the ground's "
        f"{path.drops[1].volts:.2f} V stay, for the regulator's other end is its case. Thicker cable does the same "
        f"without a wire that can fail. {_SENSE_CAUTION}",
        evidence,
    )
