"""The page of one drive."""

from typing import Any

from markupsafe import Markup

from underdash.page import template
from underdash.review.findings import clock
from underdash.review.pages.figure import figure, script, script_hash
from underdash.review.pages.files import file_name, picture_name
from underdash.review.pages.words import charge, dated, duration, episodes, facts, linked
from underdash.review.plots import Picture, RowsLike


def drive_page(report: dict[str, Any], rows: RowsLike, number: int, picture: Picture | None = None) -> str:
    """The page of drive `number` (from 1) of a report and the rows it was made from, volts [V], amps [A].

    picture: the drive's static picture, where it has been drawn already. IndexError for a drive that is not there.
    """
    if not 1 <= number <= len(report["drives"]):
        raise IndexError(f"drive {number}: the report has {len(report['drives'])}")
    drive, limits = report["drives"][number - 1], report["thresholds"]
    picture = picture or Picture(drive, rows, limits)
    mine = [finding for finding in report["findings"] if finding.get("drive") == number]
    gaps = [gap for gap in report.get("gaps") or () if _inside(gap, drive)]
    fixes = list(dict.fromkeys(text for episode in drive["episodes"] for text in episode.get("closes") or ()))
    return template("review/pages/drive.html.j2", clock=clock, duration=duration, charge=charge, dated=dated).render(
        report=report,
        drive=drive,
        number=number,
        findings=linked(mine, {number: ""}),
        facts=facts(drive, limits),
        summary=episodes(drive["episodes"]),
        gaps=gaps,
        fixes=fixes,
        shown=_shown(drive),
        picture=figure(number, drive, rows, limits, picture),
        before=file_name(number - 1) if number > 1 else None,
        after=file_name(number + 1) if number < len(report["drives"]) else None,
        picture_file=picture_name(number),
        script=Markup(script()),
        allowed=f"; script-src '{script_hash()}'",
    )


def _inside(gap: dict[str, Any], drive: dict[str, Any]) -> bool:
    end_s = drive["start_s"] + drive["length_s"]
    return bool(
        gap["boot"] == drive["boot"] and gap["start_s"] < end_s and gap["start_s"] + gap["length_s"] > drive["start_s"]
    )


def _shown(drive: dict[str, Any]) -> list[dict[str, Any]]:
    """What the board showed, each until the next: start_s, length_s [s], state, warnings in words."""
    told = drive.get("shown") or []
    ends = [*(one["t_s"] for one in told), drive["start_s"] + drive["length_s"]][1:]
    return [
        {
            "start_s": one["t_s"],
            "length_s": max(end - one["t_s"], 0.0),
            "state": one["state"],
            "warnings": ", ".join(one["warnings"]),
        }
        for one, end in zip(told, ends, strict=True)
    ]
