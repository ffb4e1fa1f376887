"""The report as one HTML page that needs nothing but itself: no network, no script, no fonts."""

from typing import Any

from markupsafe import Markup

from underdash.page import count, template
from underdash.review.findings import WEIGHTS, clock
from underdash.review.plots import RowsLike, drive_svg

_UNITS = {"mv": "V", "ms": "s", "ma": "A"}


def duration(seconds: float) -> str:
    """A length of time [s]: seconds below a minute, else h:mm:ss."""
    return f"{seconds:.1f} s" if seconds < 59.95 else clock(seconds)


def threshold(name: str, value: float) -> tuple[str, str]:
    """A threshold in words: `discharging_mv`, 13000 [mV] becomes `discharging`, `13.00 V`."""
    words, _, unit = name.rpartition("_")
    if unit not in _UNITS:
        return name.replace("_", " "), str(value)
    shown = words.replace("_", " ") + (" for" if unit == "ms" else "")
    if unit == "mv" and value < 1000:
        return shown, f"{value} mV"
    return shown, f"{value / 1000:.{1 if unit == 'ms' else 2}f} {_UNITS[unit]}"


def summary(report: dict[str, Any]) -> str:
    """The report in one line."""
    drives = report["drives"]
    if not drives:
        return f"{count(report['rows'], 'row')} and no drive among them."
    episodes = [episode for drive in drives for episode in drive["episodes"]]
    told = f"{count(len(drives), 'drive')}, {clock(sum(drive['length_s'] for drive in drives))} in all. "
    if not episodes:
        return told + "No episode of any kind."
    kinds = sorted({episode["kind"] for episode in episodes})
    each = [f"{sum(e['kind'] == kind for e in episodes)} {kind}" for kind in kinds]
    lasted = clock(sum(episode["length_s"] for episode in episodes))
    return f"{told}{count(len(episodes), 'episode')} ({', '.join(each)}), together {lasted}."


def render(report: dict[str, Any], rows: RowsLike) -> str:
    """The whole page.

    report: what report.json holds, times [s], volts [V], charge [Ah], thresholds [mV], [ms];
    rows: the rows it was made from, volts [V], amps [A].
    """
    findings = sorted(report["findings"], key=lambda finding: WEIGHTS.index(finding["weight"]))
    pictures = [Markup(drive_svg(drive, rows, report["thresholds"])) for drive in report["drives"]]
    limits = [threshold(name, value) for name, value in report["thresholds"].items()]
    return template("review/report.html.j2", clock=clock, duration=duration).render(
        report=report, findings=findings, pictures=pictures, limits=limits, summary=summary(report)
    )
