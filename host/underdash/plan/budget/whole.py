"""The load budget: is there enough at hot idle, and how long does the battery make up for it if not."""

import numpy as np

from underdash.car import circuit, from_file
from underdash.car.from_file import Car
from underdash.car.loads import draws
from underdash.car.steady import Point, settle
from underdash.carfile.model import HOT_IDLE, CarFile
from underdash.plan.budget.balance import IN_WORDS, balances, output_a
from underdash.plan.budget.cycling import cycling
from underdash.plan.budget.cycling import finding as cycling_finding
from underdash.plan.budget.remedies import remedies
from underdash.plan.budget.words import NEXT_TO_NOTHING_A, amps, shares_apart, switched, told_apart
from underdash.plan.results import WEIGHTS, Balance, Budget, Cycling, Finding, Remedy, Shortfall

CURVE_FROM_RPM = 400.0
CURVE_BEYOND = 1.6  # the picture's curves go on to this multiple of cruise
CURVE_STEP_RPM = 25.0
USUAL_SHARE = (0.30, 0.60)  # hot output at idle as a share of rated, usual: from memory


def budget(car: CarFile) -> Budget:
    """Output against demand at each speed in each situation, and what follows from a shortfall."""
    built = from_file.build(car)
    found = balances(car)
    unfed = []
    shortfalls = []
    for balance in found:
        if balance.margin_a < 0.0:
            try:
                shortfalls.append(shortfall(car, built, balance))
            except circuit.BusCollapseError:
                unfed.append(balance)
    shortfalls.sort(key=lambda short: (-short.battery_a, short.balance.margin_a))
    worst = min((balance for balance in found if balance.margin_a < 0.0), key=lambda b: b.margin_a, default=None)
    ways = remedies(car, worst) if worst is not None else ()
    days = _days(car, built, found)
    last_rpm = max(CURVE_BEYOND * car.engine.cruise_rpm, 2.0 * CURVE_FROM_RPM)
    rpm = np.arange(CURVE_FROM_RPM, last_rpm + CURVE_STEP_RPM, CURVE_STEP_RPM)
    return Budget(
        balances=found,
        shortfalls=tuple(shortfalls),
        remedies=ways,
        cycling=days,
        curve_rpm=tuple(rpm.tolist()),
        curve_hot_a=tuple(output_a(car.alternator, rpm, hot=True).tolist()),
        curve_cold_a=tuple(output_a(car.alternator, rpm, hot=False).tolist()),
        findings=_findings(car, found, shortfalls, unfed, ways, days),
    )


def shortfall(car: CarFile, built: Car, balance: Balance) -> Shortfall:
    """What the battery gives where hot output is below demand, by the electrical model.

    At the battery's volts lamps and heaters draw a little less than at 13.5 V, electronics a little more: `battery_a`
    is not `-margin_a`. Where the little less is enough it is 0, and the minutes are endless. Raises
    circuit.BusCollapseError if no volts feed the loads.
    """

    def point(on: float | None) -> Point:
        """Settled with the share of time that the coolant's switch is on given, or each left at its duty.

        One switch turns all of them on and off together.
        """
        shares = [(load, on if on is not None and load.coolant_switch else load.duty) for load, _ in balance.loads]
        siemens, watts = draws(shares)
        return settle(built, engine_rpm=balance.engine_rpm, siemens=siemens, watts=watts)

    average = point(None)
    battery_a = max(-average.battery_a, 0.0)
    return Shortfall(
        balance=balance,
        bus_v=average.bus_v,
        battery_a=battery_a,
        least_a=max(-point(0.0).battery_a, 0.0),
        most_a=max(-point(1.0).battery_a, 0.0),
        to_75_min=minutes(car.battery.capacity_ah, 0.75, battery_a),
        to_50_min=minutes(car.battery.capacity_ah, 0.50, battery_a),
    )


def minutes(capacity_ah: float, left: float, amps: float) -> float:
    """From full until `left` [0..1] of the capacity is left, at a constant current [A]: minutes.

    capacity x (1 - left) / amps. Capacity falls with current: at such currents a battery holds less than its label,
    which is of the 20 h rate, and an old one less again. Endless without a current.
    """
    return capacity_ah * (1.0 - left) / amps * 60.0 if amps > 0.0 else float("inf")


