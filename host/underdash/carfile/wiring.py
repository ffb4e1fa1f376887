"""Cables and ammeter of a car file."""

from typing import Any

from underdash.carfile import quantity
from underdash.carfile.model import BODY, ENGINE, GROUND, GROUND_SIDE, SUPPLY_SIDE, Ammeter, Cable
from underdash.carfile.table import Notes, Table, tables
from underdash.wire import gauge
from underdash.wire.gauge import Gauge

# Air around a cable in words. The engine space's 50 C is note 1 of 33 CFR 183.425 Table 5, the table's own is 30 C.
AMBIENTS = {"engine space": 50.0, "cabin": 30.0}
# Ratings [C] of insulation by its type. SAE J1128: GPT 80 on one published page, 85 on another, so 80; cross-linked
# types 125. JASO D611: 80, 100, 120. From secondary pages (docs/cables.md).
INSULATIONS = {
    "GPT": 80.0, "TXL": 125.0, "GXL": 125.0, "SXL": 125.0,
    "AV": 80.0, "AVS": 80.0, "AVSS": 80.0, "AVX": 100.0, "AEX": 120.0,
}  # fmt: skip
_GROUND_PLACES = (ENGINE, GROUND, BODY)


def cables(notes: Notes, given: Any) -> tuple[Cable, ...]:
    """Every [[cable]]."""
    return tuple(_cable(table) for table in tables(notes, ("cable",), given, "[[cable]]"))


def _cable(table: Table) -> Cable:
    name = table.name_it()
    start, end = table.text("from"), table.text("to")
    if start and start == end:
        table.note("to", "must be another place than from")
    grounded = start in _GROUND_PLACES or end in _GROUND_PLACES
    side = table.choice("side", (SUPPLY_SIDE, GROUND_SIDE), GROUND_SIDE if grounded else SUPPLY_SIDE)
    stated_ohm: float | None = None
    size: Gauge | None = None
    length_m = insulation_c = 0.0
    if table.has("resistance"):
        stated_ohm = table.quantity("resistance", quantity.RESISTANCE, 1e-6, 10.0)
        for name_ in ("length", "gauge", "insulation"):
            table.take(name_)
            if table.has(name_):
                table.note(name_, "stands beside resistance, which is the whole of it: take one of the two out")
    else:
        length_m = table.quantity("length", quantity.LENGTH, 0.01, 30.0)
        size = _gauge(table)
        insulation_c = _insulation(table)
    ambient_c = _ambient(table)
    if size and insulation_c and insulation_c <= ambient_c:
        table.note(
            "insulation",
            f"is rated no hotter than the air around it, {ambient_c:g} C: it may carry nothing; "
            "write a higher class, or lead the cable where it is cooler",
        )
    carries, stated_a = _carries(table, needed=stated_ohm is None)
    cable = Cable(
        name=name,
        start=start,
        end=end,
        side=side,
        carries=carries,
        stated_a=stated_a,
        length_m=length_m,
        gauge=size,
        insulation_c=insulation_c,
        ambient_c=ambient_c,
        bundle=table.whole("bundle", 1, 100, 1),
        joints_ohm=table.quantity("joints", quantity.RESISTANCE, 0.0, 1.0, 0.0),
        stated_ohm=stated_ohm,
        drop_limit_v=table.quantity("drop_limit", quantity.VOLTAGE, 0.001, 5.0, 0.0) or None,
        fuse_a=table.quantity("fuse", quantity.CURRENT, 0.5, 1000.0, 0.0) or None,
        added=table.switch("added"),
        line=table.line,
    )
    table.end()
    return cable


def _gauge(table: Table) -> Gauge | None:
    value = table.take("gauge")
    if value is None:
        table.missing("gauge", '"4 AWG"')
        return None
    if not isinstance(value, str):
        table.note("gauge", f'AWG, SAE or square millimetres? write "{value} AWG", "{value} SAE" or "{value} mm2"')
        return None
    try:
        return gauge.parse(value)
    except ValueError as problem:
        table.note("gauge", str(problem))
        return None


def _insulation(table: Table) -> float:
    value = table.take("insulation")
    if value is None:
        table.missing("insulation", '"105 C"')
        return 0.0
    if isinstance(value, str) and value.strip() in INSULATIONS:
        return INSULATIONS[value.strip()]
    if isinstance(value, str) and value.strip().isalpha():
        table.note("insulation", f'no such type here; there are {", ".join(INSULATIONS)}, or write its rating: "105 C"')
        return 0.0
    return table.parsed("insulation", value, quantity.TEMPERATURE, 60.0, 260.0, 0.0)


def _ambient(table: Table) -> float:
    value = table.take("ambient")
    if value is None:
        return AMBIENTS["cabin"]
    if isinstance(value, str) and value.strip() in AMBIENTS:
        return AMBIENTS[value.strip()]
    if isinstance(value, str) and not any(letter.isdigit() for letter in value):
        table.note("ambient", f'no such place; write {" or ".join(AMBIENTS)}, or a temperature: "60 C"')
        return AMBIENTS["cabin"]
    return table.parsed("ambient", value, quantity.TEMPERATURE, -40.0, 200.0, AMBIENTS["cabin"])


def _carries(table: Table, *, needed: bool) -> tuple[tuple[str, ...], float | None]:
    """What flows: words, or amps that are stated."""
    value = table.given.get("carries")
    if value is None and needed:
        table.missing("carries", '"charge", "loads", "crank", "ammeter loop", names of loads, or "20 A"')
    if isinstance(value, int | float) or (isinstance(value, str) and value.strip()[:1].isdigit()):
        table.take("carries")
        return (), table.parsed("carries", value, quantity.CURRENT, 0.0, 1000.0, 0.0)
    return table.words("carries"), None


def ammeter(table: Table) -> Ammeter:
    """The dash ammeter."""
    full_scale_a = table.quantity("full_scale", quantity.CURRENT, 5.0, 200.0)
    found = Ammeter(
        start=table.text("from"),
        end=table.text("to"),
        resistance_ohm=table.quantity("resistance", quantity.RESISTANCE, 1e-6, 0.1),
        full_scale_a=full_scale_a,
        smallest_a=table.quantity("smallest", quantity.CURRENT, 0.1, 50.0, full_scale_a / 20.0),
        line=table.line,
    )
    if found.start and found.start == found.end:
        table.note("to", "must be another place than from")
    table.end()
    return found
