"""What the drives show, in words: deficits, overcharge, cranks, set point."""

from typing import Any

from underdash.review.charge_words import LEAST_AH, cost_ah, given, taken_ah
from underdash.review.clock import clock
from underdash.review.crank_words import is_slow, lasted
from underdash.review.lost_volts import blamed, lost_volts
from underdash.review.sensors import doubt
from underdash.review.words import Said, duration, figure, furthest, times

_SERIOUS_S = 60.0  # a deficit that lasts so long is to act on (chosen here)
_OVERCHARGE_AH = 100.0  # ranks an hour of overcharge above any deficit: it ruins the battery, and is dangerous
_DEAD_AH = 1000.0  # and above it a machine that never charges: the car will stop
_LEAST_S = 10.0  # what lasts less, and took less than LEAST_AH, is not worth a line (chosen here)
_STALLED_S = 60.0  # a deficit no longer than this that ends with a crank is of an engine that had stalled (chosen here)
_JOINED_S = 2.0  # between the two, a row of a slow log
HARDLY = 0.05  # so small a share is as good as none, and what it leaves as good as all (chosen here)
_ALL = 0.99  # a row at each end may be of another speed (chosen here)
_FEW = 3  # up to so many drives are each said to be well; more together
_CYCLED_SHARE = 1e-4  # a smaller share of a life is not worth a line


def drives(said: Said, report: dict[str, Any]) -> None:
    """Findings on each drive."""
    well = []
    for drive in report["drives"]:
        mine = drive["episodes"]
        _stalls(said, drive)
        if found := deficits(drive):
            _deficits(said, report, drive, found)
        for episode in mine:
            if episode["kind"] == "overcharge":
                _overcharge(said, drive, episode)
        marginal = [episode for episode in mine if episode["kind"] == "marginal"]
        if not slight(marginal):
            _marginal(said, drive, marginal, report["thresholds"]["clamp_dead_ma"] / 1000)
        for crank in drive["cranks"]:
            _crank(said, drive, crank, report["thresholds"]["weak_crank_mv"] / 1000, is_slow(report))
        if not drive["started"]:
            _not_started(said, drive, report["thresholds"]["low_rest_mv"] / 1000)
        elif not drive["charged"]:
            _never_charged(said, drive)
        elif not mine and drive["set_point_volts"] is not None and doubt(report) is None:
            well.append(drive)
        if drive["life_share"] is not None and drive["life_share"] >= _CYCLED_SHARE:
            _life(said, drive)
    _well(said, well, len(report["drives"]))


def deficits(drive: dict[str, Any]) -> list[dict[str, Any]]:
    """The discharging episodes of a drive in which the engine started that are worth a line, but those of an engine
    that had stalled or, it seems, was switched off. None where all together are slight; else none of seconds that no
    bounds of charge are known of."""
    if not drive["started"]:
        return []
    found = [
        one
        for one in drive["episodes"]
        if one["kind"] == "discharging" and not _stalled(drive, one) and not _switched_off(drive, one)
    ]
    if slight(found):
        return []
    return [one for one in found if one["charge_low_ah"] is not None or one["length_s"] >= _LEAST_S] or found


def _stalled(drive: dict[str, Any], episode: dict[str, Any]) -> bool:
    """Whether a starter soon ended it: then the engine had stopped, and the alternator is not to blame."""
    end_s = episode["start_s"] + episode["length_s"]
    return episode["length_s"] <= _STALLED_S and any(
        abs(crank["start_s"] - end_s) <= _JOINED_S for crank in drive["cranks"]
    )


def _switched_off(drive: dict[str, Any], episode: dict[str, Any]) -> bool:
    """Whether a short one is the end of a drive whose engine's speed is not known: then, most likely, the engine was
    off already and the volts still moved."""
    ends = episode["start_s"] + episode["length_s"] >= drive["end_s"] - 1.0
    return ends and not drive["idle"] and drive["charged"] and episode["length_s"] <= _STALLED_S


def _stalls(said: Said, drive: dict[str, Any]) -> None:
    found = [one for one in drive["episodes"] if one["kind"] == "discharging" and _stalled(drive, one)]
    if drive["started"] and found:
        first = found[0]
        said.add(
            "note",
            f"The engine seems to have stopped {times(len(found))} and been started again: the battery fed the car for "
            f"{duration(sum(one['length_s'] for one in found))} until the starter turned.",
            _span(drive, first),
            drive=drive["number"],
            row=first["first_row"],
            t_s=first["start_s"],
            cost=sum(cost_ah(one) for one in found),
        )


def slight(episodes: list[dict[str, Any]]) -> bool:
    """Whether these episodes together, if any, are too short and took too little to be worth a line."""
    return sum(e["length_s"] for e in episodes) < _LEAST_S and sum(taken_ah(e) for e in episodes) < LEAST_AH


