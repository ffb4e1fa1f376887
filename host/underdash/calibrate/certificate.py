"""What a calibration found, as one JSON file and one page that needs nothing but itself and prints on a sheet."""

import html
import io
import json
import re
from dataclasses import asdict
from datetime import datetime
from importlib.resources import files
from math import inf, isfinite
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup
from matplotlib import rc_context
from matplotlib.figure import Figure

from underdash.calibrate.fit import Line
from underdash.calibrate.meter import Meter
from underdash.calibrate.points import Point
from underdash.calibrate.uncertainty import METER_CLASS, Statement
from underdash.problems import write_whole

_INK, _GREY, _BLUE, _ORANGE = "#1b1c1e", "#6d7073", "#0072b2", "#b35900"
_STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "underdash",
    "font.size": 9,
    "font.family": "DejaVu Sans",
    "text.color": _INK,
    "axes.labelcolor": _INK,
    "axes.edgecolor": _GREY,
    "xtick.color": _INK,
    "ytick.color": _INK,
}


def record(
    kind: str,
    made: datetime,
    board: dict[str, str],
    meter: Meter,
    points: list[Point],
    line: Line,
    statements: list[Statement],
    *,
    band: list[Statement],
    before: dict[str, int],
    found: dict[str, int],
    cautions: list[str],
    extra: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """All of it as plain data. kind "volts" or "amps"; all values in V or A, readings in sixteenths of a step.

    band: statements along the picture's breadth.
    board: its id, firmware and port. before, found: the board's integers. `stored` and `proof` are filled
    in by who stores.
    """
    unit = "V" if kind == "volts" else "A"
    covariance = line.covariance
    return {
        "kind": kind,
        "unit": unit,
        "made": made.isoformat(timespec="seconds"),
        "board": board,
        "meter": {**asdict(meter), "text": str(meter)},
        "points": [
            {
                "number": number,
                "meter": point.meter,
                "text": point.text,
                "turns": point.turns,
                "code": round(point.code, 3),
                "reading": round(point.reading, 3),
                "spread": round(point.spread, 3) if isfinite(point.spread) else None,
                "count": point.count,
                "how": point.how,
                "residual": float(residual),
            }
            for number, (point, residual) in enumerate(zip(points, line.residuals, strict=True), 1)
        ],
        "line": {
            "gain": line.gain,
            "zero": line.zero,
            "scatter": line.scatter if isfinite(line.scatter) else None,
            "freedom": line.freedom,
            "gain_standard": float(np.sqrt(covariance[0, 0])) if line.freedom > 0 else None,
            "zero_standard": float(np.sqrt(covariance[1, 1])) if line.freedom > 0 else None,
            "covariance": float(covariance[0, 1]) if line.freedom > 0 else None,
        },
        "uncertainty": [
            {
                "value": one.value,
                "components": [
                    {**asdict(part), "freedom": None if part.freedom == inf else part.freedom}
                    for part in one.components
                ],
                "combined": one.combined,
                "freedom": one.freedom if isfinite(one.freedom) else None,
                "factor": one.factor,
                "expanded": one.expanded,
            }
            for one in statements
        ],
        "band": [{"value": one.value, "without_class": _without_class(asdict(one))} for one in band],
        "before": before,
        "found": found,
        "stored": False,
        "proof": None,
        "cautions": cautions,
        **(extra or {}),
    }


def across(points: list[Point], at: tuple[float, ...]) -> tuple[float, ...]:
    """Where [V or A] the picture's band is drawn: from the lowest to the highest of points and statements."""
    places = [*(point.meter for point in points), *at]
    return tuple(float(one) for one in np.linspace(min(places), max(places), 37))


def write(folder: Path, told: dict[str, Any]) -> tuple[Path, Path]:
    """Write both files; return (page, JSON)."""
    made = datetime.fromisoformat(told["made"])
    stem = f"{told['kind']}-{told['board']['id'] or 'no-board'}-{made:%Y%m%d-%H%M%S}"
    page, data = folder / f"{stem}.html", folder / f"{stem}.json"
    write_whole(data, json.dumps(told, indent=1).encode())
    write_whole(page, render(told).encode())
    return page, data


def render(told: dict[str, Any]) -> str:
    """The page of a record."""
    env = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    env.filters.update(milli=milli, places=places)
    source = files("underdash.calibrate").joinpath("certificate.html.j2").read_text(encoding="utf-8")
    return env.from_string(source).render(told=told, picture=Markup(picture(told)), middle=_middle(told))


def milli(value: float | None, digits: int = 2) -> str:
    """A value times 1,000, with its sign set as a minus."""
    return "-" if value is None else f"{round(value * 1000, digits) + 0.0:.{digits}f}".replace("-", "\u2212")


def places(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{round(value, digits) + 0.0:,.{digits}f}".replace("-", "\u2212")


def _middle(told: dict[str, Any]) -> dict[str, Any]:
    """The statement whose parts are listed: at 13.5 V, or 10 A."""
    statements = told["uncertainty"]
    chosen: dict[str, Any] = statements[3 if told["kind"] == "amps" else len(statements) // 2]
    return chosen


def _without_class(one: dict[str, Any]) -> float:
    own = sum(part["standard"] ** 2 for part in one["components"] if part["name"] != METER_CLASS)
    return float(one["factor"] * np.sqrt(own))


def _labels(x: Any, y: Any, span: float) -> list[tuple[str, float, float]]:
    """Points' numbers with where they stand; those at one place of x share a label at the highest."""
    groups: list[list[int]] = []
    for index in np.argsort(x, kind="stable"):
        if groups and x[index] - x[groups[-1][0]] < span / 60:
            groups[-1].append(int(index))
        else:
            groups.append([int(index)])
    return [
        (", ".join(str(i + 1) for i in sorted(group)), float(x[group[0]]), float(max(y[group]))) for group in groups
    ]


def picture(told: dict[str, Any]) -> str:
    """Residuals over the meter's reading, with what the uncertainty allows, as an inline `<svg>`."""
    unit = told["unit"]
    x = np.array([point["meter"] for point in told["points"]])
    y = np.array([point["residual"] for point in told["points"]]) * 1000
    with rc_context(_STYLE):
        figure = Figure(figsize=(7.4, 2.7))
        axes = figure.subplots()
        figure.subplots_adjust(left=0.1, right=0.985, top=0.88, bottom=0.18)
        axes.axhline(0, color=_GREY, linewidth=0.8)
        at = np.array([one["value"] for one in told["band"]])
        # The meter's own class is the same at all points: no residual can show it, and it would hide them.
        wide = np.array([one["without_class"] for one in told["band"]]) * 1000
        axes.fill_between(
            at, -wide, wide, color=_BLUE, alpha=0.14, linewidth=0, label="uncertainty without the meter's class"
        )
        axes.plot(x, y, "o", color=_ORANGE, markersize=6, label="meter minus line")
        for label, left, up in _labels(x, y, float(np.ptp(x)) or 1.0):
            axes.annotate(label, (left, up), (6, 4), textcoords="offset points")
        reach = max(float(wide.max(initial=0.0)), float(np.abs(y).max(initial=0.0))) * 1.25 or 1.0
        axes.set_ylim(-reach, reach)
        axes.margins(x=0.04)
        axes.set_xlabel(f"meter [{unit}]" + ("" if unit == "V" else ", positive into the battery"))
        axes.set_ylabel(f"residual [m{unit}]")
        axes.spines[["top", "right"]].set_visible(False)
        axes.grid(axis="y", color=_GREY, alpha=0.25, linewidth=0.5)
        axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), borderaxespad=0.2, frameon=False, ncols=2, fontsize=8)
        out = io.StringIO()
        figure.savefig(
            out, format="svg", transparent=True, metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
    text = out.getvalue()
    text = text[text.index("<svg") :].replace('xlink:href="', 'href="')
    box = re.search(r'viewBox="[^"]*"', text)
    label = html.escape(f"Residuals of {len(x)} points in m{unit}", quote=True)
    return f'<svg {box.group() if box else ""} role="img" aria-label="{label}">' + text[text.index(">") + 1 :]
