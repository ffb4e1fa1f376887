"""Quantities as people write them, with their unit: "2.4 m", "8 A", "105 C". A number alone is refused."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

_WRITTEN = re.compile(r"\s*([-+−]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?)\s*(\S.*?)?\s*")


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: the units it may be written in, each as its size in the SI unit."""

    name: str
    units: Mapping[str, float]
    refused: Mapping[str, str]
    """Units that could mean two things, and what to write instead."""
    example: str


_FEET = "feet, minutes? write ft"
_INCHES = "inches, seconds? write in"
LENGTH = Kind(
    "length", {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254}, {"'": _FEET, '"': _INCHES}, "2.4 m"
)
CURRENT = Kind(
    "current", {"A": 1.0, "mA": 1e-3}, {"Ah": "that is a charge; write A", "a": "write A", "amps": "write A"}, "8 A"
)
VOLTAGE = Kind("voltage", {"V": 1.0, "mV": 1e-3}, {"v": "write V"}, "14.4 V")
POWER = Kind("power", {"W": 1.0, "kW": 1e3}, {"w": "write W", "VA": "write W"}, "55 W")
RESISTANCE = Kind(
    "resistance",
    {"ohm": 1.0, "\u03a9": 1.0, "mohm": 1e-3, "m\u03a9": 1e-3},
    {
        "Mohm": "millionths or millions? write mohm for thousandths",
        "m": "milliohm or metre? write mohm",
        "R": "write ohm",
    },
    "2.5 mohm",
)
SLOPE = Kind("slope", {"V/K": 1.0, "mV/K": 1e-3, "V/C": 1.0, "mV/C": 1e-3}, {}, "-10 mV/K")
SPEED = Kind("speed", {"rpm": 1.0}, {"rps": "write rpm", "Hz": "write rpm"}, "800 rpm")
CHARGE = Kind(
    "capacity",
    {"Ah": 1.0},
    {
        "A": "that is a current; write Ah",
        "mAh": "write Ah",
        "min": "reserve minutes are not Ah; look for Ah on the label",
    },
    "60 Ah",
)
TIME = Kind("time", {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0}, {"m": "minutes or metres? write min"}, "30 s")
TEMPERATURE = Kind("temperature", {"C": 1.0, "°C": 1.0, "F": 5.0 / 9.0, "°F": 5.0 / 9.0}, {"K": "write C"}, "50 C")


def parse(value: object, kind: Kind) -> float:
    """The quantity in its SI unit; temperatures in [C], capacity in [Ah], speed in [rev/min].

    ValueError says what is wrong with it and what to write; its text follows the value.
    """
    known = ", ".join(unit for unit in kind.units if unit.isascii())
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError(f'must be a {kind.name} with its unit; write "{kind.example}"')
    if not isinstance(value, str):
        raise ValueError(f'has no unit; write it in quotes with one of {known}, such as "{kind.example}"')
    written = _WRITTEN.fullmatch(value)
    if not written:
        raise ValueError(f'must be a number and a unit ({known}); write "{kind.example}"')
    number, unit = float(written[1].replace("−", "-")), (written[2] or "").replace("\u2126", "\u03a9")
    if not unit:
        raise ValueError(f'has no unit; write one of {known}, such as "{kind.example}"')
    if unit in kind.refused:
        raise ValueError(f"is not clear: {kind.refused[unit]}")
    if unit not in kind.units:
        raise ValueError(
            f'has the unit {unit}, which is no {kind.name} here; write one of {known}, such as "{kind.example}"'
        )
    if not abs(number) < 1e9:
        raise ValueError("is too large for anything in a car")
    if unit.endswith("F"):
        return (number - 32.0) * 5.0 / 9.0
    return number * kind.units[unit]
