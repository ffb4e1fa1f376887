"""What the review says in plain words, the most serious first, each with its evidence."""

from typing import Any

from underdash.review import data_words, drive_words, plan_words
from underdash.review.charge_words import USUAL_A, moved
from underdash.review.clock import clock
from underdash.review.drive_words import slight
from underdash.review.rest import USUAL_AH, drain_amps
from underdash.review.season import words
from underdash.review.words import Said, duration, figure, on

_SEASON_AH = 5000.0
_SOON_S = 5.0  # a drive that begins so soon after what was drawn ended it (chosen here)
_FEW = 3  # up to so many nights are each told of; more together


def findings(report: dict[str, Any]) -> list[dict[str, Any]]:
    """[{weight, text, evidence, drive, row, t_s}] for an analysed report: by WEIGHTS, and among equals a season's
    first, then the costlier. drive and row (a place among the rows) are None where it is about no single one."""
    days = {drive["number"]: drive["dated"] for drive in report["drives"]}
    said = Said(several=len(report["drives"]) > 1, days=days)
    drive_words.drives(said, report)
    for episode in report["parked_episodes"]:
        _parked(said, episode, report["drives"])
    for rest in report["doubtful_rests"]:
        _doubtful(said, rest, report["drives"])
    # What was drawn while parked is told once: a night by the season, where it stands out there.
    parked = {(one["boot"], one["start_s"]) for one in report["parked_episodes"]}
    season = report.get("season")
    events = [] if season is None else [e for e in season["events"] if (e["boot"], e["start_s"]) not in parked]
    nights = {(one["boot"], one["start_s"]) for one in events}
    for rest in report["rests"]:
        if rest["drains"] and (rest["boot"], rest["start_s"]) not in nights:
            _drains(said, rest, report["capacity_ah"])
    _rested(said, [rest for rest in report["rests"] if rest["rested"] and not rest["drains"]])
    if "plan" in report:
        plan_words.planned(said, report)
    data_words.trust(said, report)
    # A season's come before those of single drives, but not before what says that nothing can be believed.
    said.found += [
        (_SEASON_AH, one) for one in words.findings(season and {**season, "events": events}, report["capacity_ah"])
    ]
    return said.ranked()


def undecided(report: dict[str, Any]) -> list[dict[str, Any]]:
    """The parked episodes of discharge, worth a line, that no crank followed and in which the engine may have run."""
    return [
        episode
        for episode in report["parked_episodes"]
        if episode["kind"] == "discharging" and episode["ran"] is not False and not slight([episode])
        and not _cranked(episode, report["drives"])
    ]  # fmt: skip


def _cranked(episode: dict[str, Any], drives: list[dict[str, Any]]) -> bool:
    """Whether a drive that began with a crank ended it."""
    end_s = episode["start_s"] + episode["length_s"]
    return any(drive["started_by"] == "crank" and 0.0 <= drive["start_s"] - end_s < _SOON_S for drive in drives)


def _parked(said: Said, episode: dict[str, Any], drives: list[dict[str, Any]]) -> None:
    volts = "volts not measured" if episode["lowest_volts"] is None else f"down to {episode['lowest_volts']:.2f} V"
    if episode["kind"] == "overcharge" and episode["highest_volts"] is not None:
        volts = f"up to {episode['highest_volts']:.2f} V"
    where = {"row": episode["first_row"], "t_s": episode["start_s"], "dated": on(episode["dated"])}
    length = duration(episode["length_s"])
    if slight([episode]):
        return
    if episode["kind"] != "discharging":
        said.add(
            "watch",
            f"{episode['kind'].capitalize()} for {length}, with no crank and no charging before it: a charger, or rows "
            "that begin in the middle of a drive.",
            f"{clock(episode, episode['start_s'])}, {volts}",
            **where,
        )
        return
    cranked = _cranked(episode, drives)
    amps = "" if episode["mean_amps"] is None else f"about {figure(-episode['mean_amps'], 0)} A "
    drew = amps or "current "
    took = f": the battery {charge}" if (charge := moved(episode)) else ""
    find = "Find what was left on; a lamp is about 1 A a pair, a fan that runs on 10 A and more."
    if episode["ran"]:
        text = (
            f"With the engine running, by the log's engine speed, the battery fed the car {amps}for {length}{took}. "
            "Its start is not in these rows. See to alternator, belt, its fuse and the charge cable."
        )
    elif cranked or episode["ran"] is not None:
        text = f"With the engine off, something drew {drew}from the battery for {length}{took}. {find}"
    else:
        text = (
            f"Something drew {drew}from the battery for {length}{took}. Either the engine was off: then find what was "
            "left on; a lamp is about 1 A a pair, a fan that runs on 10 A and more. Or it ran, and the rows begin, or "
            "go on after a hole, in a drive: no crank was seen."
        )
    said.add(
        "act", text, f"{clock(episode, episode['start_s'])}, {volts}", cost=-(episode["charge_ah"] or 0.0), **where
    )


