"""Numbers with a decimal point or a decimal comma, and which of them a file has."""

import math
import re
from collections.abc import Callable, Iterable

# What recorders write where they measured nothing.
NOTHING = frozenset(("", "nan", "null", "none", "n/a", "na", "-", "--", "---"))

_POINT_GROUPED = re.compile(r"[+-]?\d{1,3}(,\d{3})+\.\d*")
_COMMA_GROUPED = re.compile(r"[+-]?\d{1,3}(\.\d{3})+,\d*")
_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?|[+-]?\d+,")
_POINT = re.compile(r"[+-]?(?:\d+\.\d*|\.\d+)(?:[eE][+-]?\d+)?")
_WHOLE = re.compile(r"[+-]?\d+(?:[eE][+-]?\d+)?")
_PERHAPS_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")


def with_point(text: str) -> float:
    """The number that `text` is, nan for one of NOTHING; ValueError if it is none with a decimal point."""
    try:
        if "_" in text:  # Python's own way to group digits
            raise ValueError(text)
        return float(text)
    except ValueError:
        text = text.strip().replace("\u2212", "-")
        if text.lower() in NOTHING:
            return math.nan
        if _POINT_GROUPED.fullmatch(text):
            return float(text.replace(",", ""))
        if "_" in text:
            raise
        return float(text)


def with_comma(text: str) -> float:
    """The same with a decimal comma."""
    text = text.strip().replace("\u2212", "-")
    if "." in text and not _COMMA_GROUPED.fullmatch(text):
        raise ValueError(text)
    return with_point(text.replace(".", "").replace(",", "."))


PARSERS: dict[str, Callable[[str], float]] = {"point": with_point, "comma": with_comma}


def is_number(text: str) -> bool:
    """Whether it is a number with either sign."""
    text = text.strip().replace("\u2212", "-")
    return any(form.fullmatch(text) for form in (_WHOLE, _POINT, _COMMA, _POINT_GROUPED, _COMMA_GROUPED))


def decimal_of(cells: Iterable[tuple[str, float]]) -> tuple[str | None, str]:
    """("point" or "comma", how it is known), or (None, why it is open).

    cells: each with the largest number that its quantity allows, so that "12,382" V cannot be twelve thousand.
    """
    point = comma = perhaps = ""
    for cell, largest in cells:
        text = cell.strip().replace("\u2212", "-")
        if _PERHAPS_GROUPED.fullmatch(text):
            if abs(float(text.replace(",", ""))) > largest:
                comma = comma or text
            perhaps = perhaps or text
        elif _COMMA.fullmatch(text) or _COMMA_GROUPED.fullmatch(text):
            comma = comma or text
        elif _POINT.fullmatch(text) or _POINT_GROUPED.fullmatch(text):
            point = point or text
        if point and comma:
            return None, f"both '{point}' and '{comma}' are among its numbers"
    if comma:
        return "comma", f"'{comma}'"
    if perhaps and point:
        return None, f"both '{point}' and '{perhaps}' are among its numbers"
    if perhaps:
        return None, f"'{perhaps}' may be {perhaps.replace(',', '.')} or {perhaps.replace(',', '')}"
    return "point", f"'{point}'" if point else "no number in the first rows has a fraction"
