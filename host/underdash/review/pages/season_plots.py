"""A quantity over the season as a picture: a point a drive, the trend and its confidence, a change if one is called.

Nothing rests on colour alone: a point is a dot, the trend a solid line in a band, a change a dashed upright with its
words.
"""

import io
from collections.abc import Callable
from datetime import datetime
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, date2num, num2date
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from underdash.review.clock import month
from underdash.review.pages.files import file_name
from underdash.svg import BLUE, GREY, INK, ORANGE, STYLE, inline

_WEEK_DAYS, _MONTH_DAYS, _YEAR_DAYS = 7.0, 30.4375, 300.0
_SHORT: Any = {**STYLE, "font.size": 7.5}

Floats = NDArray[np.float64]


def is_dated(quantity: dict[str, Any]) -> bool:
    """Whether each of its points has a date; else the axis counts drives, and says that they are undated."""
    points = quantity["points"]
    return bool(points) and all(point["date"] for point in points)


def shown(quantity: dict[str, Any]) -> dict[str, Any]:
    """The quantity in the unit that it is shown in: a resistance in milliohms."""
    if quantity["unit"] != "ohm":
        return quantity

    def more(of: dict[str, Any], *names: str) -> dict[str, Any]:
        return {**of, **{name: 1000.0 * of[name] for name in names if of[name] is not None}}

    change = quantity["change"]
    return {
        **more(quantity, "slope", "slope_low", "slope_high"),
        "unit": "m\u03a9",
        "points": [more(point, "value") for point in quantity["points"]],
        "change": change and more(change, "before", "after"),
    }


def quantity_svg(quantity: dict[str, Any], index: int, href: Callable[[int], str] = file_name) -> str:
    """One quantity as an inline `<svg>`; each point leads to where `href` says that its drive is. index keeps its ids
    apart."""
    with rc_context(_SHORT):
        figure = Figure(figsize=(4.3, 1.85))
        axes = figure.subplots()
        figure.subplots_adjust(left=0.14, right=0.955, top=0.95, bottom=0.15 if is_dated(quantity) else 0.24)
        _draw(axes, quantity, href)
    return inline(figure, f"q{index}-", f"{quantity['name']} over the drives")


def season_png(quantities: list[dict[str, Any]]) -> bytes:
    """All quantities in one picture, on white."""
    lines = max(1, (len(quantities) + 1) // 2)
    with rc_context(_SHORT):
        figure = Figure(figsize=(10.4, 2.6 * lines), layout="constrained")
        panels = figure.subplots(lines, 2, squeeze=False).ravel()
        for axes, quantity in zip(panels, map(shown, quantities), strict=False):
            _draw(axes, quantity)
            axes.set_title(quantity["name"].capitalize(), fontsize=9, loc="left")
        for axes in panels[len(quantities) :]:
            axes.set_axis_off()
        if not quantities:
            panels[0].text(0, 0.5, "No trends: they are drawn from three drives on.")
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=150, facecolor="white", pil_kwargs={"compress_level": 3})
    return out.getvalue()


def _place(point: dict[str, Any], dates: bool) -> float:
    return float(date2num(datetime.fromisoformat(point["date"]))) if dates else float(point["drive"])


def trend(quantity: dict[str, Any]) -> tuple[Floats, Floats, Floats, Floats] | None:
    """(x, line, least, most) of the trend at the ends and the middle: the slope, through the medians of places and
    values, and what its 95 % interval allows about that point. None where there is no slope."""
    dates = is_dated(quantity)
    points = [point for point in quantity["points"] if point["value"] is not None]
    if quantity["slope"] is None or len(points) < 2:
        return None
    per = _MONTH_DAYS if dates and quantity["per"] == "month" else 1.0
    x = np.array([_place(point, dates) for point in points])
    middle = float(np.median(x))
    height = float(
        np.median(
            [point["value"] - quantity["slope"] * (at - middle) / per for point, at in zip(points, x, strict=True)]
        )
    )
    ends = np.array([x.min(), middle, x.max()])
    sides = [
        height + (quantity["slope"] if slope is None else slope) * (ends - middle) / per
        for slope in (quantity["slope"], quantity["slope_low"], quantity["slope_high"])
    ]
    return ends, sides[0], np.minimum(sides[1], sides[2]), np.maximum(sides[1], sides[2])


def _day(at: float, _: Any) -> str:
    told = num2date(at)
    return f"{told.day} {month(told.isoformat(), year=False)}" if told.hour + told.minute == 0 else f"{told:%H:%M}"


def _month(at: float, _: Any) -> str:
    return month(num2date(at).isoformat(), year=True)


def _draw(axes: Axes, quantity: dict[str, Any], href: Callable[[int], str] = file_name) -> None:
    dates = is_dated(quantity)
    points = [point for point in quantity["points"] if point["value"] is not None]
    x = [_place(point, dates) for point in points]
    change = quantity["change"]
    drawn = None if change else trend(quantity)  # what changed at once has no line through all
    if drawn is not None and quantity["per"] == "month" and not dates:
        drawn = None  # a slope a month has no place on an axis of drives
    if drawn is not None:
        ends, line, least, most = drawn
        axes.fill_between(ends, least, most, color=GREY, alpha=0.25, linewidth=0)
        axes.plot(ends, line, color=INK, linewidth=1.1)
    dots = axes.scatter(x, [point["value"] for point in points], s=14, color=BLUE, zorder=3)
    dots.set_urls([href(point["drive"]) for point in points])
    if change is not None and (change["date"] or not dates):
        at = _place(change, dates)
        axes.axvline(at, color=ORANGE, linestyle="dashed", linewidth=1.4)
        left, right = min([*x, at]), max([*x, at])
        for start, end, value in ((left, at, change["before"]), (at, right, change["after"])):
            if value is not None:
                axes.plot([start, end], [value, value], color=ORANGE, linestyle="dotted", linewidth=1.6)
        late = at > (left + right) / 2
        axes.annotate(
            "change", (at, 0.99), (-4 if late else 4, 0), xycoords=axes.get_xaxis_transform(),
            textcoords="offset points", ha="right" if late else "left", va="top", fontsize=7.5)  # fmt: skip
    axes.set_ylabel(f"[{quantity['unit']}]")
    axes.margins(x=0.04, y=0.14)
    if points:  # the band may leave the picture: the values are what is to be seen
        values = [point["value"] for point in points]
        margin = 0.14 * (max(values) - min(values)) or max(0.01 * abs(max(values)), 1e-3)
        axes.set_ylim(min(values) - margin, max(values) + margin)
    if dates:
        days = float(np.ptp(x or [0.0]))
        axes.xaxis.set_major_locator(AutoDateLocator(minticks=3 if days > _WEEK_DAYS else 2, maxticks=6))
        axes.xaxis.set_major_formatter(FuncFormatter(_day if days < _YEAR_DAYS else _month))
    else:
        axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=8))
        axes.set_xlabel("drive number (undated)")
    if not points:
        axes.text(0.5, 0.5, "not measured", transform=axes.transAxes, ha="center", va="center")
    axes.grid(axis="y", color=GREY, alpha=0.25, linewidth=0.5)
    axes.patch.set_visible(False)
    axes.spines[["top", "right"]].set_visible(False)
