"""What every page shares: its template's surroundings, and how a number is written on it."""

from collections.abc import Callable
from functools import cache
from math import isnan
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Template


def number(value: float | None, digits: int, unit: str, missing: str = "not measured") -> str:
    """A value with its unit, or words where there is none."""
    if value is None or isnan(value):
        return missing
    return f"{signed(value, digits)} {unit}".rstrip()


def signed(value: float, digits: int) -> str:
    """A value as it is printed, with a true minus; what rounds to nothing has no sign."""
    told = f"{value:.{digits}f}"
    return told.lstrip("-") if float(told) == 0.0 else told.replace("-", "\u2212")


def span(low: float, high: float, digits: int, unit: str) -> str:
    """A range with its unit; two ends that are printed alike are one value."""
    ends = dict.fromkeys((signed(low, digits), signed(high, digits)))
    return f"{' to '.join(ends)} {unit}".rstrip()


def count(value: int, one: str, many: str | None = None) -> str:
    """How many of something, in words that agree: `1 drive`, `2 drives`."""
    return f"{value:,} {one if value == 1 else many or one + 's'}"


def template(name: str, **filters: Callable[..., Any]) -> Template:
    """The template at `name` below the package, with `number`, `count` and `filters`; what is undefined is an error."""
    return _environment(tuple(sorted(filters.items()))).get_template(name)


@cache
def _environment(filters: tuple[tuple[str, Callable[..., Any]], ...]) -> Environment:
    """Made once for the same filters, so that a season's pages compile their templates once."""
    env = Environment(
        loader=PackageLoader("underdash", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters.update(number=number, count=count, **dict(filters))
    return env
