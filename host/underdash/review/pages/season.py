"""The page of a season: how battery, regulator and connections stand, what changed when, and all the drives."""

from typing import Any

from markupsafe import Markup

from underdash.page import number, template
from underdash.review.findings import WEIGHTS, clock
from underdash.review.pages.files import file_name
from underdash.review.pages.season_plots import is_dated, quantity_svg
from underdash.review.pages.strip import strip_svg
from underdash.review.pages.words import charge, dated, duration, linked, summary, thresholds
from underdash.review.plots import RowsLike

PARTS = ("battery", "regulator", "connection")
# A verdict has the shape and colour of the finding it would be, and its own word.
_SHAPES = {"steady": "well", "drifting": "watch", "act": "act", "unknown": "note"}
_DIGITS = {"V": 3, "V/K": 4, "mV": 1, "mV/h": 2, "s": 1, "mΩ": 2, "A": 2, "Ah": 2, "Ah/h": 2, "C": 1, "ohm": 4}


def season_page(report: dict[str, Any], rows: RowsLike) -> str:
    """The page over all drives of a report. rows is not looked at yet: each drive's page carries its own."""
    season = report.get("season") or {}
    drives = report["drives"]
    quantities = season.get("quantities") or []
    worst = gravest(report)
    return template("review/pages/season.html.j2", clock=clock, duration=duration, charge=charge, dated=dated).render(
        report=report,
        summary=summary(report),
        findings=linked(report["findings"], {index: file_name(index) for index in range(1, len(drives) + 1)}),
        verdicts=[_verdict(part, (season.get("verdicts") or {}).get(part)) for part in PARTS] if season else [],
        quantities=[
            {"name": one["name"], "picture": Markup(quantity_svg(one, index)), **told(one)}
            for index, one in enumerate(quantities, 1)
        ],
        strip=Markup(strip_svg(drives, worst)) if drives else None,
        lines=[_line(index, drive, worst.get(index)) for index, drive in enumerate(drives, 1)],
        limits=thresholds(report),
        allowed="",
    )


def gravest(report: dict[str, Any]) -> dict[int, str]:
    """The gravest weight among the findings of each drive that has any."""
    found: dict[int, str] = {}
    for finding in sorted(report["findings"], key=lambda one: WEIGHTS.index(one["weight"])):
        if finding.get("drive") is not None:
            found.setdefault(finding["drive"], finding["weight"])
    return found


def _verdict(part: str, verdict: dict[str, Any] | None) -> dict[str, Any]:
    verdict = verdict or {"verdict": "unknown", "reason": "Not judged.", "evidence": None}
    evidence = verdict.get("evidence")
    if isinstance(evidence, (list, tuple)):
        evidence = "; ".join(str(each) for each in evidence)
    return {
        "part": part,
        "verdict": verdict["verdict"],
        "shape": _SHAPES.get(verdict["verdict"], "note"),
        "reason": verdict["reason"],
        "evidence": evidence,
    }


def told(quantity: dict[str, Any]) -> dict[str, str | None]:
    """A quantity's trend and change in words, each with its numbers."""
    unit = quantity["unit"]
    digits = _DIGITS.get(unit, 3)
    trend = change = None
    slope = quantity.get("slope")
    if slope is not None:
        low, high = quantity.get("slope_low"), quantity.get("slope_high")
        trend = f"{_signed(slope)} {unit} a {quantity['per']}"
        if low is not None and high is not None:
            sure = "" if low > 0 or high < 0 else ": no trend shown"
            trend += f", 95 % between {_signed(low)} and {_signed(high)}{sure}"
    one = quantity.get("change")
    if one is not None:
        when = f"at drive {one['drive']}, {dated(one.get('date'))[:10]}"
        values = f"{number(one['before'], digits, unit)} before, {number(one['after'], digits, unit)} after"
        sure = one.get("confidence")
        change = f"A change {when}: {values}" + (f"; confidence {100 * sure:.4g} %." if sure is not None else ".")
    undated = None if is_dated(quantity) else "undated: by drive number"
    return {"trend": trend or "no trend: too few values", "change": change, "undated": undated}


def _signed(value: float) -> str:
    return f"{value:+.3g}".replace("-", "\u2212")


def _line(index: int, drive: dict[str, Any], weight: str | None) -> dict[str, Any]:
    lowest = min((one["lowest_volts"] for one in drive["cranks"] if one["lowest_volts"] is not None), default=None)
    return {
        "number": index,
        "file": file_name(index),
        "dated": drive.get("dated"),
        "start_s": drive["start_s"],
        "boot": drive["boot"],
        "length_s": drive["length_s"],
        "rested": number(drive["rested_volts"], 2, "V", "–"),
        "set_point": number(drive["set_point_volts"], 2, "V", "–"),
        "lowest": number(lowest, 2, "V", "–"),
        "low_s": drive["low_s"],
        "out": number(drive.get("out_ah"), 2, "Ah", "–"),
        "episodes": len(drive["episodes"]),
        "weight": weight,
    }
