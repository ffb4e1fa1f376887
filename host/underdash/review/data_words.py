"""How far the rows can be trusted, in words."""

from typing import Any

from underdash.review.charge_words import way
from underdash.review.clock import clock, local, nearest
from underdash.review.journal import UNKNOWN_BOARD
from underdash.review.sensors import clamp_asleep, clamp_reversed
from underdash.review.stretches import LONGEST_JUDGED_S
from underdash.review.words import Said, count, duration, on

_UNTRUE_AH = 10_000.0  # ranks what the rest cannot be believed without above that rest
_LATE_S = 7.0  # a verdict that comes later than this after its onset waited for volts that stood still


def trust(said: Said, report: dict[str, Any]) -> None:
    """Findings on the data themselves."""
    if report["mismatches"]:
        said.add(
            "watch",
            f"Board and desk disagree on {count(report['mismatches'], 'row')}: the firmware and this program are of "
            "different versions, or a sensor line was changed.",
            "; ".join(report["mismatch_examples"]),
        )
    _sensors(said, report)
    if report.get("rotten"):
        said.add(
            "watch",
            "The archive is not what was pulled, so rows may be missing: pull the board again, or merge another copy.",
            "; ".join(report["rotten"]),
        )
    if report.get("left_out"):
        said.add("note", "Files beside the journal were not read.", "; ".join(report["left_out"]))
    if report["lost_rows"] or report["damaged_bytes"] or report["refused_frames"]:
        said.add(
            "note",
            f"{count(report['lost_rows'], 'row')} missing, {count(report['damaged_bytes'], 'byte')} unreadable and "
            f"{count(report['refused_frames'], 'frame')} refused; what is reported leaves them out.",
            f"{count(report['unchecked_rows'], 'row')} after a hole could not be checked",
        )
    if report["board"] == UNKNOWN_BOARD:
        said.add(
            "note",
            "No header of this journal can be read: which board wrote it, and under which thresholds, is not known. "
            "The verdicts are the board's own, unchecked.",
            f"{count(report['rows'], 'row')} in whole frames",
        )
    if report["period_s"] > LONGEST_JUDGED_S and not report["drives"]:  # those of another log among them may have some
        said.add(
            "note",
            f"The rows are {report['period_s']:.0f} s apart, and a verdict needs one each {LONGEST_JUDGED_S:.0f} s: "
            "no drive, episode or rest can be told from them. Charge is counted, where a clamp was read.",
            count(report["rows"], "row"),
        )
    elif report["gaps"]:
        longest = max(report["gaps"], key=lambda gap: abs(gap["length_s"]))
        day, at = _at(report, longest, "start_s")
        said.add(
            "note",
            f"{count(report['gaps'], 'hole')} in the rows: what happened there is not known, and no charge is counted "
            "across.",
            f"the longest from {at}, {duration(abs(longest['length_s']))}: " + longest["why"],
            row=longest["row"],
            t_s=longest["start_s"],
            dated=day,
        )
    step, still = report["volts_step"], report["thresholds"]["still_mv"] / 1000
    if step is not None and step > still:
        said.add(
            "note",
            "By its volts alone this log does not surely tell a parked car from a running one where they are low. If "
            "it has the engine's speed, name that column: --column rpm=NAME.",
            f"the volts move by steps of {step * 1000:g} mV, and up to {still * 1000:g} mV count as still",
        )
    if not report["clamp"]:
        _late(said, report)
    if not report["drives"]:
        text = "No drive in these rows: no crank and no charging volts were seen."
        said.add("note", text, count(report["rows"], "row"))


def _at(report: dict[str, Any], what: dict[str, Any], key: str) -> tuple[str, str]:
    """The day in words, and the time of it, of what belongs to no drive, at the moment under that key: by the clock of
    the nearest drive. No day where that is undated."""
    of = nearest(report["drives"], what["boot"], what[key])
    if not of["dated"]:
        return "", clock(of, what[key])
    then = {"dated": local(of, what[key]).isoformat(), "start_s": what[key]}
    return on(then["dated"]), clock(then, what[key])


def _sensors(said: Said, report: dict[str, Any]) -> None:
    contradict, gone = report["sensors"]["contradict"], report["sensors"]["gone"]
    if contradict is not None:
        day, at = _at(report, contradict, "t_s")
        said.add(
            "act",
            f"Volts and amps contradict each other for {duration(contradict['length_s'])}: the clamp may be the wrong "
            "way round, or its zero has moved. Until that is mended nothing that rests on it can be believed.",
            f"from {at}: {way(contradict['amps'])} at {contradict['volts']:.2f} V",
            row=contradict["first_row"],
            t_s=contradict["t_s"],
            dated=day,
            cost=_UNTRUE_AH,
        )
    if gone is not None:
        day, at = _at(report, gone, "t_s")
        said.add(
            "act",
            f"The volts were gone from the input for {duration(gone['length_s'])}: its wire, fuse or ground.",
            f"from {at}: " + ("not measured" if gone["volts"] is None else f"{gone['volts']:.2f} V"),
            row=gone["first_row"],
            t_s=gone["t_s"],
            dated=day,
            cost=_UNTRUE_AH,
        )
    crank = clamp_reversed(report)
    if crank is not None and contradict is None:
        _clamp(
            said,
            report,
            crank,
            "By the clamp the battery was charged while the starter turned: it is the wrong way round.",
        )
    crank = clamp_asleep(report)
    if crank is not None:
        asleep = (
            "The clamp saw nothing while the starter turned, which takes 75 A and more: it is not around the battery's "
            "cable, not plugged in, or dead. What rests on it cannot be believed."
        )
        _clamp(said, report, crank, asleep)


def _clamp(said: Said, report: dict[str, Any], crank: dict[str, Any], text: str) -> None:
    said.add(
        "act",
        text,
        f"crank at {clock(report['drives'][crank['drive'] - 1], crank['start_s'])}: {way(crank['most_amps'])} at most",
        drive=crank["drive"],
        row=crank["first_row"],
        t_s=crank["start_s"],
        cost=_UNTRUE_AH,
    )


def _late(said: Said, report: dict[str, Any]) -> None:
    for drive in report["drives"]:
        for episode in drive["episodes"]:
            if episode["kind"] == "discharging" and episode["shown_s"] - episode["start_s"] > _LATE_S:
                said.add(
                    "note",
                    "Without a clamp a deficit shows late where the volts stand still.",
                    f"{clock(drive, episode['start_s'])}, told at {clock(drive, episode['shown_s'])}",
                    drive=drive["number"],
                    row=episode["first_row"],
                    t_s=episode["start_s"],
                )
                return
