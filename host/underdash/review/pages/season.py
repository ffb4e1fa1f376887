"""The page of a season, and what it shares with the one-page report: how battery, regulator and connections stand, what
changed when, and all the drives."""

from collections.abc import Callable
from typing import Any

from markupsafe import Markup

from underdash.page import number, template
from underdash.review.clock import log_of, when
from underdash.review.pages.files import file_name
from underdash.review.pages.season_plots import is_dated, quantity_svg, shown
from underdash.review.pages.strip import strip_svg
from underdash.review.pages.words import (
    between_drives,
    charge,
    duration,
    folded,
    linked,
    once,
    place,
    starts,
    summary,
    thresholds,
    times,
)
from underdash.review.season.words import findings as of_season
from underdash.review.words import WEIGHTS, named

# A verdict has the shape and colour of the finding it would be, and its own word.
_SHAPES = {"steady": "well", "drifting": "watch", "act": "act", "unknown": "note"}
_DIGITS = {"V": 3, "V/K": 4, "mV": 1, "mV/h": 2, "s": 1, "mΩ": 2, "A": 2, "Ah": 2, "Ah/h": 2, "C": 1, "ohm": 4}
_PRINTED = 6  # quantities, and drives


def season_page(report: dict[str, Any]) -> str:
    """The page over all drives of a report."""
    page = {index: file_name(index) for index in range(1, len(report["drives"]) + 1)}
    return template("review/pages/season.html.j2", duration=duration, charge=charge).render(
        **season_parts(report, file_name, page)
    )


def season_parts(report: dict[str, Any], href: Callable[[int], str], page: dict[int, str]) -> dict[str, Any]:
    """What season_parts.html.j2 tells of a report. href: where a drive's number leads; page: the page that holds each
    drive, as for words.linked."""
    season, drives = report["season"], report["drives"]
    worst = gravest(report)
    in_cards = of_season({**season, "events": [], "quantities": []}) if season else []  # told there already
    found = once(linked([one for one in report["findings"] if one not in in_cards], page, drives))
    return {
        "report": report,
        "summary": summary(report),
        "times": times(report),
        "findings": folded(found),
        "found": len(found),
        "verdicts": _verdicts(season, page, drives) if season else [],
        "quantities": _quantities(season["quantities"] if season else [], href),
        "strip": Markup(strip_svg(drives, worst, href)) if drives else None,
        "lines": _table(report, worst, href),
        "parked": between_drives(report["parked_episodes"], report),
        "gaps": between_drives(report["gaps"], report),
        "start": starts(report),
        "limit": number(report["thresholds"]["discharging_mv"] / 1000, 2, "V").replace(" ", "\u00a0"),
        "limits": thresholds(report),
    }


def gravest(report: dict[str, Any]) -> dict[int, str]:
    """The gravest weight among the findings of each drive that has any."""
    found: dict[int, str] = {}
    for finding in sorted(report["findings"], key=lambda one: WEIGHTS.index(one["weight"])):
        if finding["drive"] is not None:
            found.setdefault(finding["drive"], finding["weight"])
    return found


def _verdicts(season: dict[str, Any], page: dict[int, str], drives: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [
        {
            "part": part,
            "verdict": verdict["verdict"],
            "shape": _SHAPES[verdict["verdict"]],
            "reason": verdict["reason"],
            "evidence": verdict["evidence"],
            **place({**verdict, "t_s": None}, page, drives),
        }
        for part, verdict in season["verdicts"].items()
    ]


def _quantities(found: list[dict[str, Any]], href: Callable[[int], str]) -> list[dict[str, Any]]:
    """Quantities as season_parts.html.j2 tells them; on paper those that changed or have a trend go before others."""
    by_news = sorted(range(len(found)), key=lambda place: (not found[place]["change"], not _is_sure(found[place])))
    return [
        {"name": one["name"], "picture": Markup(quantity_svg(one, place + 1, href)), **told(one),
         "printed": place in by_news[:_PRINTED]}
        for place, one in enumerate(map(shown, found))
    ]  # fmt: skip


def _is_sure(quantity: dict[str, Any]) -> bool:
    """Whether its trend, if it has one, is more than chance."""
    low, high = quantity["slope_low"], quantity["slope_high"]
    return low is not None and high is not None and (low > 0 or high < 0)


def told(quantity: dict[str, Any]) -> dict[str, str | None]:
    """A quantity's trend and change in words, each with its numbers."""
    unit = quantity["unit"]
    digits = _DIGITS.get(unit, 3)
    trend = change = None
    slope = quantity["slope"]
    if slope is not None:
        low, high = quantity["slope_low"], quantity["slope_high"]
        trend = f"{_change(slope, digits)} {unit} a {quantity['per']}"
        if low is not None and high is not None:
            sure = "" if _is_sure(quantity) else ": no trend shown"
            ends = dict.fromkeys((_change(low, digits), _change(high, digits)))
            trend += f", 95 % {'between ' if len(ends) > 1 else 'at '}{' and '.join(ends)}{sure}"
    one = quantity["change"]
    if one is not None:
        at = f"at {named(one['drive'], one['date'])}"
        values = f"{number(one['before'], digits, unit)} before, {number(one['after'], digits, unit)} after"
        change = f"A change {at}: {values}; confidence {100 * one['confidence']:.4g} %."
    undated = None if is_dated(quantity) else "undated, by drive number"
    return {"trend": trend or "no trend: too few values", "change": change, "undated": undated}


def _change(value: float, digits: int) -> str:
    """A change with its sign, which nothing has not: to three figures, and at most one digit beyond those of the
    quantity."""
    told = f"{float(f'{value:.3g}'):+.{digits + 1}f}".rstrip("0").rstrip(".")
    return told.replace("-", "\u2212") if float(told) else "0"


def _table(report: dict[str, Any], worst: dict[int, str], href: Callable[[int], str]) -> list[dict[str, Any]]:
    """The drives' lines of the table; on paper those with the gravest findings go before others."""
    drives = report["drives"]
    numbers = range(1, len(drives) + 1)
    grave = sorted(numbers, key=lambda number: WEIGHTS.index(worst.get(number, WEIGHTS[-1])))[:_PRINTED]
    return [
        {
            **_line(number, drive, worst.get(number)),
            "log": log_of(report, drive),
            "href": href(number),
            "printed": number in grave,
        }
        for number, drive in zip(numbers, drives, strict=True)
    ]


def _line(index: int, drive: dict[str, Any], weight: str | None) -> dict[str, Any]:
    lowest = min((one["lowest_volts"] for one in drive["cranks"] if one["lowest_volts"] is not None), default=None)
    return {
        "number": index,
        "when": when(drive),
        "long": bool(drive["dated_between"]),
        "boot": drive["boot"],
        "length_s": drive["length_s"],
        "rested": number(drive["rested_volts"], 2, "V", "–"),
        "set_point": number(drive["set_point_volts"], 2, "V", "–"),
        "lowest": number(lowest, 2, "V", "–"),
        "low_s": drive["low_s"],
        "out": number(drive["out_ah"], 2, "Ah", "–"),
        "episodes": len(drive["episodes"]),
        "weight": weight,
    }