def _deficits(said: Said, report: dict[str, Any], drive: dict[str, Any], episodes: list[dict[str, Any]]) -> None:
    worst = max(episodes, key=cost_ah)
    total_s = sum(episode["length_s"] for episode in episodes)
    last = max(episode["start_s"] + episode["length_s"] for episode in episodes)
    lasted = duration(total_s) if len(episodes) == 1 else f"{duration(total_s)}, in {len(episodes)} stretches"
    short = "The alternator was short of the load"
    if worst["mean_amps"] is not None:
        short = f"The alternator was about {figure(-worst['mean_amps'], 0)} A short of the load"
    if drive["set_point_volts"] is not None and last < drive["end_s"] - 1.0:
        where, cure = _at_idle(drive, episodes)
        cause = (
            f"{short} while it lasted; it charged at {drive['set_point_volts']:.2f} V at other times of this drive. "
        )
        cause += where
    else:
        gave_out = drive["set_point_volts"] is not None and last - drive["start_s"] > total_s + 60.0
        after = f", after {drive['set_point_volts']:.2f} V earlier in this drive" if gave_out else ""
        cures = ["alternator, belt, its fuse or the charge cable gave out" if gave_out else
                 "alternator, belt, its fuse or the charge cable"]  # fmt: skip
        if gave_out:
            cures.insert(0, "too much was on at idle")
        if not drive["idle"]:  # the engine's speed would tell
            cures.append("the engine was off and something ran on")
        cure = f"Look for one of these: {'; '.join(cures)}." if len(cures) > 1 else f"Look at {cures[0]}."
        if gave_out and drive["number"] == len(report["drives"]):
            cure += " The next drive tells which."
        cause = f"{short} to the end{after}. "
    blame, lost = blamed(report, drive["number"]), lost_volts(drive, worst)
    if blame:
        cause += f"But see first what the season says of the {' and the '.join(blame)}."
    elif lost is not None:
        cause += (
            f"But {-worst['mean_amps']:.1f} A do not pull a battery down to {worst['mean_volts']:.2f} V: some "
            f"{lost:.1f} V are lost between it and the board. Measure the drop from the battery's posts to the "
            "board's tap, supply and ground, with the loads on, before anything else."
        )
    elif worst["closes"]:  # by the car file, and told where the plan is held against the drive
        cause += "The plan says what closes it."
    else:
        cause += cure
    said.add(
        "act" if total_s >= _SERIOUS_S else "watch",
        f"The battery fed the car for {lasted}. {given(episodes)}. {cause.strip()}",
        _span(drive, worst) + ("" if len(episodes) == 1 else f", the worst of {len(episodes)}"),
        drive=drive["number"],
        row=worst["first_row"],
        t_s=worst["start_s"],
        cost=sum(cost_ah(episode) for episode in episodes),
    )


def _at_idle(drive: dict[str, Any], episodes: list[dict[str, Any]]) -> tuple[str, str]:
    """(where it was, what closes it), by the engine's speed if the log has it."""
    more = "A higher idle, a smaller alternator pulley, more rated output or less load at idle closes that."
    share = idle_share(drive, episodes)
    if share is None:
        return "Most often what is missing then is output at low speed, at a hot idle with everything on. ", more
    was = f"{much_at_idle(share)} was at idle"
    if share >= 1.0 - HARDLY:
        return f"{was}: what is missing is output at low speed. ", more
    if share <= HARDLY:
        return f"{was}. ", (
            "Look at the belt, the charge cable and the grounds, or there is more on than the machine can give."
        )
    return f"{was}. ", more


def much_at_idle(share: float) -> str:
    """How much of a deficit was at idle, 0 to 1, in words."""
    if share <= HARDLY:
        return "None of it" if share == 0.0 else "Hardly any of it"
    if share >= 1.0 - HARDLY:
        return "All of it" if share > _ALL else "Nearly all of it"
    return f"{share:.0%} of it"


def idle_share(drive: dict[str, Any], episodes: list[dict[str, Any]]) -> float | None:
    """How much of these episodes was at idle, 0 to 1; None where the log has no engine speed."""
    total_s = sum(episode["length_s"] for episode in episodes)
    if not drive["idle"] or not total_s:
        return None
    return float(min(drive["idle"]["idle_short_s"] / total_s, 1.0))


def _span(drive: dict[str, Any], episode: dict[str, Any]) -> str:
    start_s, end_s = episode["start_s"], episode["start_s"] + episode["length_s"]
    told = f"{clock(drive, start_s)} to {clock(drive, end_s)}"
    if episode["mean_volts"] is None:
        return told
    return f"{told}, {furthest(episode)}, mean {episode['mean_volts']:.2f} V"


def _overcharge(said: Said, drive: dict[str, Any], episode: dict[str, Any]) -> None:
    said.add(
        "act",
        f"Overcharge for {duration(episode['length_s'])}, up to {episode['highest_volts']:.2f} V. Look at the "
        "regulator, its sensing and its ground first. Held for long, such volts make a battery gas, which ruins it and "
        "is dangerous.",
        _span(drive, episode),
        drive=drive["number"],
        row=episode["first_row"],
        t_s=episode["start_s"],
        cost=_OVERCHARGE_AH * episode["length_s"] / 3600,
    )


