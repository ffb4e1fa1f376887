"""What the pages say of a report: lengths, thresholds, charge, a drive's facts, where a finding's evidence stands."""

from collections.abc import Iterable, Mapping
from typing import Any

from underdash.page import count, number, signed, span
from underdash.review import words
from underdash.review.alike import again, alike, in_others
from underdash.review.clock import clock, days, in_utc, nearest, since
from underdash.review.crank_words import charging_after

_UNITS = {"mv": "V", "ms": "s", "ma": "A"}
_OPEN = {"act": 6, "watch": 6, "note": 3, "well": 3}  # findings of a weight that a page shows before it folds the rest
_PRINTED = 3  # and those that it prints in all

Finding = dict[str, Any]


def duration(seconds: float | None) -> str:
    """A length of time [s] in words, below a minute to the tenth of a second. Never h:mm:ss, which is a moment."""
    if seconds is None:
        return "not measured"
    return f"{seconds:.1f} s" if seconds < 59.95 else words.duration(seconds)


def threshold(name: str, value: float) -> tuple[str, str]:
    """A threshold in words: `discharging_mv`, 13000 [mV] becomes `discharging`, `13.00 V`."""
    stem, _, unit = name.rpartition("_")
    if unit not in _UNITS:
        return name.replace("_", " "), str(value)
    shown = stem.replace("_", " ") + (" for" if unit == "ms" else "")
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
    lasted = duration(sum(drive["length_s"] for drive in drives))
    dated = days([drive["dated"] for drive in drives])
    return f"{count(len(drives), 'drive')}, {lasted} in all{', ' if dated else ''}{dated}. " + episodes(
        [episode for drive in drives for episode in drive["episodes"]]
    )


def times(report: dict[str, Any]) -> str:
    """How the page tells moments, in a sentence."""
    dated = [bool(drive["dated"]) for drive in report["drives"]]
    count_from = since(report["board"])
    if not any(dated):
        return f"Times are h:mm:ss, {count_from}."
    undated = "" if all(dated) else f"; those of an undated drive h:mm:ss, {count_from}"
    utc = {in_utc(drive, report["board"]) for drive in report["drives"] if drive["dated"]}
    kind = (
        "local"
        if utc == {False}
        else "UTC, as the log has them"
        if utc == {True}
        else "local or UTC, as the logs have them"
    )
    return f"Times are {kind}{undated}."


def episodes(found: list[dict[str, Any]]) -> str:
    """Episodes counted, in one sentence."""
    if not found:
        return "No episode of any kind."
    kinds = sorted({episode["kind"] for episode in found})
    each = [f"{sum(e['kind'] == kind for e in found)} {kind}" for kind in kinds]
    lasted = duration(sum(episode["length_s"] for episode in found))
    return f"{count(len(found), 'episode')} ({', '.join(each)}), together {lasted}."