def _days(car: CarFile, built: Car, found: tuple[Balance, ...]) -> tuple[Cycling, ...]:
    days = []
    for situation in dict.fromkeys(balance.situation for balance in found):
        try:
            days.append(cycling(car, built, situation))
        except circuit.BusCollapseError:
            continue  # the budget says that these loads cannot be fed
    return tuple(days)


# -- in words -----------------------------------------------------------------------------------


def _findings(
    car: CarFile,
    found: tuple[Balance, ...],
    shortfalls: list[Shortfall],
    unfed: list[Balance],
    ways: tuple[Remedy, ...],
    days: tuple[Cycling, ...],
) -> tuple[Finding, ...]:
    said = [_unfed(balance) for balance in unfed]
    said += [_short(short, ways if index == 0 else ()) for index, short in enumerate(shortfalls)]
    said += _thin(car, found)
    said += _bursts(found)
    said.append(_idle_share(car, found[0]))
    costs = [cycling_finding(car, day) for day in sorted(days, key=lambda day: -day.life_share)]
    said += [cost for cost in costs[:1] if cost is not None]
    if all(balance.margin_share >= car.limits.margin_share for balance in found):
        least = min(found, key=lambda balance: balance.margin_a)
        said.append(
            Finding(
                "well",
                f"The alternator carries everything, hot, at every speed: {amps(least.margin_a)} are to spare where it "
                f"is tightest, {_where(least)}.",
                f"{least.hot_a:.1f} A hot against {least.sustained_a:.1f} A on average",
            )
        )
    return tuple(sorted(said, key=lambda finding: WEIGHTS.index(finding.weight)))


def _where(balance: Balance) -> str:
    return f"at {balance.speed} {IN_WORDS[balance.situation]}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sums(balance: Balance) -> str:
    return (
        f"{balance.hot_a:.1f} A hot at {balance.engine_rpm:,.0f} rpm against {balance.sustained_a:.1f} A on average, "
        f"{balance.peak_a:.1f} A all at once"
    )


def _unfed(balance: Balance) -> Finding:
    return Finding(
        "act",
        f"{_capital(_where(balance))} the loads ask for more than battery and alternator can give at any voltage. "
        "Look at the file's amps first; if they are right, the car does not run like this.",
        _sums(balance),
    )


def _short(short: Shortfall, ways: tuple[Remedy, ...]) -> Finding:
    balance = short.balance
    short_a = -balance.margin_a
    missing = f"{_capital(_where(balance))} the alternator is " + (
        f"{amps(short_a)} short." if short_a >= NEXT_TO_NOTHING_A else "just short."
    )
    fans = switched(load for load, _ in balance.loads)
    if short.battery_a < NEXT_TO_NOTHING_A:
        more = (
            f" With the {fans[0]} on all the time it gives {amps(short.most_a)}." if fans and short.most_a > 0.0 else ""
        )
        return Finding(
            "watch",
            f"{missing} The volts sag to {short.bus_v:.1f} V, at which the loads draw less, and on average the battery "
            f"gives nothing yet; it gets next to nothing either.{more}",
            _sums(balance),
        )
    spread = (
        f", {amps(short.least_a)} with the {fans[0]} off and {amps(short.most_a)} with {fans[1]} on" if fans else ""
    )
    text = (
        f"{missing} The battery gives {amps(short.battery_a)} on average{spread}: from full it is at 75 % after about "
        f"{_minutes(short.to_75_min)} and at 50 % after {_minutes(short.to_50_min)}, if it holds what its label says; "
        "an old one, or any at a high current, holds less."
    )
    closing = _closing(ways)
    return Finding("act", f"{text} {closing}" if closing else text, f"{_sums(balance)}; the bus at {short.bus_v:.1f} V")


def _minutes(value: float) -> str:
    if value < 1.0:
        return "less than a minute"
    if value < 119.5:
        return f"{value:.0f} min"
    hours, rest = divmod(round(value), 60)
    return f"{hours} h {rest} min" if hours < 24 else f"{hours} h"


