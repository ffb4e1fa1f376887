"""Engine, alternator, battery and loads of a car file."""

import re
from itertools import pairwise
from typing import Any

from underdash.carfile import quantity
from underdash.carfile.model import (
    ALTERNATOR,
    ALWAYS,
    BATTERY,
    BRIEF,
    CONDITIONS,
    NOMINAL_V,
    Alternator,
    Battery,
    Engine,
    Load,
)
from underdash.carfile.table import Notes, Table, tables
from underdash.settings.catalogue import FIELDS, defaults, problems_in
from underdash.settings.toml_file import problem_with
from underdash.toml_file import nearest, shown

# One complete published curve (Westerbeke 33A workshop manual, p. 83: about 50 A class, 13.5 V, speeds of the
# machine itself). From memory: no output below about 1,000 rpm. Cold 53 A at 5,000 is assumed (48 A / 0.9).
CLASS_RPM = (1000.0, 1300.0, 2500.0, 5000.0)
CLASS_HOT_A = (0.0, 16.0, 41.0, 48.0)
CLASS_COLD_A = (0.0, 24.0, 50.0, 53.0)
CLASS_RATED_A = 48.0  # `rated` here means the published 5,000 rpm hot value
CLASS_SOURCE = "one published curve of a 50 A machine, scaled to the rated output"

INTERNAL_OHM_AT_60_AH = 0.0065  # from memory: 4-8 mohm for 45-70 Ah; taken as falling with capacity
_BRIEF_DUTY = 0.1  # the textbook share of an intermittent load (what-when-how.com, Automobile 14.4)
_AT_VOLTS = re.compile(r"\s*(.+?)\s+at\s+(.+?)\s*")


_Curve = tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]


def engine(table: Table) -> tuple[Engine, float]:
    """The engine's speeds, and its starter's amps."""
    hot = table.quantity("hot_idle", quantity.SPEED, 300.0, 2000.0)
    fast = table.quantity("fast_idle", quantity.SPEED, 300.0, 4000.0, min(1.5 * hot, 4000.0))
    cruise = table.quantity("cruise", quantity.SPEED, 500.0, 8000.0, 2500.0)
    starter_a = table.quantity("starter", quantity.CURRENT, 20.0, 600.0, 150.0)
    if fast < hot:
        table.note("fast_idle", f"is below hot_idle ({hot:g} rpm); a fast idle is the faster one")
    if cruise < hot:
        table.note("cruise", f"is below hot_idle ({hot:g} rpm); write the speed on the road")
    table.end()
    return Engine(hot, fast, cruise), starter_a


def alternator(table: Table, notes: Notes) -> Alternator:
    """The alternator, its curve scaled from the class curve or given by points."""
    rated_a = table.quantity("rated", quantity.CURRENT, 10.0, 400.0)
    pulley = table.number("pulley_ratio", 1.0, 5.0)
    set_point_v = table.quantity("set_point", quantity.VOLTAGE, 13.0, 15.5, 14.4)
    slope = table.quantity("set_point_slope", quantity.SLOPE, -0.04, 0.0, -0.010)
    senses = table.choice("senses", (ALTERNATOR, BATTERY), ALTERNATOR)
    source = table.text("source", "")
    points = table.take("curve")
    hot_share = table.share("hot_share", 0.3, 1.0, 0.0) if table.has("hot_share") else None
    table.take("hot_share")
    scale = rated_a / CLASS_RATED_A
    curve: _Curve = (CLASS_RPM, tuple(a * scale for a in CLASS_HOT_A), tuple(a * scale for a in CLASS_COLD_A))
    if points is not None:
        curve = _curve(table, notes, points, hot_share)
        if not 0.5 * rated_a <= curve[1][-1] <= 1.5 * rated_a and len(curve[0]) > 3:
            table.note("rated", f"is far from the curve's end, {curve[1][-1]:g} A hot; look at one of the two")
    elif hot_share is not None:
        table.note(
            "hot_share", "belongs to a curve of your own; the built-in one has its hot points, take the line out"
        )
    table.end()
    return Alternator(
        rated_a,
        pulley,
        *curve,
        set_point_v,
        slope,
        senses,
        source or (CLASS_SOURCE if points is None else ""),
    )