def _marginal(said: Said, drive: dict[str, Any], episodes: list[dict[str, Any]], dead_a: float) -> None:
    longest = max(episodes, key=lambda episode: episode["length_s"])
    total_s = sum(episode["length_s"] for episode in episodes)
    often = "" if len(episodes) == 1 else f" in {len(episodes)} stretches"
    charged = longest["mean_amps"] is not None and longest["mean_amps"] > dead_a
    barely = "the alternator barely carried the car"
    if charged:
        barely = (
            f"the battery took {longest['mean_amps']:.1f} A meanwhile, so the volts are low at the board, not there"
        )
    said.add(
        "note",
        f"Charging was marginal for {duration(total_s)}{often}: {barely}.",
        _span(drive, longest),
        drive=drive["number"],
        row=longest["first_row"],
        t_s=longest["start_s"],
        cost=total_s / 3600,
    )


def _crank(said: Said, drive: dict[str, Any], crank: dict[str, Any], weak: float, slow: bool) -> None:
    if crank["held_volts"] is None or crank["held_volts"] >= weak:
        return
    seen = "" if crank["resistance_ohm"] is None else f", {crank['resistance_ohm'] * 1000:.0f} mohm by the clamp"
    said.add(
        "watch",
        f"While cranking the battery held {crank['held_volts']:.2f} V, below {weak:.1f} V; when it is cold it may show "
        "less and be well. Have the battery load-tested and the starter's cables checked for voltage drop.",
        f"crank at {clock(drive, crank['start_s'])}, {lasted(crank, slow)} long{seen}",
        drive=drive["number"],
        row=crank["first_row"],
        t_s=crank["start_s"],
        cost=weak - crank["held_volts"],
    )


def _never_charged(said: Said, drive: dict[str, Any]) -> None:
    said.add(
        "act",
        "Charging volts were never reached in this drive: look at belt, alternator, its fuse and the charge cable.",
        f"{clock(drive, drive['start_s'])} to {clock(drive, drive['end_s'])}",
        drive=drive["number"],
        row=drive["first_row"],
        t_s=drive["start_s"],
        cost=_DEAD_AH,
    )


def _not_started(said: Said, drive: dict[str, Any], low_rest: float) -> None:
    many, rested = len(drive["cranks"]), drive["rested_volts"]
    battery = ""
    if rested is not None and rested < low_rest:
        battery = f" Before it the battery rested at {rested:.2f} V, below {low_rest:.2f} V: charge it, then try again."
    said.add(
        "act",
        f"The engine seems not to have started: the starter turned {times(many)}, and no charging volts came after it."
        f"{battery}",
        f"{clock(drive, drive['start_s'])} to {clock(drive, drive['end_s'])}",
        drive=drive["number"],
        row=drive["first_row"],
        t_s=drive["start_s"],
        cost=_DEAD_AH,
    )


def _life(said: Said, drive: dict[str, Any]) -> None:
    cycles, deepest = sum(cycle["count"] for cycle in drive["cycles"]), drive["cycles"][0]["depth_ah"]
    said.add(
        "note",
        f"This drive's cycles cost the battery about 1/{_one_figure(1.0 / drive['life_share']):,} of its life, by an "
        "estimate that may be out by a factor of two or more.",
        f"{cycles:g} cycle{'' if cycles == 1 else 's'} of up to {deepest:.2f} Ah by the clamp, counted after ASTM "
        "E1049; 60 cycles of 30 % taken for a life",
        drive=drive["number"],
        row=drive["first_row"],
        t_s=drive["start_s"],
        cost=drive["out_ah"] or 0.0,
    )


def _one_figure(value: float) -> int:
    """Rounded to one significant figure: the estimate bears no more."""
    return int(float(f"{value:.0e}"))


def _well(said: Said, well: list[dict[str, Any]], total: int) -> None:
    if len(well) > _FEW:
        volts = [drive["set_point_volts"] for drive in well]
        first, least, most = well[0], f"{min(volts):.2f}", f"{max(volts):.2f}"
        between = least if least == most else f"{least} to {most}"
        said.add(
            "well",
            f"In {len(well)} of {total} drives the alternator carried the car throughout, at {between} V.",
            f"from drive {first['number']} on",
            row=first["first_row"],
            t_s=first["start_s"],
        )
        return
    for drive in well:
        said.add(
            "well",
            f"The alternator carried the car throughout, at {drive['set_point_volts']:.2f} V.",
            f"{clock(drive, drive['start_s'])} to {clock(drive, drive['end_s'])}",
            drive=drive["number"],
            row=drive["first_row"],
            t_s=drive["start_s"],
        )


def often(episodes: list[dict[str, Any]]) -> str:
    """How often and how long, in words."""
    return f"{times(len(episodes))}, {duration(sum(episode['length_s'] for episode in episodes))} in all"
