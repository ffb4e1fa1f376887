"""What a season of slow logs can be told from, and what is not told: on reports small enough to write down."""

from collections.abc import Sequence
from typing import Any

from season_reports import report

from underdash.review.season import assess

COUNT = 30


def steps(key: Sequence[float | None], running: Sequence[float]) -> list[dict[str, float | None]]:
    """Of a slow log: no steps, no sags after them."""
    names = ("load_step_volts", "load_sag_volts", "load_step_amps", "key_ohm", "temperature")
    return [
        {**dict.fromkeys(names), "key_volts": one, "running_volts": volts, "running_s": 900.0}
        for one, volts in zip(key, running, strict=True)
    ]


def halves(before: float, after: float) -> list[float]:
    """Two levels with an unrest of 20 mV."""
    return [(before if index < COUNT // 2 else after) + 0.02 * (index * 7 % 5 - 2) for index in range(COUNT)]


def logs(running: tuple[float, float], lowest: tuple[float, float] = (9.5, 9.5)) -> dict[str, Any]:
    """Drives without a rest before them, whose cranks were caught by chance."""
    plain = report({"set_point": [None] * COUNT, "rested": [None] * COUNT, "held": halves(*lowest)})
    for drive in plain["drives"]:
        drive["cranks"][0]["held_volts"] = None
    return {**plain, "rests": [], "board": None, "speed": True}


def named(found: dict[str, Any]) -> dict[str, str | None]:
    return {name: one["cause"] for name, one in found["verdicts"].items() if one["verdict"] in ("drifting", "act")}


def test_the_keys_own_volts_tell_a_bad_connection_where_no_rest_is_known() -> None:
    found = assess(logs((13.7, 12.75)), steps(halves(12.4, 11.95), halves(13.7, 12.75)))
    assert named(found) == {"connection": "connection"}


def test_volts_with_the_key_on_that_an_emptier_battery_may_have_accuse_no_connection() -> None:
    found = assess(logs((13.7, 12.9)), steps(halves(12.4, 12.25), halves(13.7, 12.9)))
    assert named(found) == {"regulator": "connection or regulator"}


def test_a_slow_logs_lowest_volts_behind_a_bad_connection_are_no_dip() -> None:
    """The seconds in which the engine runs already, before its alternator gives, lie as low as a crank there."""
    found = assess(logs((13.7, 11.8), (9.5, 7.0)), steps(halves(12.4, 11.5), halves(13.7, 11.8)))
    assert named(found) == {"connection": "connection"}
    assert found["verdicts"]["battery"]["verdict"] == "unknown"
    assert "mend that first" in found["verdicts"]["battery"]["reason"]


def test_without_a_step_a_key_or_a_rest_no_connection_is_steady() -> None:
    found = assess(logs((13.7, 13.7)), steps([None] * COUNT, halves(13.7, 13.7)))
    assert found["verdicts"]["connection"]["verdict"] == "unknown"
    assert "begin with the key" in found["verdicts"]["connection"]["reason"]


def discharged(volts: float) -> dict[str, Any]:
    return {"kind": "discharging", "start_s": 40010.0, "length_s": 1790.0, "mean_volts": volts, "mean_amps": None,
            "lowest_volts": volts - 0.1, "first_row": 10, "ran": None}  # fmt: skip


def test_what_a_bad_connection_takes_is_no_dead_alternator() -> None:
    """Not even where the last drive began with a fuller battery."""
    plain = logs((13.7, 12.3))
    plain["drives"][-1]["episodes"] = [discharged(12.4)]
    found = assess(plain, steps([*halves(12.4, 11.8)[:-1], 12.2], halves(13.7, 12.3)))
    assert named(found) == {"connection": "connection"}


def test_an_engine_that_ran_without_a_start_is_a_dead_alternators() -> None:
    """By its speed: no line caught the starter, and no charging volts came."""
    plain = logs((13.7, 13.7))
    plain["parked_episodes"] = [{**discharged(12.1), "ran": True, "dated": None}]
    found = assess(plain, steps([12.4] * COUNT, halves(13.7, 13.7)))
    assert found["verdicts"]["regulator"]["cause"] == "alternator"
    assert found["verdicts"]["regulator"]["row"] == 10
    assert found["events"] == []


def test_what_may_have_been_an_engine_asks_for_its_speed() -> None:
    plain = {**logs((13.7, 13.7)), "speed": False}
    plain["parked_episodes"] = [discharged(12.1)]
    found = assess(plain, steps([12.4] * COUNT, halves(13.7, 13.7)))
    verdict = found["verdicts"]["regulator"]
    assert verdict["verdict"] == "unknown" and "--column rpm=NAME" in verdict["reason"]
    assert found["events"] == []
