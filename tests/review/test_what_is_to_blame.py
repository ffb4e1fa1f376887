"""A deficit's remedy follows what the season, the clamp and the car file say of its cause."""

from typing import Any

import pytest

from underdash.car import evening, simulate
from underdash.carfile import example
from underdash.review.answers import answers
from underdash.review.findings import findings
from underdash.review.lost_volts import blamed, heed, lost_volts


def deficit(mean_amps: float | None, mean_volts: float, minutes: float = 5.0, rested: float | None = 12.6) -> Any:
    charge = None if mean_amps is None else mean_amps * minutes / 60
    return lost_volts({"rested_volts": rested}, {"mean_amps": mean_amps, "mean_volts": mean_volts, "charge_ah": charge})


@pytest.mark.parametrize(
    ("amps", "volts", "lost"),
    [
        (-1.4, 10.9, True),  # a battery that gives so little is not so low
        (-3.4, 11.61, True),
        (-14.2, 12.17, False),  # the demo's evening: battery and cables account for it
        (-40.0, 11.2, False),
        (-5.0, 12.3, False),
        (None, 10.9, False),  # without a clamp nobody knows
    ],
)
def test_volts_that_the_batterys_own_current_does_not_account_for(amps: float | None, volts: float, lost: bool) -> None:
    assert (deficit(amps, volts) is not None) == lost


@pytest.mark.parametrize("seed", [1, 2])
def test_a_sound_car_loses_none(seed: int) -> None:
    """The shipped car's evening: its deficit is its battery's."""
    drive = simulate(evening(example()), step_s=0.1, seed=seed)
    (real,) = drive.deficits()
    inside = (drive.t_s >= real.start_s) & (drive.t_s <= real.end_s)
    amps, volts = float(drive.amps[inside].mean()), float(drive.volts[inside].mean())
    assert deficit(amps, volts, (real.end_s - real.start_s) / 60) is None
    assert deficit(amps, volts - 0.030 * 50.0, (real.end_s - real.start_s) / 60) is not None  # 30 mohm, 50 A of loads


def episode(**more: Any) -> dict[str, Any]:
    return {
        "kind": "discharging", "start_s": 600.0, "length_s": 120.0, "shown_s": 605.0, "first_row": 600, "last_row": 720,
        "lowest_volts": 12.2, "highest_volts": 12.6, "mean_volts": 12.4, "mean_amps": None, "charge_ah": None,
        "charge_from": "volts", "charge_low_ah": None, "charge_high_ah": None, "charge_basis": None,
        "depth_volts": 0.8, "closes": [], "ran": None,
    } | more  # fmt: skip


def report(verdicts: dict[str, dict[str, Any]], **of_episode: Any) -> dict[str, Any]:
    """Three drives, the third with a deficit."""
    steady = {"verdict": "steady", "cause": None, "drive": None, "row": None, "reason": "It holds.", "evidence": ""}
    drives = [
        {
            "number": number, "boot": number, "dated": None, "dated_between": None, "start_s": 0.0, "end_s": 1800.0,
            "length_s": 1800.0, "first_row": 0, "last_row": 1800, "started_by": "crank", "started": True,
            "charged": True, "rested_volts": 12.6, "set_point_volts": 14.0, "idle": None, "cranks": [], "shown": [],
            "life_share": None, "cycles": [], "out_ah": None, "in_ah": None,
            "episodes": [episode(**of_episode)] if number == 3 else [],
        }
        for number in (1, 2, 3)
    ]  # fmt: skip
    return {
        "drives": drives, "parked_episodes": [], "rests": [], "doubtful_rests": [], "clamp": False, "speed": False,
        "capacity_ah": None, "volts_step": None, "board": None, "period_s": 1.0, "rows": 5400, "gaps": [],
        "mismatches": 0, "lost_rows": 0, "damaged_bytes": 0, "refused_frames": 0, "unchecked_rows": 0, "whole": None,
        "sensors": {"gone": None, "contradict": None},
        "thresholds": {"weak_crank_mv": 9600, "low_rest_mv": 12400, "clamp_dead_ma": 1500, "still_mv": 12},
        "season": {
            "drives": 3, "quantities": [], "events": [],
            "verdicts": {one: {**steady, **verdicts.get(one, {})} for one in ("battery", "regulator", "connection")},
        },
    }  # fmt: skip


JOINT = {"verdict": "drifting", "cause": "connection", "drive": 3, "reason": "A joint has grown a resistance."}


def fix(one: dict[str, Any]) -> str:
    return {each["question"]: each["answer"] for each in answers(one)}["What would fix it?"]


def test_what_the_season_found_comes_before_another_alternator() -> None:
    sound = report({})
    assert blamed(sound, 3) == []
    assert fix(sound).startswith("A higher idle, a smaller alternator pulley")
    bad = report({"connection": JOINT})
    first = f"First the connection, since drive 3: {JOINT['reason']}"
    assert fix(bad) == first  # by volts alone, no more can be told
    assert answers(bad)[0]["answer"].startswith("By the volts at the board it looks so, in 1 of 3 drives. But a ")
    seen = report({"connection": JOINT}, mean_amps=-20.0, charge_ah=-0.7, charge_low_ah=-0.8, charge_high_ah=-0.6)
    assert answers(seen)[0]["answer"].startswith("Yes") and fix(seen).startswith(f"{first} Then a higher idle")
    (told,) = [one["text"] for one in findings(bad) if one["weight"] == "act"]
    assert told.endswith("But see first what the season says of the connection.")
    assert "pulley" not in told
    earlier = report({"connection": {**JOINT, "drive": 4}})  # it began after this deficit
    assert blamed(earlier, 3) == [] and fix(earlier) == fix(sound)


def test_what_closes_an_episode_begins_with_what_the_season_lays_it_to_and_only_there() -> None:
    bad = report({"connection": JOINT})
    bad["drives"][1]["episodes"], shared = [episode(closes=[])], ["a bigger machine"]
    for one in bad["drives"][1:]:
        one["episodes"][0]["closes"] = shared
    heed(bad)
    assert bad["drives"][1]["episodes"][0]["closes"] == ["a bigger machine"]
    assert bad["drives"][2]["episodes"][0]["closes"] == [f"First the connection: {JOINT['reason']}", "a bigger machine"]


def test_a_clamp_that_reads_little_lays_low_volts_to_the_way() -> None:
    low = report({}, mean_amps=-1.5, charge_ah=-0.05, charge_low_ah=-0.1, charge_high_ah=0.0, mean_volts=10.9,
                 lowest_volts=10.7, charge_from="clamp")  # fmt: skip
    (told,) = [one["text"] for one in findings(low) if one["weight"] == "act"]
    assert "1.5 A do not pull a battery down to 10.90 V: some 1.4 V are lost between it and the board" in told
    assert "pulley" not in told
