"""What the review says in plain words, the most serious first, each with its evidence."""

from typing import Any

from underdash.review.rest import drain_amps

# From the gravest to the reassuring.
WEIGHTS = ("act", "watch", "note", "well")


def clock(seconds: float) -> str:
    """h:mm:ss since the board's start."""
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def duration(seconds: float) -> str:
    """A length of time in words."""
    whole = round(seconds)
    if whole < 120:
        return f"{whole} s"
    if whole < 7200:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole // 60 % 60} min"


def findings(report: dict[str, Any]) -> list[dict[str, str]]:
    """[{weight, text, evidence}] for an analysed report, ordered by WEIGHTS."""
    found: list[dict[str, str]] = []

    def say(weight: str, text: str, evidence: str) -> None:
        found.append({"weight": weight, "text": text, "evidence": evidence})

    several = len(report["drives"]) > 1
    for number, drive in enumerate(report["drives"], 1):
        where = f"drive {number}, " if several else ""
        for episode in drive["episodes"]:
            _episode(say, drive, episode, where)
        for crank in drive["cranks"]:
            weak = report["thresholds"]["weak_crank_mv"] / 1000
            if crank["held_volts"] is not None and crank["held_volts"] < weak:
                say(
                    "watch",
                    f"While cranking the battery held only {crank['held_volts']:.2f} V, below {weak:.1f} V. "
                    "Have the battery load-tested and the starter's cables checked for voltage drop.",
                    f"{where}crank at {clock(crank['start_s'])}, {crank['length_s']:.1f} s long",
                )
        if not drive["episodes"] and drive["set_point_volts"] is not None:
            say(
                "well",
                f"The alternator carried the car throughout, at {drive['set_point_volts']:.2f} V.",
                f"{where}{clock(drive['start_s'])} to {clock(drive['start_s'] + drive['length_s'])}",
            )
        elif drive["set_point_volts"] is None:
            say(
                "act",
                "Charging volts were never reached in this drive: alternator, belt, its fuse or the charge cable.",
                f"{where}from {clock(drive['start_s'])}",
            )
    for episode in report["parked_episodes"]:
        say(
            "act",
            f"With the engine off, something drew {_amps(episode)} from the battery for "
            f"{duration(episode['length_s'])}.",
            f"{clock(episode['start_s'])}, down to {episode['lowest_volts']} V",
        )
    for rest in report["rests"]:
        _rest(say, rest)
    for episode in report.get("plan", {}).get("episodes", ()):
        _planned(say, report["plan"], episode)
    _trust(say, report)
    if not report["drives"]:
        say("note", "No drive in these rows: no crank and no charging volts were seen.", f"{report['rows']} rows")
    return sorted(found, key=lambda finding: WEIGHTS.index(finding["weight"]))


def _amps(episode: dict[str, Any]) -> str:
    return f"{-episode['mean_amps']:.1f} A" if episode["mean_amps"] is not None else "current"


def _episode(say: Any, drive: dict[str, Any], episode: dict[str, Any], where: str) -> None:
    start_s, length_s = episode["start_s"], episode["length_s"]
    span = f"{where}{clock(start_s)} to {clock(start_s + length_s)}"
    evidence = f"{span}, lowest {episode['lowest_volts']:.2f} V, mean {episode['mean_volts']:.2f} V"
    if episode["kind"] == "overcharge":
        say(
            "act",
            f"Overcharge for {duration(length_s)}, up to {episode['highest_volts']:.2f} V. The regulator or its "
            "sensing is at fault; a battery that gasses is ruined, and dangerous.",
            span,
        )
    elif episode["kind"] == "marginal":
        say("note", f"Charging was marginal for {duration(length_s)}: the alternator barely carried the car.", evidence)
    else:
        if episode["charge_ah"] is not None:
            cost = f"It gave {-episode['charge_ah']:.2f} Ah, {-episode['mean_amps']:.1f} A on average"
            short = f"The alternator was about {-episode['mean_amps']:.0f} A short of the load"
        else:
            cost = "How much it gave is not known without a clamp"
            short = "The alternator was short of the load"
        after = start_s + length_s < drive["start_s"] + drive["length_s"] - 1.0
        recovered = drive["set_point_volts"] is not None and after
        if recovered:
            cause = (
                f"{short} while it lasted; it charged at {drive['set_point_volts']:.2f} V at other times of this "
                "drive, so the machine works, and what is missing is output at low speed: a hot idle with "
                "everything on. A higher idle, a smaller alternator pulley, more rated output or less load at "
                "idle closes it."
            )
        else:
            cause = f"{short} to the end: alternator, belt, its fuse or the charge cable."
        say(
            "act" if length_s >= 60 else "watch",
            f"The battery fed the car for {duration(length_s)}. {cost}. {cause}",
            evidence,
        )


