"""The report as one HTML page that needs nothing but itself: no network, no fonts, no script but its own."""

from typing import Any

from markupsafe import Markup

from underdash.page import template
from underdash.review.pages.drive import drive_part, picture_of
from underdash.review.pages.figure import script, script_hash
from underdash.review.pages.season import season_parts
from underdash.review.pages.words import charge, duration
from underdash.review.plots import RowsLike, places

LIVE_ROWS = 60_000
"""The most rows that the page carries for its live pictures, some 16 hours: beyond it, all its pictures are static, and
`pages` gives each drive a page of its own."""


def render(report: dict[str, Any], rows: RowsLike) -> str:
    """The whole page: what the season's page says, then what each drive's does.

    report: what report.json holds, times [s], volts [V], charge [Ah], thresholds [mV], [ms];
    rows: the rows it was made from, volts [V], amps [A].
    """
    drives = report["drives"]
    live = 0 < sum(len(places(drive, rows)) for drive in drives) <= LIVE_ROWS
    numbers = range(1, len(drives) + 1)
    return template("review/report.html.j2", duration=duration, charge=charge).render(
        **season_parts(report, "#drive-{}".format, dict.fromkeys(numbers, "")),
        drives=[drive_part(report, rows, number, picture_of(report, rows, number), live) for number in numbers],
        script=Markup(script()) if live else None,
        allowed=f"; script-src '{script_hash()}'" if live else "",
    )
