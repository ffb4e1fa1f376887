"""The demo's season: ten weeks of the same car as a log, reviewed, and held against what was done to it."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from underdash.car import build
from underdash.car.season import BAD_FROM, DARK_FROM, evenings, log
from underdash.carfile import CarFile
from underdash.cli.progress import bar
from underdash.problems import readable, write_whole
from underdash.review import review
from underdash.review.pages import write_pages

_LATE_DRIVES = 2  # by how many drives the date of a change may be off


def run(car: CarFile, out: Path, say: Callable[[str], None]) -> list[str]:
    """Leave the log, the report and the pages in `out`; one line for each thing that is not as promised."""
    say("Ten weeks of that car, a drive every other evening (invented data)")
    say(f"  it is dark from drive {DARK_FROM} on, a ground joint bad from drive {BAD_FROM} on; the review is not told")
    with readable(out):
        shutil.rmtree(out, ignore_errors=True)
    with bar("season", unit="drives") as show:
        season = evenings(build(car), show)
    write_whole(out / "log.csv", log(season).encode())
    report, rows = review(out / "log.csv", {"t_s": "time"}, car=car)
    write_whole(out / "report.json", json.dumps(report, indent=1).encode() + b"\n")
    with bar("pages", unit="pages") as show:
        write_pages(report, rows, out, show)
    for asked in report["answers"][:2]:
        say(f"  {asked['question']} {asked['answer']}")
    for part, verdict in report["season"]["verdicts"].items():
        since = f" (since drive {verdict['drive']})" if verdict["drive"] else ""
        say(f"  {part}: {verdict['verdict']}{since}. {verdict['reason']}")
    return _against_truth(len(season), report)


def _against_truth(drives: int, report: dict[str, Any]) -> list[str]:
    problems = []
    if len(report["drives"]) != drives:
        problems.append(f"{drives} drives were driven, {len(report['drives'])} were found")
    short = [one["number"] for one in report["drives"] if any(e["kind"] == "discharging" for e in one["episodes"])]
    if not short or abs(short[0] - DARK_FROM) > _LATE_DRIVES:
        problems.append(f"the battery fed the car from drive {DARK_FROM} on, found: {short[:1]}")
    verdicts = report["season"]["verdicts"]
    joint = verdicts["connection"]
    if joint["verdict"] not in ("drifting", "act") or abs((joint["drive"] or 0) - BAD_FROM) > _LATE_DRIVES:
        problems.append(f"a joint went bad at drive {BAD_FROM}, the review says {joint['verdict']}, {joint['drive']}")
    if verdicts["battery"]["verdict"] != "steady":
        problems.append(f"nothing was done to the battery, the review says {verdicts['battery']['verdict']}")
    return problems
