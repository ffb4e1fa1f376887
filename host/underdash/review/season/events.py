"""What happened once, or is happening now: a night that something was left on, an alternator that gives nothing."""

from math import isfinite
from statistics import median
from typing import Any

from underdash.review.season.load_steps import Steps

_LEAST_NIGHTS = 5  # to know what is usual
_LOW_V = 0.2  # this much below the rested volts of the nights around it is a quarter of the charge (BCI table: 0.2 V)
_AROUND = 5  # nights on each side
_FAST_MV_H = 5.0  # a drift this much faster than usual is no cold night's (chosen here: 0.4 A out of 60 Ah)
_SELDOM = 0.2  # share of nights; what happens in more of them is not something left on
_PARKED_S = 600.0
_DEAD_S = 300.0  # at the end of a drive; shorter may be a hot idle like others (chosen here)
_APART_S = 30.0
_NEVER_S = 60.0  # enough where it never charged at all
_ALONE_V = 12.45  # a battery that carries the car alone stands below its rested volts, 12.65 V full (BCI table), by
_ALONE_SHARE = 0.7  # what the loads take: most of what the key's take, where that is known
_SAG_V = 0.3  # more sag with the key on than usual is a bad connection's work


def left_on(report: dict[str, Any], early: list[float | None] | None = None) -> list[dict[str, Any]]:
    """Each rest in which something drew, unlike the others: kind, boot, dated, start_s, length_s, volts,
    drift_mv_per_h, amps, row.

    With a clamp it shows as a parked episode with its amps. Without, as a drift far faster than is usual, or as volts
    far lower at the end of a rest than at the end of those around it. early: of `nights.early_drifts`; they stand for
    the drift of nights too short for one of their own.
    """
    found = [
        {
            "kind": "left on",
            "boot": episode.get("boot"),
            "dated": episode["dated"],
            "start_s": episode["start_s"],
            "length_s": episode["length_s"],
            "volts": episode["lowest_volts"],
            "drift_mv_per_h": None,
            "amps": None if episode["mean_amps"] is None else -episode["mean_amps"],
            "row": episode.get("first_row"),
        }
        for episode in report["parked_episodes"]
        if episode["kind"] == "discharging" and episode["length_s"] >= _PARKED_S and not _may_have_run(episode)
    ]
    rests = [
        {**rest, "drift_mv_per_h": _finite(rest["drift_mv_per_h"]), "early": _finite(soon)}
        for rest, soon in zip(report["rests"], early or [None] * len(report["rests"]), strict=True)
        if _finite(rest["volts"]) is not None and (rest["rested"] or soon is not None)
    ]
    if len(rests) < _LEAST_NIGHTS:
        return found
    usual_v = median(rest["volts"] for rest in rests)
    usual = {name: _usual(rests, name) for name in ("drift_mv_per_h", "early")}
    nights = []
    for index, rest in enumerate(rests):
        name = "early" if rest["drift_mv_per_h"] is None else "drift_mv_per_h"
        fast = rest[name] is not None and rest[name] < usual[name] - _FAST_MV_H
        around = rests[max(index - _AROUND, 0) : index] + rests[index + 1 : index + 1 + _AROUND]
        least = min(usual_v, median(one["volts"] for one in around))  # a battery that ages rests lower for good
        if fast or rest["volts"] < least - _LOW_V:
            # Surface charge is in an early drift, and about the same each night.
            drift = rest[name] - usual[name] if name == "early" and rest[name] is not None else rest[name]
            nights.append({**rest, "drift_mv_per_h": drift})
    if len(nights) > max(1, _SELDOM * len(rests)):
        return found
    return found + [
        {
            "kind": "left on",
            "boot": rest["boot"],
            "dated": rest["dated"],
            "start_s": rest["start_s"],
            "length_s": rest["length_s"],
            "volts": rest["volts"],
            "drift_mv_per_h": rest["drift_mv_per_h"],
            "amps": None,
            "row": rest["first_row"],
        }
        for rest in nights
    ]


def _usual(rests: list[dict[str, Any]], name: str) -> float:
    known = [rest[name] for rest in rests if rest[name] is not None]
    return median(known) if known else 0.0


