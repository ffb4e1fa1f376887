"""The review as text for a terminal."""

from typing import Any

from underdash.review.alike import again, alike, in_others
from underdash.review.charge_words import decimals, moved
from underdash.review.clock import clock, log_of, when
from underdash.review.crank_words import beyond_the_clamp, charging_after, is_slow, lasted
from underdash.review.words import count, duration, figure, furthest

_MOST_SHOWN = 12  # changes of what the board said, and episodes, that are listed for one drive
_MOST_DRIVES = 20


def summary(report: dict[str, Any]) -> str:
    """The answers, the findings, then each drive in a few lines."""
    drives = report["drives"]
    lines = [f"{report['source']}: {count(report['rows'], 'row')}, {count(drives, 'drive')}", ""]
    for one in report["answers"]:
        lines += [one["question"], f"    {one['answer']}"]
    lines.append("")
    for same in alike(report["findings"]):
        finding = same[0]
        lines += [f"[{finding['weight']}] {finding['text']}", f"    {_evidence(finding)}"]
        if others := in_others(same):
            where = ", ".join(str(one["drive"]) for one in others)
            lines.append(f"    and much the same in {count(others, 'more drive')}: {where}")
        elif often := again(same):
            lines.append(f"    and {often}")
    dead_a = report["thresholds"]["clamp_dead_ma"] / 1000
    showed = "the board showed" if report["board"] else "a board would have shown"
    told = _told(report)
    for drive in told:
        lines += ["", *_drive(drive, showed, dead_a, is_slow(report), log_of(report, drive))]
    if len(drives) > len(told):
        lines += ["", f"... and {count(len(drives) - len(told), 'more drive')}: --html and --json have all."]
    lines += [
        "",
        _trust(report),
        "An aid, not a safeguard: confirm with a meter before you act.",
    ]
    return "\n".join(lines)


def _evidence(finding: dict[str, Any]) -> str:
    where = "" if finding["row"] is None else f" (row {finding['row']})"
    return f"{finding['evidence']}{where}"


def _told(report: dict[str, Any]) -> list[dict[str, Any]]:
    """The drives that are told of: of many those with something to act on or to watch, then the latest."""
    grave = {one["drive"] for one in report["findings"] if one["weight"] in ("act", "watch")}
    ranked = sorted(report["drives"], key=lambda drive: (drive["number"] not in grave, -drive["number"]))
    return sorted(ranked[:_MOST_DRIVES], key=lambda drive: int(drive["number"]))


def _trust(report: dict[str, Any]) -> str:
    if not report["board"]:
        return f"Trust: a log, judged here and by no board; {count(report['gaps'], 'hole')}."
    return (
        f"Trust: {count(report['mismatches'], 'row')} on which board and desk disagree, "
        f"{report['unchecked_rows']} unchecked, {report['lost_rows']} lost, "
        f"{count(report['damaged_bytes'], 'byte')} damaged, {count(report['refused_frames'], 'frame')} refused, "
        f"{count(report['gaps'], 'hole')}."
    )


def _drive(drive: dict[str, Any], showed: str, dead_a: float, slow: bool, log: str | None) -> list[str]:
    span = f"{clock(drive, drive['start_s'])} to {clock(drive, drive['end_s'])}, {duration(drive['length_s'])}"
    name = f"Drive {drive['number']}" + (f" of {log}" if log else "")
    day = drive["dated"][:10] if drive["dated"] else when(drive)  # the time follows
    lines = [f"{name}, {day}: {span}, start seen by its {drive['started_by']}"]
    if drive["rested_volts"] is not None:
        lines.append(f"  rested before: {drive['rested_volts']:.2f} V")
    for crank in drive["cranks"]:
        lines.append(f"  {_crank(drive, crank, slow)}")
    if drive["charging_after_s"] is not None:
        lines.append(f"  charging: {charging_after(drive)}")
    if drive["set_point_volts"] is not None:
        lines.append(f"  {_set_point(drive)}")
    if drive["idle"] and drive["idle"]["idle_volts"] is not None:
        fast = drive["idle"]["fast_volts"]
        beside = "" if fast is None else f"; at 2,000 to 3,000 rpm {fast:.2f} V"
        lines.append(f"  at idle, median: {drive['idle']['idle_volts']:.2f} V{beside}")
    shares = sorted(drive["shares"].items(), key=lambda pair: -pair[1])
    lines.append("  time: " + ", ".join(f"{name} {share:.1%}" for name, share in shares))
    if drive["out_ah"] is not None:
        off = dead_a * sum(drive["states"].values()) / 3600
        digits = decimals(off)
        lines.append(
            f"  battery: {figure(drive['out_ah'], digits)} Ah ({drive['out_wh']:.0f} Wh) out, "
            f"{figure(drive['in_ah'], digits)} Ah ({drive['in_wh']:.0f} Wh) in by the clamp, whose zero may put the "
            f"balance out by {off:.1g} Ah"
        )
    for episode in drive["episodes"][:_MOST_SHOWN]:
        lines.append(f"  {_episode(drive, episode)}")
    if len(drive["episodes"]) > _MOST_SHOWN:
        lines.append(f"  ... and {count(len(drive['episodes']) - _MOST_SHOWN, 'more episode')}")
    warned = [change for change in drive["shown"] if change["warnings"]]
    for change in warned[:_MOST_SHOWN]:
        lines.append(f"  {showed} at {clock(drive, change['t_s'])}: {', '.join(change['warnings'])}")
    if len(warned) > _MOST_SHOWN:
        lines.append(f"  ... and {count(len(warned) - _MOST_SHOWN, 'more change')} of its warnings")
    if not warned:
        lines.append(f"  {showed} no warning")
    return lines


def _crank(drive: dict[str, Any], crank: dict[str, Any], slow: bool) -> str:
    lowest = "not measured" if crank["lowest_volts"] is None else f"{crank['lowest_volts']:.2f} V"
    told = f"crank at {clock(drive, crank['start_s'])}: {lasted(crank, slow)}, lowest {lowest}"
    if crank["held_volts"] is not None:
        told += f", held {crank['held_volts']:.2f} V"
    if crank["resistance_ohm"] is not None:
        told += f"; {crank['resistance_ohm'] * 1000:.1f} mohm"
    return "; ".join(one for one in (told, beyond_the_clamp(crank)) if one)


def _set_point(drive: dict[str, Any]) -> str:
    told = f"charging, median: {drive['set_point_volts']:.2f} V"
    if drive["set_point_low_volts"] is not None:
        told += f", nine tenths of the time {drive['set_point_low_volts']:.2f} to {drive['set_point_high_volts']:.2f} V"
    if drive["set_point_slope_v_per_k"] is not None:
        told += f", {drive['set_point_slope_v_per_k'] * 1000:+.1f} mV/K against the log's temperature"
    return told


def _episode(drive: dict[str, Any], episode: dict[str, Any]) -> str:
    at = clock(drive, episode["start_s"])
    told = f"{episode['kind']} at {at}: {duration(episode['length_s'])}, {furthest(episode)}"
    return f"{told}, {charge}" if (charge := moved(episode)) else told
