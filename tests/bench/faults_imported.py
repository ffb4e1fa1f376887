"""How well a season tells faults to whoever hands it CSV files: the recordings' own lines, through the public review.

Prints two tables; tests/bench/faults.py calls it. Choices were made while looking at seeds below 100.
"""

import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[1] / "review")]

import imported as im

from conftest import measured_data

EITHER = "connection or regulator"
# What names a fault. A set point is the regulator's or the way's from the alternator: a slow log shows no sag after
# the loads, by which these two are told apart.
NAMES = {
    "alternator dead": {"alternator"},
    "set point -0.4 V": {"regulator", EITHER},
    "set point -0.7 V": {"regulator", EITHER},
    "bad ground": {"connection"},
    "battery ageing": {"battery"},
}
_LOOKS = (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20)  # files with the fault, when looked at; and the last
_EVERY = 8  # healthy seasons are looked at after so many files
WAYS = [(nights, speed) for nights in (True, False) for speed in (True, False)]


def way(nights: bool, speed: bool) -> str:
    return f"{'nights' if nights else 'no nights'}, {'speed' if speed else 'no speed'}"


@dataclass
class Tally:
    """What became of seasons with one fault."""

    seasons: int = 0
    said: int = 0
    named: int = 0
    right: int = 0
    wrong: int = 0
    """Something else is named at the end as well, or instead."""
    unknown: int = 0
    """Nothing is named at the end, and the verdict that the fault is about is `unknown`."""
    delays: list[int] = field(default_factory=list)


def causes(found: dict[str, Any] | None) -> set[str]:
    """What the verdicts that are not steady name; that a battery is undercharged follows from others."""
    if found is None:
        return set()
    named = {one["cause"] for one in found["verdicts"].values() if one["verdict"] in ("drifting", "act")}
    return named - {"undercharged"}


def called(found: dict[str, Any] | None) -> set[int]:
    """The files of the nights in which something was left on."""
    return {event["boot"] for event in found["events"]} if found else set()


def look(tally: Tally, season: im.Season, seen: im.Reviewed) -> None:
    """Look again and again from the fault's first file on."""
    tally.seasons += 1
    if season.fault == "lamp":
        after, last = seen.after(season.onset + 1), seen.after(len(season.files))
        nights = called(after)
        tally.said += bool(nights)
        tally.named += nights == {season.onset + 1}
        tally.right += called(last) == {season.onset + 1} and not causes(last)
        tally.wrong += bool(causes(last)) or bool(called(last) - {season.onset + 1})
        tally.delays += [1] if nights == {season.onset + 1} else []
        return
    right, said, named, first, found = NAMES[season.fault], False, False, None, None
    for count in range(season.onset + 1, len(season.files) + 1):
        after_onset = count - season.onset
        if after_onset not in _LOOKS and count < len(season.files):
            continue
        found = seen.after(count)
        told = causes(found)
        said = said or bool(told)
        if told & right and not named:
            named, first = True, after_onset
    told = causes(found)
    tally.said += said
    tally.named += named
    tally.right += bool(told) and told <= right
    tally.wrong += bool(told - right)
    about = {"bad ground": "connection", "battery ageing": "battery"}.get(season.fault, "regulator")
    tally.unknown += not told and found is not None and found["verdicts"][about]["verdict"] == "unknown"
    tally.delays += [first] if first is not None else []


def seasons(fault: str, nights: bool, seeds: Sequence[int], recordings: Sequence[im.Recording]) -> Iterator[im.Season]:
    """Written, handed out and removed one by one; every other one is dated."""
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            yield im.write_season(Path(folder), recordings, fault, seed, nights=nights, dated=bool(seed % 2))


def recordings() -> list[im.Recording]:
    return [im.recording(path) for path in sorted(measured_data("measured-drives").glob("*.csv"))]


def faults(known: Sequence[im.Recording], seeds: Sequence[int]) -> None:
    print(
        "| fault, as imported | given | seasons | anything said | named right at some look | right at the end | "
        'something else named at the end | nothing, but "unknown" | drives until named, median / 95 % |'
    )
    print("|---|---|---|---|---|---|---|---|---|")
    for fault in im.FAULTS:
        for nights in (True, False) if fault != "lamp" else (True,):
            tallies = {True: Tally(), False: Tally()}
            for season in seasons(fault, nights, seeds, known):
                for speed, tally in tallies.items():
                    look(tally, season, im.reviewed(season, speed=speed))
            for speed, one in tallies.items():
                late = f"{np.median(one.delays):.0f} / {np.percentile(one.delays, 95):.0f}" if one.delays else "-"
                print(f"| {fault} | {way(nights, speed)} | {one.seasons} | {one.said} | {one.named} | {one.right} | "
                      f"{one.wrong} | {one.unknown} | {late} |", flush=True)  # fmt: skip


def healthy(known: Sequence[im.Recording], seeds: Sequence[int]) -> None:
    print(
        "\n| healthy seasons, as imported | seasons | drives | alarm at the end | alarm at any look | "
        'nights called | battery, regulator, connection "unknown" at the end |'
    )
    print("|---|---|---|---|---|---|---|")
    for nights in (True, False):
        found: dict[bool, list[Any]] = {True: [], False: []}
        for season in seasons("none", nights, seeds, known):
            for speed, many in found.items():
                seen = im.reviewed(season, speed=speed)
                counts = [*range(10, len(season.files), _EVERY), len(season.files)]
                looks = [seen.after(count) for count in counts]
                many.append((len(season.files), [alarm(one) for one in looks], called(looks[-1]), looks[-1]))
        for speed, many in found.items():
            unknown = [
                sum(last is None or last["verdicts"][name]["verdict"] == "unknown" for *_, last in many)
                for name in ("battery", "regulator", "connection")
            ]
            print(
                f"| {way(nights, speed)} | {len(many)} | {sum(one[0] for one in many)} | "
                f"{sum(one[1][-1] for one in many)} | {sum(any(one[1]) for one in many)} "
                f"({sum(len(one[1]) for one in many)} looks) | {sum(len(one[2]) for one in many)} | "
                f"{', '.join(map(str, unknown))} |",
                flush=True,
            )


def alarm(found: dict[str, Any] | None) -> bool:
    return found is not None and any(one["verdict"] in ("drifting", "act") for one in found["verdicts"].values())


def tables(seed: int, count: int, calm: int) -> None:
    """Both tables, of `count` seasons a fault and `calm` healthy ones, of the seeds from `seed` on."""
    known = recordings()
    faults(known, range(seed, seed + count))
    healthy(known, range(seed, seed + calm))


if __name__ == "__main__":
    tables(*(int(word) for word in sys.argv[1:4]))