def _doubtful(said: Said, rest: dict[str, Any], drives: list[dict[str, Any]]) -> None:
    """A rest in which the engine ran, or may have run."""
    drive = next(one for one in drives if one["number"] == rest["drive"])
    length = duration(rest["length_s"])
    volts = "volts not measured" if rest["lowest_volts"] is None else f"down to {rest['lowest_volts']:.2f} V"
    where = {"drive": rest["drive"], "row": rest["first_row"], "t_s": rest["start_s"]}
    end_s = rest["start_s"] + rest["length_s"]
    evidence = f"{clock(drive, rest['start_s'])} to {clock(drive, end_s)}, {volts}"
    below = f", below the {drive['rested_volts']:.2f} V before it" if drive["rested_volts"] is not None else ""
    came = " Charging came back without a crank." if rest["by"] == "no crank" else ""
    said.add(
        "watch",
        f"After this drive the volts stood still for {length} at {rest['mean_volts']:.2f} V{below}, and did not rise."
        f"{came} Either the engine was off and something was left on, or it ran on and the alternator gave too little. "
        "Without a clamp, the key or the engine's speed the rows cannot tell which.",
        evidence,
        cost=USUAL_A * rest["length_s"] / 3600,
        **where,
    )


def _drains(said: Said, rest: dict[str, Any], capacity_ah: float | None) -> None:
    if rest["mean_amps"] is not None and rest["mean_amps"] < 0.0:
        current = f"by the clamp {-rest['mean_amps']:.2f} A on average, if its zero can be trusted so far"
    else:
        ah = USUAL_AH if capacity_ah is None else capacity_ah
        current = f"about {drain_amps(rest['drift_mv_per_h'], ah) * 1000:.0f} mA if the battery holds {ah:.0f} Ah"
    said.add(
        "watch",
        f"Parked, the volts fell by {rest['fall_volts'] * 1000:.0f} mV once they had settled, more than a cold "
        f"night explains. Something may be drawing: {current}. "
        "Measure the current with everything off; car makers allow 25 to 50 mA.",
        f"{_from_to(rest)}, {rest['drift_mv_per_h']:.1f} mV/h ({rest['drift_low']:.1f} to {rest['drift_high']:.1f})",
        cost=-(rest["charge_ah"] or 0.0),
        **_about(rest),
    )


def _rested(said: Said, rests: list[dict[str, Any]]) -> None:
    """What the battery rested at over a night: more than a few nights together, by the lowest."""
    if len(rests) <= _FEW:
        for rest in rests:
            text = f"Rested volts: {rest['volts']:.2f} V after {duration(rest['length_s'])}."
            said.add("note", text, _from_to(rest), **_about(rest))
        return
    lowest = min(rests, key=lambda rest: float(rest["volts"]))
    least, most = f"{lowest['volts']:.2f}", f"{max(rest['volts'] for rest in rests):.2f}"
    said.add(
        "note",
        f"Rested volts of {len(rests)} rests of 8 h and more: {least if least == most else f'{least} to {most}'} V, "
        f"{rests[-1]['volts']:.2f} V at the last.",
        f"the lowest {_from_to(lowest)}",
        **_about(lowest),
    )


def _from_to(what: dict[str, Any]) -> str:
    return f"{clock(what, what['start_s'])} to {clock(what, what['start_s'] + what['length_s'])}"


def _about(rest: dict[str, Any]) -> dict[str, Any]:
    return {"row": rest["first_row"], "t_s": rest["start_s"], "dated": on(rest["dated"])}
