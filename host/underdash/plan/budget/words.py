"""Amps and names as the budget's sentences say them."""

from collections.abc import Iterable

from underdash.carfile.model import Load

NEXT_TO_NOTHING_A = 0.05


def amps(value: float) -> str:
    """`21 A`; below ten with a decimal, `2.5 A`."""
    return f"{value:.0f} A" if value >= 9.95 else f"{value:.1f} A"


def told_apart(one: float, other: float) -> tuple[str, str]:
    """Both amps with as many digits as it takes to tell them apart: `75.0 A` and `75.2 A`."""
    first, second = amps(one), amps(other)
    digits = 1
    while first == second and one != other and digits <= 3:
        first, second = f"{one:.{digits}f} A", f"{other:.{digits}f} A"
        digits += 1
    return first, second


def shares_apart(one: float, other: float) -> tuple[str, str]:
    """Both shares as per cent, told apart in the same way."""
    digits = 0
    while f"{one:.{digits}%}" == f"{other:.{digits}%}" and one != other and digits < 3:
        digits += 1
    return f"{one:.{digits}%}", f"{other:.{digits}%}"


def switched(loads: Iterable[Load]) -> tuple[str, str] | None:
    """(what the coolant's switch turns on, `it` or `them`): `fan`, or `fans` of several; None without any."""
    names = [load.name for load in loads if load.coolant_switch]
    if not names:
        return None
    if len(names) > 1:
        return "fans", "them"
    return names[0], "them" if names[0].endswith("s") and not names[0].endswith("ss") else "it"