def timed(found: Iterable[Mapping[str, Any]], of: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Parts of a drive `of`, each with `at`, its beginning in words."""
    return [{**one, "at": clock(of, one["start_s"])} for one in found]


def between_drives(found: Iterable[Mapping[str, Any]], report: dict[str, Any]) -> list[dict[str, Any]]:
    """What is in no drive, a hole or an episode of a parked car, each with `at`, its beginning in words, with its day
    where one is known: by its own clock, else by that of the nearest dated drive of the same start."""
    told = []
    for one in found:
        of = one if "dated" in one else nearest(report["drives"], one["boot"], one["start_s"])
        at = clock(of, one["start_s"])
        told.append({**one, "at": f"{of['dated'][:10]} {at}" if of["dated"] and " " not in at else at})
    return told


def charge(episode: dict[str, Any]) -> str:
    """What an episode brought into the battery [Ah], out of it negative, with its bounds; or only these."""
    told, low, high = (episode[name] for name in ("charge_ah", "charge_low_ah", "charge_high_ah"))
    bounds = "" if low is None or high is None else span(low, high, 2, "")
    if told is None:
        return bounds or "not measured"
    figure = signed(told, 2)
    return f"{figure} ({bounds})" if bounds and bounds != figure else figure


def by_weight(found: Iterable[Finding]) -> list[Finding]:
    """Findings, the gravest first; those of one weight stay in their order."""
    return sorted(found, key=lambda finding: words.WEIGHTS.index(finding["weight"]))


def folded(found: list[Finding]) -> list[dict[str, Any]]:
    """Findings by weight: `first`, and `rest`, which the page folds away; `printed`: whether paper has it, too."""
    ranked = [{**one, "printed": place < _PRINTED} for place, one in enumerate(found)]
    groups = []
    for weight in words.WEIGHTS:
        mine, most = [one for one in ranked if one["weight"] == weight], _OPEN[weight]
        most = most if len(mine) > most + 1 else len(mine)  # a fold takes as much room as the one that it would hide
        if mine:
            groups.append({"first": mine[:most], "rest": mine[most:]})
    return groups


def once(found: list[Finding]) -> list[Finding]:
    """What is found alike once, with `also`: the `drive` and `href` of each other drive that shows it; and where there
    is none with `again`: how often else it was so, in words."""
    told = []
    for same in alike(found):
        also = [{"drive": one["drive"], "href": one.get("href")} for one in in_others(same)]
        told.append({**same[0], "also": also, "again": again(same)})
    return told


def linked(found: Iterable[Finding], page: dict[int, str], drives: list[dict[str, Any]]) -> list[Finding]:
    """Findings by weight, each with `href` and `shows`, its evidence's place on the page that `page` names for its
    drive; without them where it is about no single place. An empty name is the page itself."""
    return [{**finding, **place(finding, page, drives)} for finding in by_weight(found)]


def place(finding: Finding, page: dict[int, str], drives: list[dict[str, Any]]) -> dict[str, str]:
    """`href` and `shows` of one, as `linked` tells; nothing where it is about no drive of `page`."""
    drive, row, t_s = (finding[name] for name in ("drive", "row", "t_s"))
    if drive not in page:
        return {}
    at = "" if t_s is None else clock(drives[drive - 1], t_s)
    if row is not None:
        return {"href": f"{page[drive]}#drive={drive}&row={row}", "shows": f"Show row {row:,}{at and f' ({at})'}"}
    if t_s is not None:
        return {"href": f"{page[drive]}#drive={drive}&t={t_s}", "shows": f"Show {at}"}
    return {"href": page[drive] or f"#drive-{drive}", "shows": f"Show drive {drive}"}


def starts(report: dict[str, Any]) -> str | None:
    """What the number of a start is called; None for a log, which counts as one, unless its recorder began anew."""
    if report["board"] is not None:
        return "board start no."
    return "recorder start no." if len({drive["boot"] for drive in report["drives"]}) > 1 else None


def facts(drive: dict[str, Any], report: dict[str, Any]) -> list[tuple[str, str]]:
    """A drive in figures: (what, value). Those that only some logs allow are left out where there are none."""
    below = f"below {number(report['thresholds']['discharging_mv'] / 1000, 2, 'V')}"
    told = [
        ("length", duration(drive["length_s"])),
        ("at rest before", number(drive["rested_volts"], 2, "V")),
        ("set point", number(drive["set_point_volts"], 2, "V")),
    ]
    low, high = drive["set_point_low_volts"], drive["set_point_high_volts"]
    if low is not None and high is not None:
        told.append(("set point, 5 % to 95 %", span(low, high, 2, "V")))
    told.append((below, duration(drive["low_s"])))
    if drive["set_point_slope_v_per_k"] is not None:
        told.append(
            ("set point against the log's temperature", number(1000 * drive["set_point_slope_v_per_k"], 1, "mV/K"))
        )
    if drive["charging_after_s"] is not None:
        told.append(("charging", charging_after(drive)))
    for name, digits, unit, what in (
        ("out_ah", 2, "Ah", "charge out"),
        ("in_ah", 2, "Ah", "charge in"),
        ("out_wh", 1, "Wh", "energy out"),
        ("in_wh", 1, "Wh", "energy in"),
    ):
        if drive[name] is not None:
            told.append((what, number(drive[name], digits, unit)))
    told += [*_cycled(drive), *_by_speed(drive["idle"])]
    return told + [(start, str(drive["boot"])) for start in [starts(report)] if start]


def _cycled(drive: dict[str, Any]) -> Iterable[tuple[str, str]]:
    cycles = drive["cycles"]
    if cycles:
        many = sum(cycle["count"] for cycle in cycles)
        deepest = max(cycle["depth_ah"] for cycle in cycles)
        yield "battery cycles (ASTM E1049)", f"{many:g}, deepest {number(deepest, 2, 'Ah')}"
    if drive["life_share"] is not None:
        yield "of the battery's life, an estimate", f"{100 * drive['life_share']:.3g} %"


def _by_speed(speeds: dict[str, Any] | None) -> Iterable[tuple[str, str]]:
    for name, words_of in (("idle", "at 500 to 900 rpm"), ("fast", "at 2,000 to 3,000 rpm")):
        if speeds and speeds[f"{name}_volts"] is not None:
            yield words_of, f"{number(speeds[f'{name}_volts'], 2, 'V')} for {duration(speeds[f'{name}_s'])}"