def _rest(say: Any, rest: dict[str, Any]) -> None:
    span = f"{clock(rest['start_s'])} to {clock(rest['start_s'] + rest['length_s'])}"
    if rest["drains"]:
        drain = drain_amps(rest["drift_mv_per_h"], 50.0)
        say(
            "watch",
            f"Parked, the volts fell by {rest['fall_volts'] * 1000:.0f} mV once they had settled, more than a cold "
            f"night explains. Something may be drawing: about {drain * 1000:.0f} mA if the battery holds 50 Ah. "
            "Measure the current with everything off; car makers allow 25 to 50 mA.",
            f"{span}, {rest['drift_mv_per_h']:.1f} mV/h ({rest['drift_low']:.1f} to {rest['drift_high']:.1f})",
        )
    if rest["rested"]:
        say("note", f"Rested volts: {rest['volts']:.2f} V after {duration(rest['length_s'])}.", span)


def _planned(say: Any, plan: dict[str, Any], episode: dict[str, Any]) -> None:
    found = f"{episode['found_volts']:.2f} V" if episode["found_a"] is None else f"{episode['found_a']:.1f} A"
    evidence = f"drive {episode['drive']}, from {clock(episode['start_s'])}: {found} on average"
    near = episode["nearest"]
    if near is None:
        say(
            "watch",
            f"The plan of {plan['car']} foresees no deficit, and here was one: a load that is not in the car file, an "
            "alternator weaker than it says, or a slipping belt.",
            evidence,
        )
        return
    where = f"{near['speed']}, {near['situation']}"
    swing = ""
    if near["most_a"] - near["least_a"] > 0.5:
        swing = f" ({near['least_a']:.1f} A with the fan off, {near['most_a']:.1f} A with it on)"
    planned = f"the plan of {plan['car']}: at {where} the battery gives {near['battery_a']:.1f} A{swing}"
    evidence += f"; planned {near['battery_a']:.1f} A, {near['bus_volts']:.2f} V"
    if episode["foreseen"]:
        cures = [
            f"{cure['kind']} {cure['needed']:,.4g} {cure['unit']} (now {cure['now']:,.4g})"
            for cure in plan["remedies"]
            if cure["needed"] is not None
        ]
        closes = f" Any one of these closes it, margin included: {'; '.join(cures)}." if cures else ""
        say("note", f"This deficit is in {planned}.{closes}", evidence)
    else:
        say(
            "watch",
            f"This deficit is not as in {planned}. The car differs from its file: a load, the pulley, the alternator's "
            "output, or a connection. Measure amps and volts at a hot idle.",
            evidence,
        )


def _trust(say: Any, report: dict[str, Any]) -> None:
    if report["mismatches"]:
        say(
            "watch",
            f"Board and desk disagree on {report['mismatches']} rows: the firmware and this program are of "
            "different versions, or a sensor line was changed.",
            "; ".join(report["mismatch_examples"]),
        )
    if report["lost_rows"] or report["damaged_bytes"]:
        say(
            "note",
            f"{report['lost_rows']} rows are missing and {report['damaged_bytes']} bytes unreadable; "
            "what is reported leaves them out.",
            f"{report['unchecked_rows']} rows after a hole could not be checked",
        )
    for episode in (e for d in report["drives"] for e in d["episodes"] if e["kind"] == "discharging"):
        if episode["shown_s"] - episode["start_s"] > 7.0 and not report["clamp"]:
            say("note", "Without a clamp a deficit shows late where the volts stand still.", clock(episode["start_s"]))
            break
