"""What a quantity did, in words: from what to what, since when, and what supports it."""

from underdash.review.season import quantities as q
from underdash.review.season.quantities import Quantity
from underdash.review.words import figure

Found = dict[str, Quantity]


def moves(found: Found, *kinds: q.Kind) -> str:
    """From what to what each of these quantities went, and since when; of those that moved."""
    return "; ".join(_move(found[kind.name]) for kind in kinds if kind.name in found and found[kind.name].moved != 0.0)


def _move(one: Quantity) -> str:
    if one.change is not None:
        before, after = number(one, one.change.before), number(one, one.change.after)
        return f"{one.kind.name} from {before} to {after} {unit(one)} since {_when(one, one.change.at)}"
    before, after = number(one, one.level), number(one, one.now)
    return f"{one.kind.name} from {before} to {after} {unit(one)} between {_when(one, 0)} and {_when(one, -1)}"


def tells(one: Quantity) -> str:
    """What supports a quantity's change, or that it kept: levels, how many values, how sure."""
    name, count = one.kind.name, len(one.values)
    if one.change is not None:
        at = one.change.at
        which = ", upper quartile," if one.bounds else ""
        return (
            f"{name}{which} {number(one, one.change.before)} {unit(one)} in {at} values before {_when(one, at)}, "
            f"{number(one, one.change.after)} {unit(one)} in {count - at} since (confidence "
            f"{100 * min(one.confidence, 0.9999):.2f} %)"
        )
    line = (
        f"{name} {number(one, one.level)} {unit(one)} at first, {number(one, one.now)} {unit(one)} now, {count} values"
    )
    if one.trend is not None and not one.bounds:
        slope, low, high = (f"{_scaled(one, value):+.{_digits(one) + 1}f}" for value in one.trend.line)
        line += f", {slope} {unit(one)} a {one.per} ({low} to {high})"
    return line


def evidence(found: Found, *kinds: q.Kind) -> str:
    """What supports or contradicts, of those that are known."""
    return "; ".join(tells(found[kind.name]) for kind in kinds if kind.name in found)


def number(one: Quantity, value: float) -> str:
    """A value of this quantity in `unit`, to what it is worth."""
    return figure(_scaled(one, value), _digits(one))


def unit(one: Quantity) -> str:
    """The unit in which `number` tells."""
    return "mohm" if one.kind.unit == "ohm" else one.kind.unit


def _scaled(one: Quantity, value: float) -> float:
    return 1000.0 * value if one.kind.unit == "ohm" else value


def _digits(one: Quantity) -> int:
    return 1 if one.kind.unit == "ohm" else one.kind.decimals - 1


def _when(one: Quantity, at: int) -> str:
    date = one.dates[at]
    return f"drive {one.drives[at]}" + (f", {date[:10]}" if date else "")
