"""A drive's figure: the static picture, and the rows that the script makes a live one from."""

import base64
import hashlib
import json
import re
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from markupsafe import Markup

from chargecore.engine import STATE_NAMES, WARNING_NAMES
from underdash.review.pages.pack import pack
from underdash.review.plots import LANES, LINES, Picture, RowsLike, label, places, zero_s
from underdash.svg import GREEN, GREY, INK, RED

_AROUND_S = 90.0  # of the rest before and after, so that the crank is not at the very edge [s]
_DASHES = {"dashdot": [7, 3, 2, 3], "dashed": [6, 4], "solid": [], "dotted": [2, 3]}
_PARTS = ("chart_rows.js", "chart_pen.js", "chart.js")


@cache
def script() -> str:
    """The chart's script: its parts in one scope."""
    here = files("underdash.review.pages")
    parts = "\n".join((here / name).read_text(encoding="utf-8") for name in _PARTS)
    return f'"use strict";\n(() => {{\n{parts}}})();\n'


def script_hash() -> str:
    """What a content policy allows the script by: no other runs on the page."""
    return f"sha256-{base64.b64encode(hashlib.sha256(script().encode()).digest()).decode()}"


def figure(number: int, drive: dict[str, Any], rows: RowsLike, thresholds: dict[str, Any], picture: Picture) -> Markup:
    """The inside of a `<figure class="chart">`: the static picture of drive `number`, and its rows."""
    told = json.dumps(rows_of(number, drive, rows, thresholds), allow_nan=False, separators=(",", ":"))
    told = told.replace("<", "\\u003c")
    svg = re.sub(r'\bd="[^"]*"', lambda found: _shorter(found.group()), picture.svg())
    return Markup(f'{svg}\n<script type="application/json">{told}</script>')


def _shorter(path: str) -> str:
    """A path's numbers to a tenth of a point, which is less than a line's width, and without needless blanks."""
    numbers = re.sub(r"(?<=\.\d)\d+", "", path.removeprefix('d="'))
    return 'd="' + re.sub(r"\s+(?=[A-Za-z])|(?<=[A-Za-z])\s+", "", numbers)


def rows_of(number: int, drive: dict[str, Any], rows: RowsLike, thresholds: dict[str, Any]) -> dict[str, Any]:
    """All that the script is told of a drive: its rows, packed, and what is marked on them. Volts in the columns [mV],
    current [mA], time as steps [ms] from `first_ms`."""
    mine = places(drive, rows, _AROUND_S)
    t_ms = np.round(rows.t_s[mine] * 1000)
    low, mean, high = (np.round(each[mine] * 1000) for each in (rows.low, rows.volts, rows.high))
    amps = np.round(rows.amps[mine] * 1000)
    first = int(mine[0]) if len(mine) else 0
    in_order = bool((np.diff(mine) == 1).all())
    return {
        "number": number,
        "label": label(drive),
        "dated": drive["dated"],
        "start_s": drive["start_s"],
        "zero_s": zero_s(drive),
        "first_row": first,
        "place": None if in_order else pack(mine - first),
        "first_ms": int(t_ms[0]) if len(mine) else 0,
        "step_ms": pack(np.diff(t_ms, prepend=t_ms[:1])),
        "mean_mv": pack(mean),
        "below_mv": pack(mean - low),
        "above_mv": pack(high - mean),
        "amps_ma": pack(amps) if np.isfinite(amps).any() else None,
        "state": pack(rows.state[mine]),
        "warnings": pack(rows.warnings[mine]),
        "states": STATE_NAMES,
        "warnings_named": WARNING_NAMES,
        "lanes": [{"name": name, "colour": colour, "hatch": hatch[:1]} for name, (colour, hatch) in LANES.items()],
        "lines": list(_lines(thresholds)),
        "mark_colour": RED,
        "in_colour": GREEN,
        "hatch_colour": INK,
        "episodes": [
            {"number": index, "kind": one["kind"], "from": one["start_s"], "to": one["start_s"] + one["length_s"]}
            for index, one in enumerate(drive["episodes"], 1)
        ],
        "cranks": [
            {"label": _crank(index, one), "from": one["start_s"], "to": one["start_s"] + one["length_s"]}
            for index, one in enumerate(drive["cranks"], 1)
        ],
    }


def _lines(thresholds: dict[str, Any]) -> Any:
    for name, colour, style in (*LINES, ("weak_crank", GREY, "dotted")):
        if f"{name}_mv" in thresholds:
            yield {
                "name": name.replace("_", " "),
                "volts": thresholds[f"{name}_mv"] / 1000,
                "side": "above" if name == "overcharge" else "below",
                "words_above": name in ("overcharge", "marginal"),  # where they stand on a narrow screen
                "colour": colour,
                "dash": _DASHES[style],
            }


def _crank(index: int, crank: dict[str, Any]) -> str:
    lowest = crank["lowest_volts"]
    return f"crank {index}" if lowest is None else f"crank {index}: {lowest:.2f} V"
