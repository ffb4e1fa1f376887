"""What the plan says of the charge path and its ground, in plain words."""

from collections.abc import Iterator, Sequence

from underdash.carfile.model import BATTERY, GROUND_SIDE, SUPPLY_SIDE, CarFile
from underdash.plan.results import WEIGHTS, ChargePath, Drop, Finding

_SENSE_CAUTION = (
    "A sense wire that breaks or comes off can drive a machine without a fallback far over its set point (from memory: "
    "ask the machine's maker); run it away from heat, fused at the battery."
)
_CLOSE_V = 0.1  # a loss at the battery that changes what it is charged with; common practice, no source

Losses = Sequence[tuple[str, float]]


def findings(car: CarFile, path: ChargePath, there: Losses, back: Losses) -> tuple[Finding, ...]:
    """Findings of the charge path, the gravest first. `there` and `back`: volts lost in each cable [V]."""
    supply_side, ground_side, *others = path.drops
    found = [
        _drop(car, supply_side, there, "From the alternator to the battery", SUPPLY_SIDE),
        _drop(car, ground_side, back, "From the engine back to the battery", GROUND_SIDE),
        *(_body(drop) for drop in others),
        *_added(car, path),
        _sensing(car, path),
    ]
    return tuple(sorted(found, key=lambda finding: WEIGHTS.index(finding.weight)))


def _drop(car: CarFile, drop: Drop, lost: Losses, way: str, side: str) -> Finding:
    """One side's drop against its limit, with the cable that loses most."""
    assert drop.limit_v is not None, "both sides have a limit"
    lines = {cable.name: cable.line for cable in car.cables}
    name, volts = lost[0] if lost else ("", 0.0)
    evidence = f"{drop.ohm * 1000:.2f} mohm; " + ", ".join(f"{n} {v:.3f} V" for n, v in lost[:4] if v >= 0.0005)
    text = f"{way} {drop.volts:.2f} V are lost at {drop.amps:.0f} A"
    if drop.volts <= drop.limit_v:
        return Finding("well", f"{text}, within the {drop.limit_v:g} V that you allow.", evidence, lines.get(name, 0))
    beside = _beside_ohm(drop)
    what = "a separate cable from the engine's block to the battery's negative post" if side == GROUND_SIDE else (
        "a second cable beside the charge path, or a thicker one"
    )  # fmt: skip
    return Finding(
        "act",
        f"{text}; you allow {drop.limit_v:g} V. The largest part in '{name}', {volts:.2f} V. What would mend it: "
        f"{what}, of at most {beside * 1000:.1f} mohm from end to end; first clean and tighten what is there.",
        evidence,
        lines.get(name, 0),
    )


def _beside_ohm(drop: Drop) -> float:
    """The resistance that, put beside a path, brings its drop down to the limit [ohm]."""
    assert drop.limit_v is not None and drop.volts > drop.limit_v
    wanted = drop.limit_v / drop.amps
    return wanted * drop.ohm / (drop.ohm - wanted)


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
    shares = dict(path.ground_shares)
    used = [cable for cable in added if shares.get(cable.name, 0.0) >= 0.01]
    now_v, limit_v = path.drops[1].volts, car.limits.charge_ground_v
    evidence = ", ".join(f"{name} {part:.0%}" for name, part in path.ground_shares[:5])
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
    carried = sum(shares[cable.name] for cable in used) if len(used) == 1 else None
    share = f" and carries {carried:.0%} of the charge current" if carried is not None else ""
    verb = "lies" if len(used) == 1 else "lie"
    if path.ground_without_added_v is None:
        text = f"{names} {verb} where nothing else leads back to the battery: without it there is no ground at all"
        yield Finding("watch", f"{text}. A second ground strap would survive a loose nut.", evidence, used[0].line)
        return
    gained = f"{path.ground_without_added_v * 1000:.0f} mV without, {now_v * 1000:.0f} mV with"
    text = f"{names} {verb} beside the old ground as a parallel path{share}: {gained}"
    weight = "well" if path.ground_without_added_v > limit_v >= now_v else "note"
    yield Finding(weight, f"{text}.", evidence, used[0].line)


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