def _may_have_run(episode: dict[str, Any]) -> bool:
    """Whether the engine ran in a parked episode, or nothing tells that it did not: then it may be no parked car's."""
    ran = episode.get("ran")
    return ran is True or (ran is None and episode["mean_amps"] is None)


def unsure(report: dict[str, Any]) -> list[dict[str, Any]]:
    """Parked episodes after the last drive in which an engine may have run on its battery for minutes, or not."""
    last = report["drives"][-1]["last_row"]
    return [
        one
        for one in report["parked_episodes"]
        if one["kind"] == "discharging" and one["length_s"] >= _DEAD_S and one["first_row"] > last
        and one.get("ran") is None and one["mean_amps"] is None
    ]  # fmt: skip


def not_charging(report: dict[str, Any], steps: list[Steps] | None = None) -> dict[str, Any] | None:
    """Since when the alternator gives nothing, if it gave nothing to the end of the latest drive: drive, dated,
    start_s, row, volts. The drive is None where the engine ran, by its speed, and no row tells that it started.

    A drive ends so if it discharged to its end for five minutes or more, or never charged, at volts that a battery
    alone could hold; and it is not the alternator if the key's loads pull the volts down further since then.
    """
    drives = report["drives"]
    sags = [_key_sag(drive, None if steps is None else steps[index]) for index, drive in enumerate(drives)]
    known = [sag for sag in sags if sag is not None]
    usual = median(known) if known else None
    rested = [volts for volts in (_finite(drive["rested_volts"]) for drive in drives) if volts is not None]
    limit = _ALONE_V if usual is None or not rested else median(rested) - _ALONE_SHARE * usual
    ran = [
        one
        for one in report["parked_episodes"]
        if one.get("ran") and one["kind"] == "discharging" and one["length_s"] >= _NEVER_S
    ]
    since, at = None, len(drives)
    for outing in sorted([*ran, *drives], key=lambda one: (one["first_row"], one.get("number", 0)), reverse=True):
        number = outing.get("number")
        found = _ends_dead(outing, limit) if number else _ran_dead(outing, limit)
        if found is None:
            break
        since = {"drive": number, "dated": outing.get("dated"), **found}
        at = number - 1 if number else at
    if since is not None:
        if not known and steps is not None:  # with no rest before it, the key's own volts have to do
            sags = [None if one["key_volts"] is None else -one["key_volts"] for one in steps]
        before, after = ([sag for sag in part if sag is not None] for part in (sags[:at], sags[at:]))
        if before and after and median(after) > median(before) + _SAG_V:
            return None
    return since


def _ran_dead(episode: dict[str, Any], limit: float) -> dict[str, Any] | None:
    """The same of an engine that ran in no drive."""
    volts = _finite(episode["mean_volts"])
    if volts is None or volts >= limit:
        return None
    return {"start_s": episode["start_s"], "row": episode["first_row"], "volts": volts}


def _key_sag(drive: dict[str, Any], steps: Steps | None) -> float | None:
    before = _finite(steps["key_volts"] if steps else drive["cranks"][0]["before_volts"] if drive["cranks"] else None)
    rested = _finite(drive["rested_volts"])
    return None if before is None or rested is None else rested - before


def _finite(value: float | None) -> float | None:
    """None for what is no number: such is not known."""
    return value if value is not None and isfinite(value) else None


def _ends_dead(drive: dict[str, Any], limit: float) -> dict[str, Any] | None:
    """Where the discharge began that the drive ended with, a load's inrush or another crank within it left out. None
    also where the engine did not start."""
    if not drive["started"]:
        return None
    next_s, length_s, volt_s, first = drive["start_s"] + drive["length_s"], 0.0, 0.0, None
    for episode in reversed(drive["episodes"]):
        discharging = episode["kind"] == "discharging" and _finite(episode["mean_volts"]) is not None
        if not discharging or episode["start_s"] + episode["length_s"] < next_s - _APART_S:
            break
        first, next_s = episode, episode["start_s"]
        length_s += episode["length_s"]
        volt_s += episode["length_s"] * episode["mean_volts"]
    least_s = _NEVER_S if drive["set_point_volts"] is None else _DEAD_S
    if first is None or length_s < least_s or volt_s / length_s >= limit:
        return None
    return {"start_s": first["start_s"], "row": first["first_row"], "volts": volt_s / length_s}
