"""The car's plan beside what its drives show, in words: each kind of deficit once, with what closes it."""

from itertools import groupby
from typing import Any

from underdash.review.clock import clock
from underdash.review.lost_volts import blamed
from underdash.review.words import Said, three

_CHECKS = 2  # drops to measure that are named in one finding


def planned(said: Said, report: dict[str, Any]) -> None:
    """One finding for each planned shortfall that the deficits come nearest to, and for those that are not planned."""
    plan = report["plan"]

    def kind(episode: dict[str, Any]) -> tuple[bool, bool, str]:
        near = episode["nearest"]
        where = "" if near is None else f"{near['speed']}, {near['situation']}"
        return episode["foreseen"], episode["milder"], where

    # What the season lays to another fault is no matter of the plan's.
    told = [episode for episode in plan["episodes"] if not blamed(report, episode["drive"])]
    for (foreseen, milder, where), group in groupby(sorted(told, key=kind), key=kind):
        _kind(said, report, list(group), foreseen, milder, where)


def closing(plan: dict[str, Any]) -> list[str]:
    """What alone closes the planned shortfall, a few words each."""
    return [
        f"{cure['kind']} {three(cure['needed'])} {cure['unit']} (now {three(cure['now'])})"
        for cure in plan["remedies"]
        if cure["needed"] is not None
    ]


def _kind(
    said: Said, report: dict[str, Any], episodes: list[dict[str, Any]], foreseen: bool, milder: bool, where: str
) -> None:
    plan = report["plan"]
    worst = max(episodes, key=lambda episode: float(episode["length_s"]))
    found = "not measured" if worst["found_volts"] is None else f"{worst['found_volts']:.2f} V"
    if worst["found_a"] is not None:
        found = f"{worst['found_a']:.1f} A"
    evidence = f"from {clock(report['drives'][worst['drive'] - 1], worst['start_s'])}: {found} on average"
    if len(episodes) > 1:
        evidence += f", the longest of {len(episodes)}"
    about = {
        "drive": worst["drive"],
        "row": worst["first_row"],
        "t_s": worst["start_s"],
        "cost": sum(episode["length_s"] for episode in episodes) / 3600,
    }
    near = worst["nearest"]
    checks = " ".join(check["text"] for check in plan["checks"][:_CHECKS])
    if near is None:
        said.add(
            "watch",
            f"The plan of {plan['car']} foresees no deficit, and here was one: a load that is not in the car file, an "
            f"alternator weaker than it says, or a slipping belt. {checks}".rstrip(),
            evidence,
            **about,
        )
        return
    swing = ""
    if near["most_a"] - near["least_a"] > 0.5:
        swing = f" ({near['least_a']:.1f} A with the fan off, {near['most_a']:.1f} A with it on)"
    told = f"the plan of {plan['car']}: at {where} the battery gives {near['battery_a']:.1f} A{swing}"
    evidence += f"; planned {near['battery_a']:.1f} A, {near['bus_volts']:.2f} V"
    if foreseen or milder:
        cures = closing(plan)
        closes = f" Any one of these closes it, margin included: {'; '.join(cures)}." if cures else ""
        known = f"This deficit is milder than in {told}" if milder else f"This deficit is in {told}"
        soon = ", with everything on and the alternator hot" if milder else ""
        said.add("note", f"{known}{soon}.{closes}", evidence, **about)
        return
    said.add(
        "watch",
        f"This deficit is not as in {told}. The car seems to differ from its file: a load, the pulley, the "
        f"alternator's output, or a connection. Measure amps and volts at a hot idle. {checks}".rstrip(),
        evidence,
        **about,
    )
