"""The meter's accuracy class, as its manual gives it: percent of the reading, plus digits at a resolution."""

import re
from dataclasses import dataclass
from math import sqrt

from underdash.calibrate.points import decimals
from underdash.problems import UsageError

SYNTAX = '"PERCENT% + DIGITS digits at RESOLUTION", as in "0.1% + 2 digits at 0.001"'
_NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
_CLASS = re.compile(
    rf"\s*{_NUMBER}\s*%(?:\s*\+\s*{_NUMBER}\s*(?:digits?|counts?|d))?\s*(?:at|@)\s*{_NUMBER}\s*(?:V|A)?\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Meter:
    """A class. percent of the reading [%]; digits of the last place; resolution: one digit, [V] or [A]."""

    percent: float
    digits: float
    resolution: float

    def limit(self, value: float) -> float:
        """The largest error that the class allows at a reading, in the reading's unit."""
        return abs(value) * self.percent / 100 + self.digits * self.resolution

    def standard(self, value: float) -> float:
        """Its standard uncertainty: rectangular within the limit (JCGM 100:2008, 4.3.7, from memory)."""
        return self.limit(value) / sqrt(3)

    @property
    def decimals(self) -> int:
        """How many digits its display has behind the decimal point."""
        return len(f"{self.resolution:.6f}".rstrip("0").partition(".")[2])

    def too_few(self, text: str) -> str:
        """What to say of a reading that was typed with fewer digits than the meter shows; else empty."""
        typed = decimals(text)
        if typed >= self.decimals:
            return ""
        return (
            f"{text.strip()} has {typed} decimals, the meter shows {self.decimals} (one digit is {self.resolution:g})"
        )

    def __str__(self) -> str:
        return f"{self.percent:g} % + {self.digits:g} digits at {self.resolution:g}"


def parse(text: str) -> Meter:
    """A class from its text, see SYNTAX. UsageError that names what is wrong."""
    found = _CLASS.fullmatch(text)
    if not found:
        raise UsageError(f"meter class {text!r}: write {SYNTAX}; the meter's manual has it")
    percent, digits, resolution = (float((part or "0").replace(",", ".")) for part in found.groups())
    if percent == 0 and digits == 0:
        raise UsageError(f"meter class {text!r}: no meter is without error; take the class from its manual")
    if percent > 5:
        raise UsageError(
            f"meter class {text!r}: {percent:g} % is above 5 %: too coarse to calibrate by; use another meter"
        )
    if not 1e-6 <= resolution <= 0.1:
        raise UsageError(
            f"meter class {text!r}: a resolution of {resolution:g} is not from 0.000001 to 0.1; "
            "give what one step of the last digit is worth, in volts or amps"
        )
    return Meter(percent, digits, resolution)
