"""Battery, regulator and connection: steady, drifting, act or unknown, each with its reason and its evidence.

What each fault does to what a monitor at the loads sees:

                     battery ages   regulator off   bad way to the monitor   bad way to the alternator
    crank dip           deeper           -                  -                       -
    resistance, crank   higher           -                  -                       -
    rested volts        lower          lower*             lower*                  lower*     (*in time: undercharged)
    set point             -            moves              lower                   lower
    sag with the key    little           -                deeper                    -
    steps with loads      -              -                deeper                  little
    sag after loads       -              -                deeper                  deeper
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from underdash.page import span
from underdash.review.clock import clock
from underdash.review.season import quantities as q
from underdash.review.season.events import unsure
from underdash.review.season.evidence import LEAST_POINTS
from underdash.review.season.telling import Found, evidence, moves, number, tells, unit
from underdash.review.season.with_key import SEEN, with_key
from underdash.review.words import count

STEADY, DRIFTING, ACT, UNKNOWN = "steady", "drifting", "act", "unknown"
# What a verdict names as the cause.
BATTERY, UNDERCHARGED, REGULATOR, ALTERNATOR = "battery", "undercharged", "regulator", "alternator"
CONNECTION, EITHER = "connection", "connection or regulator"

_DEEPER = 1.5  # a crank dip or resistance so many times what it was is past drifting (chosen here)
_LOST_V = 0.4  # twice what a shop allows one side of the charge path: 0.2 V
_ALONE_V = 12.45  # a car whose median is below lives on its battery, 12.65 V at rest when full (BCI table)
_KEY_SHARE = 0.25  # what the key's loads, some 9 A, show at least of what all loads do (chosen here)
_LOST_OHM = 0.030  # 0.4 V at some 13 A of loads

_AT_TAP = (
    "With the loads on, measure the voltage drop from the battery's negative post to the monitor's ground, and from "
    "its positive post to the monitor's supply: the bad place is on the side with more; 0.2 V is a shop's limit."
)
_AT_POSTS = (
    "With the engine at a fast idle and the loads on, measure the drop from the alternator's post to the battery's, "
    "and from its case to the battery's negative post: more than 0.2 V is the way; less, machine or regulator."
)
_SPEED = "Give the engine's speed, if the log has it (--column rpm=NAME): volts alone may not tell a rest from a drive."
_NEXT = "Check belt, fuse, charge cable, exciter and regulator, machine, in that order."


@dataclass(frozen=True)
class Verdict:
    """One of the three."""

    verdict: str
    reason: str
    evidence: str
    cause: str | None = None
    drive: int | None = None
    """The first drive that shows it."""
    row: int | None = None
    """The first row that shows it, where no drive does."""

    def plain(self) -> dict[str, Any]:
        return dict(vars(self))


def verdicts(report: dict[str, Any], found: Found, dead: dict[str, Any] | None) -> dict[str, Verdict]:
    """{`battery`, `regulator`, `connection`: Verdict}."""
    connection = _connection(report, found)
    if dead is not None and connection.cause == CONNECTION:
        behind = dead["volts"] - min(moved(found, q.RUNNING), 0.0)  # what the bad connection takes is there, before it
        dead = None if behind >= report["thresholds"]["marginal_mv"] / 1000 else dead
    regulator = _regulator(report, found, dead, connection)
    return {
        "battery": _battery(report, found, regulator, connection),
        "regulator": regulator,
        "connection": connection,
    }


def moved(found: Found, kind: q.Kind) -> float:
    """How far a quantity has moved [its unit]; 0 if not, or not known."""
    return found[kind.name].moved if kind.name in found else 0.0


def _first(found: Found, *kinds: q.Kind) -> int | None:
    """The first drive that shows the earliest change among them."""
    changes = [found[kind.name] for kind in kinds if kind.name in found and found[kind.name].change is not None]
    return min((one.drives[one.change.at] for one in changes if one.change is not None), default=None)


def _enough(found: Found, *kinds: q.Kind) -> bool:
    return any(kind.name in found and len(found[kind.name].values) >= LEAST_POINTS for kind in kinds)


def _unknown(what: str, why: str, found: Found, *kinds: q.Kind) -> Verdict:
    most = max((len(found[kind.name].values) for kind in kinds if kind.name in found), default=0)
    count = f"{most} do" if most else "none does"
    return Verdict(
        UNKNOWN,
        f"Too few drives show {what}: it takes {LEAST_POINTS}, and {count}. {why}",
        evidence(found, *kinds) or f"{most} values",
    )


def _connection(report: dict[str, Any], found: Found) -> Verdict:
    near = (q.LOAD_STEP, q.KEY_SAG, q.KEY_OHM)
    steps, ohm = moved(found, q.LOAD_STEP), moved(found, q.KEY_OHM) - max(moved(found, q.RESISTANCE), 0.0)
    sag = moved(found, q.KEY_SAG)
    # An ageing battery too lets the key's loads pull the volts down: as much more as the starter does.
    dip = found.get(q.DIP.name)
    if sag > 0.0 and dip is not None and dip.moved > 0.0 and dip.level > 0.0:
        sag -= 1.5 * dip.moved / dip.level * max(found[q.KEY_SAG.name].level, 0.0)
    ohm = ohm if ohm >= q.KEY_OHM.material else 0.0
    sag = sag if sag >= q.KEY_SAG.material else 0.0
    if steps > 0.0 or ohm > 0.0 or sag > 0.0:
        grave = max(steps, sag, -moved(found, q.RUNNING) / 2) >= _LOST_V or ohm >= _LOST_OHM
        kinds = [kind for kind, size in zip(near, (steps, sag, ohm), strict=True) if size > 0.0]
        size = f", some {ohm * 1000:.0f} mohm more than it had" if ohm > 0.0 else ""
        return Verdict(
            ACT if grave else DRIFTING,
            f"The loads pull the volts down at once, and further than they did ({moves(found, *kinds)}): a connection "
            f"that they share has grown a resistance{size}. {_AT_TAP}",
            evidence(found, *kinds),
            CONNECTION,
            _first(found, *kinds),
        )
    point = found.get(q.RUNNING.name) or found.get(q.SET_POINT.name)
    if point is not None and point.moved < 0.0:
        key = with_key(found, point)
        if key is not None and key[0] > _KEY_SHARE * -point.moved:
            more = span(1000 * key[0], 1000 * key[1], 0, "mV")
            return Verdict(
                ACT if -point.moved >= _LOST_V else DRIFTING,
                f"The volts of the running car have fallen ({moves(found, point.kind)}), and the key's loads pull them "
                f"down {more} further since then: a connection that both share has grown a resistance. {_AT_TAP}",
                f"{tells(point)}; with the key on {more} more than before",
                CONNECTION,
                point.drives[point.change.at] if point.change else None,
            )
    if moved(found, q.LOAD_SAG) > 0.0:
        return Verdict(
            ACT if moved(found, q.LOAD_SAG) >= 2 * _LOST_V else DRIFTING,
            f"With a load the volts sag within half a minute, further than they did ({moves(found, q.LOAD_SAG)}): the "
            "way from the alternator to the battery (its cable, the engine's ground), the alternator's output or its "
            f"regulator. They look alike from here. {_AT_POSTS}",
            evidence(found, q.LOAD_SAG),
            EITHER,
            _first(found, q.LOAD_SAG),
        )
    known = (*near, q.KEY_VOLTS, q.LOAD_SAG)
    if not _enough(found, *known):
        return _unknown(
            "how the volts answer to the loads",
            "A drive shows it if the rows begin with the key, before the engine, best with the rest before it; or if "
            f"it runs for five minutes in rows of a second.{_give_speed(report)}",
            found,
            *known,
        )
    return Verdict(STEADY, "The volts answer to the loads as they did.", evidence(found, *known))


def _regulator(report: dict[str, Any], found: Found, dead: dict[str, Any] | None, connection: Verdict) -> Verdict:
    if dead is not None:
        date, drive = dead["dated"], f"drive {dead['drive']}" if dead["drive"] else "a drive whose start no row shows"
        of = report["drives"][dead["drive"] - 1] if dead["drive"] else dead
        begin = drive + (f", {date[:10]}" if date else "") + f", {clock(of, dead['start_s'])}"
        return Verdict(
            ACT,
            f"The alternator gives nothing any more: {dead['volts']:.2f} V on average since {begin}, what a battery "
            f"alone holds. {_NEXT}",
            f"{dead['volts']:.2f} V on average since {begin}",
            ALTERNATOR,
            dead["drive"],
            dead["row"],
        )
    may = unsure(report)
    if may:
        volts = [one["mean_volts"] for one in may if one["mean_volts"] is not None]
        return Verdict(
            UNKNOWN,
            f"After the last drive the car lived on its battery {count(len(may), 'time')} for five minutes and more, "
            "and no row shows a start: with the engine running the alternator gives nothing, with the engine "
            "off something was left on. Give the engine's speed (--column rpm=NAME), or measure the volts at the "
            "battery's posts with the engine at a fast idle.",
            f"{min(volts):.2f} to {max(volts):.2f} V on average" if volts else "volts unknown",
            row=may[0]["first_row"],
        )
    # Volts too low to count as charging have no set point: where the rows tell, look at all volts of the running car.
    kind = q.RUNNING if q.RUNNING.name in found else q.SET_POINT
    kinds = (kind, q.SPREAD)
    if not _enough(found, kind):
        return _unknown(
            "charging volts", "A drive shows them from the second minute on, for five minutes.", found, kind
        )
    point, limits = found[kind.name], report["thresholds"]
    told, since = evidence(found, *kinds), _first(found, *kinds)
    if point.now > limits["overcharge_mv"] / 1000:
        return Verdict(
            ACT,
            f"It overcharges: {point.now:.2f} V in the latest drives, and {limits['overcharge_mv'] / 1000:.1f} V is "
            "the limit. The regulator, or its sense wire or ground. With the engine at a fast idle, measure at the "
            "battery's posts, then from the alternator's case to the negative one: more than 0.2 V is the ground.",
            told,
            REGULATOR,
            since,
        )
    fell = moved(found, kind)
    if fell < 0.0 and point.now < _ALONE_V and connection.cause != CONNECTION:
        return Verdict(
            ACT,
            f"The running car has {point.now:.2f} V, what a battery alone holds ({moves(found, kind)}): the alternator "
            f"gives next to nothing. {_NEXT}",
            told,
            ALTERNATOR,
            since,
        )
    wide = moved(found, q.SPREAD)
    low = point.now < limits["marginal_mv"] / 1000
    if connection.cause == CONNECTION and (fell < 0.0 or wide > 0.0 or low):
        return Verdict(
            UNKNOWN,
            "The volts moved with a connection that has gone bad, and the regulator cannot be seen through it: mend "
            "that first, then judge again.",
            told,
        )
    if connection.cause == EITHER and fell <= 0.0:
        return Verdict(
            connection.verdict,
            "What is seen may be the regulator or the way from the alternator; see the connection.",
            told,
            EITHER,
            since,
        )
    if fell != 0.0:
        # A shared resistance would show with the key's loads as well; one before the battery as a sag after loads.
        key = with_key(found, point)
        sure = key is not None and key[1] < _KEY_SHARE * abs(fell) and q.LOAD_SAG.name in found
        there = f"{number(point, point.now)} {unit(point)} there too is the regulator."
        if sure:
            also = "The loads are not behind it: they pull the volts down no further than they did. Measure at the "
            also += f"alternator's post with the engine at a fast idle and few loads: {there}"
        elif fell > 0.0:
            also = f"Measure at the alternator's post, and from its case to the battery's negative post: {there}"
        else:
            also = "Whether a connection does it cannot be told: too few drives show what the loads do to the volts. "
            also += "Measure at the alternator's post first, then at the battery's, then at the monitor's tap."
        return Verdict(
            ACT if low or abs(fell) >= 2 * _LOST_V else DRIFTING,
            f"With the engine running the volts have {'fallen' if fell < 0.0 else 'risen'}, beyond what the weather of "
            f"a year does ({moves(found, kind)}). {also}",
            told,
            REGULATOR if sure or fell > 0.0 else EITHER,
            since,
        )
    if wide > 0.0:
        return Verdict(
            DRIFTING,
            f"The set point has become unsteady ({moves(found, q.SPREAD)}), and not with the loads: brushes, slip "
            "rings or the regulator. Watch the volts at the alternator's post at a steady fast idle: if they wander "
            "there too, it is the machine.",
            told,
            REGULATOR,
            since,
        )
    if low:
        return Verdict(
            ACT,
            f"The running car has {point.now:.2f} V only, below {limits['marginal_mv'] / 1000:.1f} V: too little to "
            f"fill a battery. The regulator, the alternator's output, or the way from it. {_AT_POSTS}",
            told,
            EITHER,
        )
    apart = float(np.median(point.values[-max(len(point.values) // 3, 3) :])) - point.level
    if abs(apart) >= point.matters(float(np.ptp(point.days))):
        return Verdict(
            UNKNOWN,
            f"The latest third of the {len(point.values)} drives has {abs(apart):.2f} V "
            f"{'less' if apart < 0.0 else 'more'} than the first, but they differ so much that it may be chance. Drive "
            "on and review again, with the temperature of the air if the log has it (--column temperature_c=NAME).",
            told,
        )
    return Verdict(STEADY, f"It holds {point.now:.2f} V; what moves is the weather's.", told)


def _battery(report: dict[str, Any], found: Found, regulator: Verdict, connection: Verdict) -> Verdict:
    strength, charge = (q.DIP, q.RESISTANCE), (q.RESTED, q.NIGHT)
    limits = report["thresholds"]
    held = [drive["cranks"][0]["held_volts"] for drive in report["drives"][-SEEN:] if drive["cranks"]]
    known = [volts for volts in held if volts is not None and volts < limits["weak_crank_mv"] / 1000]
    # Behind a bad connection the monitor sees less than the battery holds; and a slow log's lowest volts may be from
    # when the engine ran already.
    grown = [found[kind.name] for kind in strength if moved(found, kind) > 0.0]
    if connection.cause == CONNECTION and any(one.bounds for one in grown):
        return Verdict(
            UNKNOWN,
            "The volts moved with a connection that has gone bad, and how the battery cranks cannot be seen through it "
            "in a log as slow as this: mend that first, then judge again.",
            evidence(found, *strength, *charge),
        )
    failing = len(known) == SEEN and connection.cause != CONNECTION
    if failing or grown:
        gone = failing or any(one.now >= _DEEPER * one.level > 0.0 for one in grown)
        which = "Its resistance at the crank has risen" if moved(found, q.RESISTANCE) > 0.0 else "It gives way more"
        why = (
            f"{which} ({moves(found, *strength)})."
            if grown
            else f"It does not hold its volts while the starter turns: {', '.join(f'{one:.2f}' for one in known)} V in "
            f"the last three drives, and {limits['weak_crank_mv'] / 1000:.1f} V is the limit."
        )
        return Verdict(
            ACT if gone else DRIFTING,
            f"{why} A battery that loses capacity does so, and so do its clamps and cables: measure the drop over each "
            "clamp while cranking, then charge the battery and have it load-tested.",
            evidence(found, *strength, *charge),
            BATTERY,
            _first(found, *strength),
        )
    rested = found.get(q.RESTED.name)
    low = rested is not None and len(rested.values) >= 3 and rested.now < limits["low_rest_mv"] / 1000
    fell = moved(found, q.RESTED) < 0.0
    # Volts that rise less overnight than they did do not fall: a warm morning's do so too.
    falls = moved(found, q.NIGHT) < 0.0 and found[q.NIGHT.name].now < -q.NIGHT.material
    if low or fell or falls:
        figures = [moves(found, *charge)] if fell or falls else []
        if low and rested is not None:
            figures.append(f"{rested.now:.2f} V rested, and {limits['low_rest_mv'] / 1000:.2f} V is half charge")
        less = (
            f"It is left with {'less charge than it was' if fell or falls else 'little charge'} ({'; '.join(figures)})"
        )
        if {regulator.cause, connection.cause} & {REGULATOR, ALTERNATOR, EITHER, CONNECTION}:
            why = f"{less}, and that follows from what the charging does: see there."
        elif falls:
            why = (
                f"Overnight it falls faster than it did ({'; '.join(figures)}): a drain has come, or the battery loses "
                "capacity. Measure the current with everything off; 25 to 50 mA is what car makers allow."
            )
        else:
            why = (
                f"{less}: short drives, a drain, or a battery that ages. Measure the current with everything off, 25 "
                "to 50 mA is what car makers allow; charge the battery, let it rest for a day, and have it load-tested."
            )
        return Verdict(
            ACT if low else DRIFTING, why, evidence(found, *charge, *strength), UNDERCHARGED, _first(found, *charge)
        )
    return _steady_battery(report, found, strength, charge)


def _give_speed(report: dict[str, Any]) -> str:
    """What to say where a log without the engine's speed leaves it to the volts whether the car was parked."""
    return "" if report.get("speed", True) or report.get("board") else f" {_SPEED}"


def _steady_battery(
    report: dict[str, Any], found: Found, strength: tuple[q.Kind, ...], charge: tuple[q.Kind, ...]
) -> Verdict:
    """Steady, as far as it is known; of a slow log it says what that is worth."""
    told = evidence(found, *charge, *strength)
    cranks, nights = _enough(found, *strength), _enough(found, *charge)
    if not cranks and not nights:
        return _unknown(
            "a crank or a night",
            "A crank shows if the rows begin before the starter; a night if its rest is recorded."
            f"{_give_speed(report)}",
            found,
            *strength,
            *charge,
        )
    if not cranks:
        return Verdict(STEADY, "It rests as it did. Too few drives show a crank, so its strength is not known.", told)
    slow = found[q.DIP.name].bounds if q.DIP.name in found else False
    doubt = (
        " The log is too slow for a crank and catches it by chance, so an ageing battery shows late." if slow else ""
    )
    if not nights:
        doubt += f" What it rests at is not known: record it overnight, a row a minute is enough.{_give_speed(report)}"
    return Verdict(STEADY, f"It {'rests and ' if nights else ''}cranks as it did.{doubt}", told)
