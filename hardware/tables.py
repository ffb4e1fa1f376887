"""The tables of docs/hardware.md, made from hardware/values.toml; they stand there between markers."""

import math
import re

import boardpins
import bom
import circuit
import items as items_file
from valuetext import si

from underdash.frontend.constants import constants
from underdash.frontend.fullscale import WINDOW, full_scale
from underdash.frontend.parts import Values

_MARK = re.compile(r"(<!-- made from hardware/values\.toml: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)
BENCH_VOLTS = 12.0
SHORT_VOLTS, PARKED_VOLTS, REVERSE_VOLTS = 16.0, 12.6, 14.0
BATTERY_AH = 50.0


def fill(document: str, values: Values) -> str:
    """The document with every marked table made anew. ValueError for a marker that names no table, or a
    table without a marker."""
    found = set(_marked(document))
    if wrong := sorted(found ^ set(TABLES)):
        raise ValueError(f"docs/hardware.md: tables and markers differ: {', '.join(wrong)}")
    return _MARK.sub(lambda match: f"{match[1]}{TABLES[match[2]](values)}{match[3]}", document)


def _marked(document: str) -> list[str]:
    return [match[2] for match in _MARK.finditer(document)]


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def _parts(values: Values) -> str:
    rows = [row for row in bom.rows(values) if row[0].split()[0] in values.parts]
    return _table(
        ("designators", "pieces", "what", "value", "tolerance", "rating", "footprint", "option", "purpose"),
        [(row[0].replace(" ", ", "), str(row[1]), *row[2:]) for row in rows],
    )


def _items(values: Values) -> str:
    rows = [row for row in bom.rows(values) if row[0] not in values.parts and " " not in row[0]]
    return _table(
        ("name", "pieces", "what", "size", "insulation", "option", "purpose"),
        [(row[0], str(row[1]), row[2], row[3], row[5].removeprefix("insulation for "), row[7], row[8]) for row in rows],
    )


def _codes(values: Values) -> str:
    rest = tuple(option for option in values.fitted if option != "reference")
    rows = []
    for name, fitted in (("the board's own 3.3 V", rest), ("precision reference U2, with R25", (*rest, "reference"))):
        found = full_scale(values.with_options(fitted))
        for number, (typical, worst) in enumerate(zip(found.typical, found.codes, strict=True)):
            rows.append((
                name if number == 0 else "", f"{found.nominal:.2f} V ({found.lowest:.2f} to {found.highest:.2f})"
                if number == 0 else "", str(511 + 1024 * number), f"{typical[0]:.2f} to {typical[1]:.2f} V",
                f"{worst[0]:.2f} to {worst[1]:.2f} V",
                "" if number else f"{'clear' if found.clear else 'NOT CLEAR'}, by {found.gap * 1000:.0f} mV",
            ))  # fmt: skip
    low, high = WINDOW
    return _table(
        ("reference", "full scale (over tolerances)", "wide code", "typical, on the bus", "over tolerances",
         f"of {low:g} to {high:g} V"), rows,
    )  # fmt: skip


def _constants(values: Values) -> str:
    found = constants(values)
    steps = found.full_scale / 4096
    cutoff = 1 / (2 * math.pi * found.source_ohms * values.between("capacitor", "bus_mid", "ground")[0]["farads"])
    rows = [
        ("converter's reference", f"{found.reference:.3f} V"),
        ("full scale, bus", f"{found.full_scale:.3f} V"),
        ("one step of 12 bits, on the bus", f"{steps * 1000:.2f} mV"),
        ("resistance that the converter sees, without R5", si(found.source_ohms, "Ω")),
        ("low pass of the bus channel", f"{cutoff:.0f} Hz"),
        ("clamp: supply", f"{found.clamp_supply:.2f} V"),
        ("clamp: at the pin, per amp", f"{found.clamp_volts_per_amp * 1000:.2f} mV"),
        ("clamp: at the pin, no current", f"{found.clamp_pin_volts:.3f} V"),
        ("`BUS_ZERO`, `BUS_GAIN_NV`", f"{found.bus_zero}, {found.bus_gain_nv}"),
        ("`CLAMP_ZERO`, `CLAMP_GAIN_UA`", f"{found.clamp_zero}, {found.clamp_gain_ua}"),
    ]
    return _table(("what", "starting value"), rows)


_PLACES = {
    "fused": "J1.1", "limited": "band of D1", "held": "+ of C2", "rail": "+ of C3", "vsys": "pin 39", "v3": "pin 36",
    "sensed": "band of D4", "gp26": "pin 31", "clamp_supply": "J2.1", "clamp_out": "J2.3, no current", "gp27": "pin 32",
    "key_mid": "band of D11", "dim_mid": "band of D13", "shunt_mid": "r of U3",
}  # fmt: skip


def _volts(values: Values) -> str:
    readings = {reading.node: reading for reading in circuit.readings(values, BENCH_VOLTS)}
    rows = [
        (
            place,
            f"`{node}`",
            f"{readings[node].volts:.2f} V",
            f"{readings[node].low:.2f} to {readings[node].high:.2f} V",
        )
        for node, place in _PLACES.items()
        if node in readings
    ]
    amps = readings["amps"]
    rows.append(
        ("supply's meter", "current", si(amps.volts, "A"), f"{amps.low * 1000:.0f} to {amps.high * 1000:.0f} mA")
    )
    return _table(("measure at", "node", f"expect, with {BENCH_VOLTS:g} V", "tolerances allow"), rows)


def _ohms(values: Values) -> str:
    socketed = ("gp26", "gp27", "gp18", "gp19", "gp15", "gp16", "vsys")
    pin = {name: f"pin {boardpins.pin(name)} of A1's socket" for name in socketed}
    pairs = [
        ("J1.1", "fused", "band of D1", "limited"), ("J1.3", "fused", "J1.4", "ground"),
        (pin["gp26"], "gp26", "J1.4", "ground"), (pin["vsys"], "vsys", "J2.1", "clamp_supply"),
        ("J2.3", "clamp_out", "J2.2", "ground"), (pin["gp27"], "gp27", "J2.2", "ground"),
        ("J3.1", "ignition", "J1.2", "ground"), ("J3.2", "panel_lamps", "J1.2", "ground"),
        (pin["gp18"], "gp18", "J1.2", "ground"), (pin["gp19"], "gp19", "J1.2", "ground"),
        ("J4.1", "button", pin["gp15"], "gp15"), ("J4.3", "lamp", pin["gp16"], "gp16"),
        ("J5.4", "v3", "J5.1", "ground"),
    ]  # fmt: skip
    used = {node for part in values.present() if part.kind == "resistor" for node in part.nodes} | {"ground"}
    rows = [
        (a, b, si(circuit.ohms(values, node_a, node_b), "Ω"))
        for a, node_a, b, node_b in pairs
        if node_a in used and node_b in used
    ]
    return _table(("between", "and", "expect"), rows)


def lead_amps(values: Values, items: dict[str, items_file.Item]) -> dict[str, float]:
    """What each single lead carries of the board's current [A]. The ground leads from the battery are joined on the
    board: they share it in inverse proportion to their resistance."""
    found = circuit.nodes(values, BENCH_VOLTS)
    divider = circuit.ohms(values, "fused", "ground")
    sense = found["fused"] / divider
    wires = [item for item in items.values() if item.kind == "wire"]
    grounds = [item for item in wires if item.nodes == ("ground",) and "battery -" in item.ends]
    whole = sum(1 / item.ohms for item in grounds)
    amps = {item.ref: found["amps"] / item.ohms / whole for item in grounds}
    for item in wires:
        if item.nodes == ("battery",) and "F1" in item.ends:
            amps[item.ref] = found["amps"]
        elif item.nodes == ("fused",):
            amps[item.ref] = sense if item.twisted else found["amps"] - sense
    return amps


def _leads(values: Values) -> str:
    items = items_file.load(values)
    amps = lead_amps(values, items)
    rows = []
    for item in items.values():
        if item.awg:
            carried = f"{amps[item.ref] * 1000:.0f} mA" if item.ref in amps else "little"
            drop = f"{amps[item.ref] * item.ohms * 1000:.1f} mV" if item.ref in amps else "next to none"
            ohms = f"{item.ohms * 1000:.0f} mΩ"
            rows.append((item.ref, f"AWG {item.awg}", f"{item.metres:g} m", ohms, carried, drop))
    return _table(("lead", "size", "length", "resistance of a conductor", "carries", "drop"), rows)


def _faults(values: Values) -> str:
    rows = []
    for name, volts, key, current in (
        ("D1 fails short, charging", SHORT_VOLTS, "shorted", "amps"),
        ("D1 fails short, parked", PARKED_VOLTS, "shorted", "amps"),
        ("battery reversed", REVERSE_VOLTS, "reverse", "reversed"),
    ):
        found = circuit.faults(values, volts, volts)
        opens = "opens" if found[current] > values["F1"]["amps"] else "does not open"
        # While the alternator charges, nothing is taken; a battery that is the wrong way round is seen soon.
        hours = f"{0.25 * BATTERY_AH / found[current]:.0f} h" if volts == PARKED_VOLTS else ""
        rows.append((
            f"{name}, {volts:g} V", f"{found[key]:.1f} W", f"{found[f'{key} kelvin']:.0f} K",
            f"{found[current]:.2f} A: F1 {opens}", hours,
        ))  # fmt: skip
    rating = values["R1"]["watts"]
    return _table(
        ("fault", f"R1 ({rating:g} W), at the low end of its tolerance", "R1's surface above the air", "fuse",
         f"a quarter of a {BATTERY_AH:g} Ah battery is gone in"), rows,
    )  # fmt: skip


def _leakage(values: Values) -> str:
    rows = [(f"{celsius} C", f"{circuit.leakage_volts(values, celsius) * 1000:.1f} mV") for celsius in (0, 25, 50)]
    return _table(("at D5", "the bus reads high by, with the figures of its class"), rows)


TABLES = {
    "parts": _parts, "items": _items, "codes": _codes, "constants": _constants, "volts": _volts, "ohms": _ohms,
    "leads": _leads, "faults": _faults, "leakage": _leakage,
}  # fmt: skip
