"""The review as text for a terminal."""

from typing import Any

from underdash.review.findings import clock, duration


def summary(report: dict[str, Any]) -> str:
    """Findings, then each drive in a few lines."""
    lines = [f"{report['source']}: {report['rows']} rows, {len(report['drives'])} drives", ""]
    for finding in report["findings"]:
        lines += [f"[{finding['weight']}] {finding['text']}", f"    {finding['evidence']}"]
    for number, drive in enumerate(report["drives"], 1):
        lines += ["", f"Drive {number}: from {clock(drive['start_s'])}, {duration(drive['length_s'])}"]
        if drive["rested_volts"] is not None:
            lines.append(f"  rested before: {drive['rested_volts']:.2f} V")
        if drive["set_point_volts"] is not None:
            lines.append(f"  charging, median: {drive['set_point_volts']:.2f} V")
        if drive["out_ah"] is not None:
            lines.append(f"  battery: {drive['out_ah']:.2f} Ah out, {drive['in_ah']:.2f} Ah in")
        for crank in drive["cranks"]:
            lines.append(
                f"  crank at {clock(crank['start_s'])}: {crank['length_s']:.1f} s, lowest {crank['lowest_volts']} V"
            )
        for episode in drive["episodes"]:
            lines.append(
                f"  {episode['kind']} at {clock(episode['start_s'])}: {duration(episode['length_s'])}, "
                f"lowest {episode['lowest_volts']} V"
            )
    lines += [
        "",
        f"Trust: {report['mismatches']} rows on which board and desk disagree, {report['unchecked_rows']} unchecked, "
        f"{report['lost_rows']} lost, {report['damaged_bytes']} bytes damaged.",
        "An aid, not a safeguard: confirm with a meter before you act.",
    ]
    return "\n".join(lines)
