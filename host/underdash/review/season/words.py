"""What a season says in plain words, the most serious first, each with its evidence."""

from typing import Any

from underdash.review.clock import clock
from underdash.review.rest import USUAL_AH, drain_amps
from underdash.review.words import WEIGHTS, on

_WEIGHTS = {"act": "act", "drifting": "watch", "unknown": "note", "steady": "well"}


def findings(season: dict[str, Any] | None, capacity_ah: float | None = None) -> list[dict[str, Any]]:
    """[{weight, text, evidence, drive, row, t_s}] of a season as `season()` gives it; empty for none. capacity_ah: the
    battery's [Ah], None if unknown."""
    if season is None:
        return []
    found = [
        {
            "weight": _WEIGHTS[verdict["verdict"]],
            "text": f"{name.capitalize()}, over {season['drives']} drives: {verdict['verdict']}. {verdict['reason']}",
            "evidence": verdict["evidence"],
            "drive": verdict["drive"],
            "row": verdict["row"],
            "t_s": None,
        }
        for name, verdict in season["verdicts"].items()
    ]
    seldom = ", this once" if len(season["events"]) == 1 else ""
    found += [_left_on(event, seldom, capacity_ah) for event in season["events"]]
    explained = {"deficits at idle", "deficits while driving"}
    for quantity in season["quantities"]:
        change = quantity["change"]
        if quantity["name"] in explained and change is not None and change["after"] > change["before"]:
            since = f"drive {change['drive']}" + (f", {change['date'][:10]}" if change["date"] else "")
            found.append({
                "weight": "watch",
                "text": f"The battery has to help out more than it did: {quantity['name']} went from "
                f"{change['before']:.0f} to {change['after']:.0f} s in an hour.",
                "evidence": f"since {since}, confidence {100 * change['confidence']:.2f} %",
                "drive": change["drive"],
                "row": None,
                "t_s": None,
            })  # fmt: skip
    return sorted(found, key=lambda one: WEIGHTS.index(one["weight"]))


def _left_on(event: dict[str, Any], seldom: str, capacity_ah: float | None) -> dict[str, Any]:
    hours = event["length_s"] / 3600
    ah = USUAL_AH if capacity_ah is None else capacity_ah
    if event["amps"] is not None:
        drew = f"{event['amps']:.1f} A"
    elif event["drift_mv_per_h"] is not None and event["drift_mv_per_h"] < 0.0:
        drew = f"some {drain_amps(event['drift_mv_per_h'], ah):.1f} A if the battery holds {ah:.0f} Ah"
    else:
        drew = "how much is not known"
    volts = "" if event["volts"] is None else f", down to {event['volts']:.2f} V"
    day = f"{on(event['dated'])}, " if event["dated"] else ""
    return {
        "weight": "watch",
        "text": f"Something was left on while the car was parked{seldom} ({drew}, for up to {hours:.1f} h). A lamp, "
        "most often. It says nothing against the battery, but each deep discharge costs it life.",
        "evidence": f"{day}from {clock(event, event['start_s'])}{volts}",
        "drive": None,
        "row": event["row"],
        "t_s": event["start_s"],
    }