def _curve(table: Table, notes: Notes, points: Any, hot_share: float | None) -> _Curve:
    """Speeds, hot and cold amps from the points of the file."""
    nothing: _Curve = ((0.0, 1.0, 2.0), (0.0, 1.0, 2.0), (0.0, 1.0, 2.0))
    rows = tables(notes, (*table.place, "curve"), points, "[alternator] curve")
    if len(rows) < 3:
        table.note("curve", 'needs at least three points; write { speed = "1500 rpm", cold = "32 A" } for each')
        return nothing
    with_hot, with_cold = rows[0].has("hot"), rows[0].has("cold")
    if not (with_hot or with_cold):
        table.note("curve", "its first point has neither hot nor cold; write the amps of at least one")
        return nothing
    if with_hot and with_cold and hot_share is not None:
        table.note("hot_share", "is not needed: every point has hot and cold; take the line out")
    if not (with_hot and with_cold) and hot_share is None:
        only = "hot" if with_hot else "cold"
        table.missing(
            "hot_share", f"0.82 (the curve has only {only}; this is what is left of the cold output when hot)"
        )
        return nothing
    speeds, hot_a, cold_a = [], [], []
    for row in rows:
        speeds.append(row.quantity("speed", quantity.SPEED, 0.0, 20000.0))
        hot_a.append(row.quantity("hot", quantity.CURRENT, 0.0, 500.0, None if with_hot else 0.0))
        cold_a.append(row.quantity("cold", quantity.CURRENT, 0.0, 500.0, None if with_cold else 0.0))
        row.end()
    if not with_hot:
        hot_a = [a * (hot_share or 0.0) for a in cold_a]
    if not with_cold:
        cold_a = [a / (hot_share or 1.0) for a in hot_a]
    for i in range(len(rows)):
        if hot_a[i] > cold_a[i]:
            rows[i].note("hot", f"above cold at {speeds[i]:g} rpm; a hot machine gives less: are they swapped?")
            return nothing
    for before, i in pairwise(range(len(rows))):
        if speeds[i] <= speeds[before]:
            rows[i].note("speed", f"points must rise in speed; this stands after {speeds[before]:g} rpm")
            return nothing
        for name, amps in (("hot", hot_a), ("cold", cold_a)):
            if amps[i] < amps[before]:
                rows[i].note(
                    name if rows[i].has(name) else "cold",
                    f"output never falls with speed, and it was {amps[before]:g} A at {speeds[before]:g} rpm: "
                    "look at these two points",
                )
                return nothing
    return tuple(speeds), tuple(hot_a), tuple(cold_a)


def battery(table: Table) -> Battery:
    """The battery; its resistance is estimated from its capacity where it is not given."""
    kind = table.choice("kind", ("flooded", "agm"), "flooded")
    capacity = table.quantity("capacity", quantity.CHARGE, 5.0, 300.0)
    ohm = table.quantity(
        "internal_resistance", quantity.RESISTANCE, 0.001, 0.1, INTERNAL_OHM_AT_60_AH * 60.0 / max(capacity, 5.0)
    )
    cca = table.quantity("cca", quantity.CURRENT, 50.0, 2000.0, 0.0)
    charge = table.share("charge", 0.5, 1.0, Battery.charge)
    table.end()
    return Battery(kind, capacity, ohm, cca or None, charge)


def loads(notes: Notes, given: Any) -> tuple[Load, ...]:
    """Every [[load]]."""
    return tuple(_load(table) for table in tables(notes, ("load",), given, "[[load]]"))


def _load(table: Table) -> Load:
    name = table.name_it()
    amps = _draw(table)
    behaves = table.choice("behaves", ("resistance", "electronics"), "resistance")
    when = table.words("when")
    if not when and not table.has("when"):
        table.missing("when", f'"{ALWAYS}"')
    for word in when:
        if word not in CONDITIONS:
            table.note(
                "when", f"no such condition as {word}; there are {', '.join(CONDITIONS)}{nearest(word, CONDITIONS)}"
            )
    duty = table.share("duty", 0.0, 1.0, _BRIEF_DUTY if set(when) == {BRIEF} else 1.0)
    inrush = table.number("inrush", 1.0, 20.0, 1.0)
    inrush_s = table.quantity("inrush_time", quantity.TIME, 0.001, 10.0, 0.1)
    coolant = table.switch("coolant_switch")
    source = table.text("source", "")
    line = table.line
    table.end()
    return Load(
        name, amps, frozenset(when), duty, behaves == "electronics", inrush, inrush_s, coolant, source, line
    )  # fmt: skip


def _draw(table: Table) -> float:
    """Amps at 13.5 V, from amps, watts of electronics, or watts at stated volts of a resistance; times `count`."""
    value = table.take("draw")
    count = table.whole("count", 1, 50, 1)
    if value is None:
        table.missing("draw", '"8 A"')
        return 0.0
    parted = _AT_VOLTS.fullmatch(value) if isinstance(value, str) else None
    power = parted[1] if parted else value
    if not isinstance(power, str) or "W" not in power:
        return count * table.parsed("draw", value, quantity.CURRENT, 0.0001, 500.0, 0.0)
    watts = table.parsed("draw", power, quantity.POWER, 0.001, 6000.0, 0.0)
    if table.given.get("behaves") == "electronics":
        return count * watts / NOMINAL_V
    if not parted:
        table.note("draw", f'watts at how many volts? write "{power} at 12 V" as its label says, or the amps')
        return 0.0
    volts = table.parsed("draw", parted[2], quantity.VOLTAGE, 6.0, 16.0, NOMINAL_V)
    return count * watts * NOMINAL_V / volts**2  # a resistance: amps grow with the volts


def thresholds(table: Table) -> dict[str, int]:
    """What [thresholds] sets, by the rules of a settings file."""
    fields = FIELDS["thresholds"]
    found = {}
    for name in table.given:
        value = table.take(name)
        if name not in fields:
            table.note(name, f"no such threshold{nearest(name, list(fields))}")
        elif problem := problem_with(fields[name], value):
            table.note(name, problem.removeprefix(f"{name} is {shown(value)}: "))  # which the table says itself
        else:
            found[name] = value
    whole = defaults()
    whole["thresholds"].update(found)
    for problem in problems_in(whole):
        table.note(next((name for name in found if name in problem), ""), f"{problem}; move the two apart")
    return found