def _closing(ways: tuple[Remedy, ...]) -> str:
    said = {
        "idle speed": "an idle of {:,.0f} rpm",
        "pulley ratio": "a pulley ratio of {:.2f} to 1",
        "rated output": "a machine of {:.0f} A of the same curve",
    }
    possible = [
        f"loads of no more than {amps(way.needed)} on average"
        if way.kind == "load"
        else said[way.kind].format(way.needed)
        for way in ways
        if way.needed is not None
    ]
    if not ways:
        return ""
    if not possible:
        return "No single change closes it; two together may."
    these = "One change closes" if len(possible) == 1 else "Any one of these closes"
    return f"{these} it, margin included: {'; '.join(possible)}."


def _thin(car: CarFile, found: tuple[Balance, ...]) -> list[Finding]:
    """The thinnest margin of each speed, where it is thinner than the owner wants."""
    said = []
    for speed in dict.fromkeys(balance.speed for balance in found):
        thin = [b for b in found if b.speed == speed and 0.0 <= b.margin_share < car.limits.margin_share]
        if not thin:
            continue
        least = min(thin, key=lambda balance: balance.margin_share)
        spare, wanted = shares_apart(least.margin_share, car.limits.margin_share)
        left = (
            f"{least.margin_a:.1f} A are to spare, {spare} of the demand"
            if least.margin_a >= NEXT_TO_NOTHING_A
            else "next to nothing is to spare"
        )
        said.append(
            Finding(
                "watch",
                f"{_capital(_where(least))} {left}; {wanted} is wanted. A worn belt or a warm day takes that.",
                _sums(least),
            )
        )
    return said


def _bursts(found: tuple[Balance, ...]) -> list[Finding]:
    """Where the average is carried but not everything at once, or not an inrush: the battery's ordinary work."""
    carried = [balance for balance in found if balance.margin_a >= 0.0]
    peaks = [balance for balance in carried if balance.peak_a > balance.hot_a]
    inrushes = [b for b in carried if b.peak_a <= b.hot_a < b.inrush_a]
    said = []
    if peaks:
        worst = max(peaks, key=lambda balance: balance.peak_a - balance.hot_a)
        drawn, available = told_apart(worst.peak_a, worst.hot_a)
        said.append(
            Finding(
                "note",
                f"{_capital(_where(worst))} everything at once draws {drawn}, more than the "
                f"{available} available; on average it is carried. The battery helps out for as long as that "
                "lasts, and is charged again after.",
                _sums(worst),
            )
        )
    if inrushes:
        worst = max(inrushes, key=lambda balance: balance.inrush_a - balance.hot_a)
        said.append(
            Finding(
                "note",
                f"{_capital(_where(worst))} switching on {worst.inrush_of} takes the draw to {amps(worst.inrush_a)} "
                "for a moment. The battery gives that for a second or less: its ordinary work.",
                _sums(worst),
            )
        )
    return said


def _idle_share(car: CarFile, idle: Balance) -> Finding:
    assert idle.speed == HOT_IDLE
    machine = car.alternator
    share = idle.hot_a / machine.rated_a
    low, high = USUAL_SHARE
    gives = amps(idle.hot_a) if idle.hot_a > 0.0 else "nothing"
    usual = f"{low:.0%} to {high:.0%} is usual (from memory)"
    if share > high:
        remark = f"That is a good deal, for {usual}: measure it before relying on it."
    elif share < low:
        remark = f"That is little, for {usual}: it turns slowly there."
    else:
        remark = f"{usual}."
    return Finding(
        "note",
        f"Hot, at idle, the alternator gives {gives}, {share:.0%} of its {amps(machine.rated_a)}. {remark} "
        "A rating after ISO 8854 is taken at 6,000 rpm of the machine, and in cool air: it says nothing of idle.",
        f"{idle.engine_rpm * machine.pulley_ratio:,.0f} rpm of the machine"
        + (f"; {machine.curve_source}" if machine.curve_source else ""),
    )
