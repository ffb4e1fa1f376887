"""A crank, and the time to charging after it, in words: the same on the terminal and on the pages."""

from typing import Any

_SLOW_S = 1.5  # rows further apart than this tell no tenths of a crank (chosen here)


def is_slow(report: dict[str, Any]) -> bool:
    """Whether a report's rows are too far apart for the length of a crank."""
    return bool(report["period_s"] > _SLOW_S)


def lasted(crank: dict[str, Any], slow: bool) -> str:
    """How long a crank was; of slow rows only the most that it can have been."""
    return f"at most {crank['length_s']:.0f} s" if slow else f"{crank['length_s']:.1f} s"


def beyond_the_clamp(crank: dict[str, Any]) -> str:
    """Of a crank at the end of the clamp's range, what that means; nothing of another."""
    if not crank["clipped"]:
        return ""
    return f"more than {abs(crank['most_amps']):.0f} A, where the clamp ends: it tells no resistance"


def charging_after(drive: dict[str, Any]) -> str:
    """The one time to charging, where it is known, and what the rows' length leaves open of it."""
    after_s, within_s = drive["charging_after_s"], drive["charging_within_s"]
    digits = 0 if within_s >= 1.0 else 1
    if after_s < within_s:
        return f"within {within_s:.{digits}f} s of the crank's end"
    return f"{after_s:.{digits}f} s after the crank's end, give or take {within_s:.{digits}f} s"
