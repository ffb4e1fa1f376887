"""The page of one drive, and the part about a drive that the one-page report shares with it."""

from typing import Any

from markupsafe import Markup

from underdash.page import template
from underdash.review.clock import beside, clock, in_utc, log_of, since, when
from underdash.review.crank_words import beyond_the_clamp, is_slow, lasted
from underdash.review.pages.figure import figure, script, script_hash
from underdash.review.pages.files import file_name, picture_name
from underdash.review.pages.words import charge, duration, episodes, facts, folded, linked, timed, times
from underdash.review.plots import Picture, RowsLike


def drive_page(report: dict[str, Any], rows: RowsLike, number: int, picture: Picture | None = None) -> str:
    """The page of drive `number` (from 1) of a report and the rows it was made from, volts [V], amps [A].

    picture: the drive's static picture, where it has been drawn already. IndexError for a drive that is not there.
    """
    if not 1 <= number <= len(report["drives"]):
        raise IndexError(f"drive {number}: the report has {len(report['drives'])}")
    mine = [finding for finding in report["findings"] if finding["drive"] == number]
    return template("review/pages/drive.html.j2", duration=duration, charge=charge).render(
        report=report,
        number=number,
        findings=folded(linked(mine, {number: ""}, report["drives"])),
        found=len(mine),
        drive=drive_part(report, rows, number, picture or picture_of(report, rows, number)),
        times=times(report),
        before=file_name(number - 1) if number > 1 else None,
        after=file_name(number + 1) if number < len(report["drives"]) else None,
        picture_file=picture_name(number),
        script=Markup(script()),
        allowed=f"; script-src '{script_hash()}'",
    )


def picture_of(report: dict[str, Any], rows: RowsLike, number: int) -> Picture:
    """The static picture of drive `number`."""
    drive, board = report["drives"][number - 1], report["board"]
    return Picture(drive, rows, report["thresholds"], since(board), "UTC" if in_utc(drive, board) else "local time")


def drive_part(
    report: dict[str, Any], rows: RowsLike, number: int, picture: Picture, live: bool = True
) -> dict[str, Any]:
    """What drive_parts.html.j2 tells of drive `number`. live: with the rows, so that its picture can be looked into."""
    drive = report["drives"][number - 1]
    end_s = drive["start_s"] + drive["length_s"]
    gaps = [gap for gap in report["gaps"] if _inside(gap, drive, end_s)]
    told = figure(number, drive, rows, report["thresholds"], picture) if live else Markup(picture.svg())
    span = f"{clock(drive, drive['start_s'])} to {clock(drive, end_s)}"
    return {
        "number": number,
        "link": number if live else None,  # links into the picture
        "when": when(drive),
        "span": f"{drive['dated'][:10]}, {span}" if drive["dated"] else f"{when(drive)}, {span}",
        "beside": beside(drive, report["board"]),
        "length": duration(drive["length_s"]),
        "facts": facts(drive, report),
        "summary": episodes(drive["episodes"]),
        "episodes": timed(drive["episodes"], drive),
        "log": log_of(report, drive),
        "cranks": _cranks(drive, report),
        "states": drive["states"],
        "gaps": timed(gaps, drive),
        "fixes": list(dict.fromkeys(text for one in drive["episodes"] for text in one["closes"])),
        "shown": timed(_shown(drive, end_s), drive),
        "picture": told,
    }


def _cranks(drive: dict[str, Any], report: dict[str, Any]) -> list[dict[str, Any]]:
    """A drive's cranks, each with `lasted` and, where the clamp ended, `beyond`, in words."""
    slow = is_slow(report)
    told = timed(drive["cranks"], drive)
    return [
        {**one, "number": number, "lasted": lasted(one, slow), "beyond": beyond_the_clamp(one)}
        for number, one in enumerate(told, 1)
    ]


def _inside(gap: dict[str, Any], drive: dict[str, Any], end_s: float) -> bool:
    """Whether a hole is one in the drive: not the night before it or after it."""
    ends_s = gap["start_s"] + gap["length_s"]
    return bool(gap["boot"] == drive["boot"] and drive["start_s"] < ends_s <= end_s)


def _shown(drive: dict[str, Any], end_s: float) -> list[dict[str, Any]]:
    """What the board showed, each until the next: start_s, length_s [s], state, warnings in words."""
    told = drive["shown"]
    ends = [*(one["t_s"] for one in told), end_s][1:]
    return [
        {
            "start_s": one["t_s"],
            "length_s": max(end - one["t_s"], 0.0),
            "state": one["state"],
            "warnings": ", ".join(one["warnings"]),
        }
        for one, end in zip(told, ends, strict=True)
    ]
