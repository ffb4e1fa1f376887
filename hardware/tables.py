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
SHORT_VOLTS, REVERSE_VOLTS = 16.0, 14.0


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


def _leads(values: Values) -> str:
    amps = circuit.nodes(values, BENCH_VOLTS)["amps"]
    rows = []
    for item in items_file.load(values).values():
        if item.awg:
            carried = amps if item.ref in ("W1", "W2", "W3") else 0.0
            drop = f"{carried * item.ohms * 1000:.1f} mV" if carried else "next to none"
            rows.append((item.ref, f"AWG {item.awg}", f"{item.metres:g} m", f"{item.ohms * 1000:.0f} mΩ", drop))
    return _table(("lead", "size", "length", "resistance of a conductor", f"drop at {amps * 1000:.0f} mA"), rows)


def _faults(values: Values) -> str:
    found = circuit.faults(values, SHORT_VOLTS, REVERSE_VOLTS)
    opens = "opens" if found["amps"] > values["F1"]["amps"] else "does not open"
    rows = [
        (f"D1 fails short, {SHORT_VOLTS:g} V", f"{found['shorted']:.1f} W", f"{found['amps']:.2f} A: F1 {opens}"),
        (
            f"battery reversed, {REVERSE_VOLTS:g} V",
            f"{found['reverse']:.1f} W",
            f"{found['reversed']:.2f} A: F1 {opens}",
        ),
    ]
    return _table(("fault", f"R1 ({found['rating']:g} W), at the low end of its tolerance", "fuse"), rows)


def _leakage(values: Values) -> str:
    rows = [(f"{celsius} C", f"{circuit.leakage_volts(values, celsius) * 1000:.1f} mV") for celsius in (0, 25, 50)]
    return _table(("at D5", "the bus reads high by, with the figures of its class"), rows)


TABLES = {
    "parts": _parts, "items": _items, "codes": _codes, "constants": _constants, "volts": _volts, "ohms": _ohms,
    "leads": _leads, "faults": _faults, "leakage": _leakage,
}  # fmt: skip
