"""How far the rows can be trusted, in words."""

from typing import Any

from underdash.review.stretches import LONGEST_JUDGED_S
from underdash.review.words import Said, clock, duration

_LATE_S = 7.0  # a verdict that comes later than this after its onset waited for volts that stood still


def trust(said: Said, report: dict[str, Any]) -> None:
    """Findings on the data themselves."""
    if report["mismatches"]:
        said.add(
            "watch",
            f"Board and desk disagree on {report['mismatches']} rows: the firmware and this program are of "
            "different versions, or a sensor line was changed.",
            "; ".join(report["mismatch_examples"]),
        )
    if report["lost_rows"] or report["damaged_bytes"]:
        said.add(
            "note",
            f"{report['lost_rows']} rows are missing and {report['damaged_bytes']} bytes unreadable; "
            "what is reported leaves them out.",
            f"{report['unchecked_rows']} rows after a hole could not be checked",
        )
    if report["period_s"] > LONGEST_JUDGED_S:
        said.add(
            "note",
            f"The rows are {report['period_s']:.0f} s apart, and a verdict needs one each {LONGEST_JUDGED_S:.0f} s: "
            "no drive, episode or rest can be told from them. Charge is counted, where a clamp was read.",
            f"{report['rows']} rows",
        )
    elif report["gaps"]:
        longest = max(report["gaps"], key=lambda gap: abs(gap["length_s"]))
        said.add(
            "note",
            f"{len(report['gaps'])} holes in the rows; what happened in them is not known, and no charge is counted "
            "across.",
            f"the longest from {clock(longest['start_s'])}, {duration(abs(longest['length_s']))}: {longest['why']}",
            t_s=longest["start_s"],
        )
    if not report["clamp"]:
        _late(said, report)
    if not report["drives"]:
        text = "No drive in these rows: no crank and no charging volts were seen."
        said.add("note", text, f"{report['rows']} rows")


def _late(said: Said, report: dict[str, Any]) -> None:
    for drive in report["drives"]:
        for episode in drive["episodes"]:
            if episode["kind"] == "discharging" and episode["shown_s"] - episode["start_s"] > _LATE_S:
                said.add(
                    "note",
                    "Without a clamp a deficit shows late where the volts stand still.",
                    clock(episode["start_s"]),
                    drive=drive["number"],
                    row=episode["first_row"],
                    t_s=episode["start_s"],
                )
                return
