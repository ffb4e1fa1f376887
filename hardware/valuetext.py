"""A part's value, tolerance and rating as a drawing or a table says them."""

from underdash.frontend.parts import Part

_PREFIXES = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))

NAMES = {
    "fuse": "blade fuse", "resistor": "resistor", "capacitor": "capacitor", "tvs": "suppressor, one-way",
    "schottky": "Schottky diode", "diode": "silicon diode", "led": "light-emitting diode",
    "regulator": "low-drop regulator", "reference": "shunt reference",
    "shunt": "adjustable shunt", "board": "RP2040 board",
    "clamp": "Hall clamp sensor", "npn": "NPN transistor", "buzzer": "buzzer", "display": "display module",
    "switch": "push button",
}  # fmt: skip


def si(number: float, unit: str) -> str:
    """A number with its prefix: 8060, Ω -> 8.06 kΩ."""
    for size, prefix in _PREFIXES:
        if abs(number) >= size * 0.9999:
            # Electrolytics are written in whole microfarads.
            if unit == "F" and size == 1e-3:
                continue
            return f"{number / size:.4g} {prefix}{unit}"
    return f"{number:.4g} {unit}"


def percent(part: Part) -> str:
    return f"{part['tolerance'] * 100:.3g} %" if part.get("tolerance") else ""


def value(part: Part) -> str:
    """The figure that one asks for in a shop."""
    match part.kind:
        case "resistor":
            return si(part["ohms"], "Ω")
        case "capacitor":
            return si(part["farads"], "F")
        case "fuse":
            return si(part["amps"], "A")
        case "tvs":
            return f"stand-off {part['standoff_volts']:g} V"
        case "regulator" | "reference":
            return si(part["output_volts"], "V")
        case "shunt":
            return f"reference {part['reference_volts']:g} V"
        case "clamp":
            return f"{si(part['volts_per_amp'], 'V')}/A at {part['supply_volts']:g} V, ±{part['range_amps']:g} A"
        case "buzzer":
            return si(part["volts"], "V")
        case "board":
            return f"{part['minimum_volts']:g} to {part['maximum_volts']:g} V in"
        case _:
            return ""


def rating(part: Part) -> str:
    """What it must stand."""
    match part.kind:
        case "resistor":
            energy = f", {part['joules']:g} J" if part.get("joules") else ""
            return f"{part['watts']:g} W{energy}, {part['volts']:g} V"
        case "capacitor" | "regulator":
            return f"{part['volts']:g} V"
        case "tvs":
            low, high = (part["breakdown_volts"] * (1 + sign * part["tolerance"]) for sign in (-1, 1))
            return f"{si(part['pulse_watts'], 'W')} 10/1000 µs, breakdown {low:.1f} to {high:.1f} V"
        case "schottky" | "diode" | "npn":
            return f"{part['volts']:g} V, {si(part['amps'], 'A')}"
        case "led" | "shunt":
            return si(part["amps"], "A")
        case _:
            return ""


def short(part: Part) -> str:
    """Value for the drawing, one line."""
    match part.kind:
        case "resistor":
            power = f" {part['watts']:g} W" if part["watts"] >= 1 else ""
            return f"{value(part)} {percent(part)}{power}"
        case "capacitor":
            return f"{value(part)} {part['volts']:g} V"
        case "tvs":
            return f"{part['standoff_volts']:g} V {si(part['pulse_watts'], 'W')}"
        case "schottky" | "diode" | "npn":
            return f"{part['volts']:g} V {si(part['amps'], 'A')}"
        case "reference":
            return f"{value(part)} {percent(part)}"
        case "shunt":
            return f"{part['reference_volts']:g} V {percent(part)}"
        case "led":
            return si(part["amps"], "A")
        case "clamp":
            return f"{si(part['volts_per_amp'], 'V')}/A, ±{part['range_amps']:g} A"
        case _:
            return value(part)
