"""What every page shares: its template's surroundings, and how a number is written on it."""

from collections.abc import Callable
from math import isnan
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Template


def number(value: float | None, digits: int, unit: str, missing: str = "not measured") -> str:
    """A value with its unit, or words where there is none."""
    if value is None or isnan(value):
        return missing
    return f"{value:.{digits}f} {unit}".rstrip().replace("-", "\u2212")


def count(value: int, one: str, many: str | None = None) -> str:
    """How many of something, in words that agree: `1 drive`, `2 drives`."""
    return f"{value:,} {one if value == 1 else many or one + 's'}"


def template(name: str, **filters: Callable[..., Any]) -> Template:
    """The template at `name` below the package, with `number`, `count` and `filters`; what is undefined is an error."""
    env = Environment(
        loader=PackageLoader("underdash", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters.update(number=number, count=count, **filters)
    return env.get_template(name)
