"""What the pages say of a report: times, thresholds, charge, a drive's facts, and where a finding's evidence stands."""

from collections.abc import Iterable
from typing import Any

from underdash.page import count, number
from underdash.review.findings import WEIGHTS, clock

_UNITS = {"mv": "V", "ms": "s", "ma": "A"}

Finding = dict[str, Any]


def duration(seconds: float | None) -> str:
    """A length of time [s]: seconds below a minute, else h:mm:ss."""
    if seconds is None:
        return "not measured"
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


def thresholds(report: dict[str, Any]) -> list[tuple[str, str]]:
    """All of a report's thresholds in words."""
    return [threshold(name, value) for name, value in report["thresholds"].items()]


def summary(report: dict[str, Any]) -> str:
    """The report in one line."""
    drives = report["drives"]
    if not drives:
        return f"{count(report['rows'], 'row')} and no drive among them."
    return f"{count(len(drives), 'drive')}, {clock(sum(drive['length_s'] for drive in drives))} in all. " + episodes(
        [episode for drive in drives for episode in drive["episodes"]]
    )


def episodes(found: list[dict[str, Any]]) -> str:
    """Episodes counted, in one sentence."""
    if not found:
        return "No episode of any kind."
    kinds = sorted({episode["kind"] for episode in found})
    each = [f"{sum(e['kind'] == kind for e in found)} {kind}" for kind in kinds]
    lasted = clock(sum(episode["length_s"] for episode in found))
    return f"{count(len(found), 'episode')} ({', '.join(each)}), together {lasted}."


def charge(episode: dict[str, Any]) -> str:
    """What an episode took out of the battery or brought into it, and on what that rests: measured, or two bounds."""
    low, high = episode.get("charge_low_ah"), episode.get("charge_high_ah")
    if episode.get("charge_ah") is not None:
        return number(episode["charge_ah"], 2, "Ah")
    if low is None or high is None:
        return "not measured"
    return f"{number(low, 2, '').strip()} to {number(high, 2, 'Ah')}"


def by_weight(found: Iterable[Finding]) -> list[Finding]:
    """Findings, the gravest first; those of one weight stay in their order."""
    return sorted(found, key=lambda finding: WEIGHTS.index(finding["weight"]))


def linked(found: Iterable[Finding], page: dict[int, str]) -> list[Finding]:
    """Findings by weight, each with `href` and `shows`, its evidence's place on the page that `page` names for its
    drive; without them where it is about no single place. An empty name is the page itself."""
    return [{**finding, **_place(finding, page)} for finding in by_weight(found)]


def _place(finding: Finding, page: dict[int, str]) -> dict[str, str]:
    drive, row, t_s = (finding.get(name) for name in ("drive", "row", "t_s"))
    if drive not in page:
        return {}
    if row is not None:
        at = "" if t_s is None else f" ({clock(t_s)})"
        return {"href": f"{page[drive]}#drive={drive}&row={row}", "shows": f"Show row {row:,}{at}"}
    if t_s is not None:
        return {"href": f"{page[drive]}#drive={drive}&t={t_s}", "shows": f"Show {clock(t_s)}"}
    return {"href": page[drive] or f"#drive-{drive}", "shows": f"Show drive {drive}"}


def dated(moment: str | None) -> str:
    """When something was, as local date and minute; said where no clock told."""
    return "undated" if not moment else moment.replace("T", " ")[:16]


def facts(drive: dict[str, Any], limits: dict[str, Any]) -> list[tuple[str, str]]:
    """A drive in figures: (what, value). Those that only some logs allow are left out where there are none."""
    below = f"below {number(limits['discharging_mv'] / 1000, 2, 'V')}"
    told = [
        ("board start no.", str(drive["boot"])),
        ("length", clock(drive["length_s"])),
        ("at rest before", number(drive["rested_volts"], 2, "V")),
        ("set point", number(drive["set_point_volts"], 2, "V")),
        (below, clock(drive["low_s"])),
    ]
    low, high = drive.get("set_point_low_volts"), drive.get("set_point_high_volts")
    if low is not None and high is not None:
        told.append(("set point, 5 % to 95 %", f"{low:.2f} to {number(high, 2, 'V')}"))
    if drive.get("set_point_slope_v_per_k") is not None:
        told.append(("against temperature", number(1000 * drive["set_point_slope_v_per_k"], 1, "mV/K")))
    if drive.get("charging_after_s") is not None:
        told.append(("charging after", duration(drive["charging_after_s"])))
    for name, digits, unit, words in (
        ("out_ah", 2, "Ah", "charge out"),
        ("in_ah", 2, "Ah", "charge in"),
        ("out_wh", 1, "Wh", "energy out"),
        ("in_wh", 1, "Wh", "energy in"),
    ):
        if drive.get(name) is not None:
            told.append((words, number(drive[name], digits, unit)))
    return told + list(_cycled(drive)) + list(_by_speed(drive.get("idle")))


def _cycled(drive: dict[str, Any]) -> Iterable[tuple[str, str]]:
    cycles = drive.get("cycles") or []
    if cycles:
        many = sum(cycle["count"] for cycle in cycles)
        deepest = max(cycle["depth_ah"] for cycle in cycles)
        yield "battery cycles (ASTM E1049)", f"{many:g}, deepest {number(deepest, 2, 'Ah')}"
    if drive.get("life_share") is not None:
        yield "of the battery's life, an estimate", f"{100 * drive['life_share']:.3g} %"


def _by_speed(speeds: dict[str, Any] | None) -> Iterable[tuple[str, str]]:
    for name, words in (("idle", "at 500 to 900 rpm"), ("fast", "at 2,000 to 3,000 rpm")):
        if speeds and speeds.get(f"{name}_volts") is not None:
            yield words, f"{number(speeds[f'{name}_volts'], 2, 'V')} for {duration(speeds[f'{name}_s'])}"
