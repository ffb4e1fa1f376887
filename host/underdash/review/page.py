"""The report as one HTML page that needs nothing but itself: no network, no fonts, no script but its own."""

from typing import Any

from markupsafe import Markup

from underdash.page import template
from underdash.review.findings import clock
from underdash.review.pages.figure import figure, script, script_hash
from underdash.review.pages.words import charge, duration, facts, linked, summary, thresholds
from underdash.review.plots import Picture, RowsLike, places

LIVE_ROWS = 60_000
"""The most rows that the page carries for its live pictures, some 16 hours: beyond it, all its pictures are static, and
`pages` gives each drive a page of its own."""


def render(report: dict[str, Any], rows: RowsLike) -> str:
    """The whole page.

    report: what report.json holds, times [s], volts [V], charge [Ah], thresholds [mV], [ms];
    rows: the rows it was made from, volts [V], amps [A].
    """
    limits, drives = report["thresholds"], report["drives"]
    live = 0 < sum(len(places(drive, rows)) for drive in drives) <= LIVE_ROWS
    pictures = []
    for number, drive in enumerate(drives, 1):
        picture = Picture(drive, rows, limits)
        pictures.append(figure(number, drive, rows, limits, picture) if live else Markup(picture.svg()))
    return template("review/report.html.j2", clock=clock, duration=duration, charge=charge).render(
        report=report,
        findings=linked(report["findings"], dict.fromkeys(range(1, len(drives) + 1), "")),
        pictures=pictures,
        facts=[facts(drive, limits) for drive in drives],
        limits=thresholds(report),
        summary=summary(report),
        script=Markup(script()) if live else None,
        allowed=f"; script-src '{script_hash()}'" if live else "",
    )
