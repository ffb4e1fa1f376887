"""Moments in words: the local clock where a drive is dated, else the count of seconds."""

import pytest

from underdash.review.clock import beside, clock, counted, days, nearest, since, when

EVENING = {"boot": 1, "dated": "2026-10-21T19:06:12", "start_s": 3_801_333.9}
LATE = {"boot": 2, "dated": "2026-12-31T23:58:30+01:00", "start_s": 100.0}
UNDATED = {"boot": 3, "dated": None, "start_s": 4121.0}


@pytest.mark.parametrize(
    ("of", "t_s", "digits", "told"),
    [
        (EVENING, 3_801_333.9, 0, "19:06:12"),
        (EVENING, 3_801_333.9 + 53.5, 0, "19:07:06"),
        (EVENING, 3_801_333.9 - 12.4, 0, "19:06:00"),
        (EVENING, 3_801_333.9 + 0.26, 1, "19:06:12.3"),
        (EVENING, 3_801_333.9 + 47.96, 1, "19:07:00.0"),
        (LATE, 189.4, 0, "23:59:59"),
        (LATE, 190.0, 0, "2027-01-01 00:00:00"),
        (LATE, 189.96, 1, "2027-01-01 00:00:00.0"),
        ({**LATE, "dated": "2027-01-01T00:00:10"}, 70.0, 0, "2026-12-31 23:59:40"),
        (UNDATED, 4121.0, 0, "1:08:41"),
        (UNDATED, 4121.26, 1, "1:08:41.3"),
        (UNDATED, 59.96, 1, "0:01:00.0"),
        (UNDATED, -1.0, 0, "\u22120:00:01"),
        ({"start_s": 0.0}, 5.0, 1, "0:00:05.0"),
    ],
)
def test_a_moment(of: dict[str, object], t_s: float, digits: int, told: str) -> None:
    assert clock(of, t_s, digits) == told


def test_the_clock_and_the_count_beside_each_other() -> None:
    assert beside(EVENING, "a1b2") == "19:06:12 is 1055:55:34 of the board's start 1"
    assert beside(EVENING, None) == "19:06:12 is 1055:55:34 since the log's first row"
    assert beside(UNDATED, "a1b2") is None
    assert since("a1b2") == "since the board's start" and since(None) == "as the log counts them"
    assert counted(3_801_333.9) == "1055:55:34"


def test_what_is_in_no_drive_is_told_by_the_nearest_dated_one_of_the_same_start() -> None:
    drives = [EVENING, {**EVENING, "dated": "2026-10-23T19:00:00", "start_s": 4e6}, UNDATED, LATE]
    assert clock(nearest(drives, 1, 3_910_000.0), 4e6 - 60.0) == "18:59:00"
    assert clock(nearest(drives, 3, 4121.0), 4121.0) == "1:08:41"
    assert clock(nearest([], 1, 5.0), 5.0) == "0:00:05"


@pytest.mark.parametrize(
    ("dates", "told"),
    [
        (["2026-11-13T19:00:00", "2026-09-07T19:13:33"], "7 September to 13 November 2026"),
        (["2026-11-13T19:00:00", "2026-11-07T19:13:33"], "7 to 13 November 2026"),
        (["2026-12-30T19:00:00", "2027-01-02T19:13:33"], "30 December 2026 to 2 January 2027"),
        (["2025-12-30T19:00:00", "2026-12-30T19:13:33"], "30 December 2025 to 30 December 2026"),
        (["2026-11-13T19:00:00", "2026-11-13T21:13:33"], "13 November 2026"),
        (["2026-11-13T19:00:00", None], ""),
        ([], ""),
    ],
)
def test_days(dates: list[str | None], told: str) -> None:
    assert days(dates) == told


def test_when() -> None:
    assert when(EVENING) == "2026-10-21 19:06" and when(UNDATED) == "undated"
    early, late = "2026-05-01T07:00:03+02:00", "2026-05-03T19:00:00+02:00"
    between = {**UNDATED, "dated_between": [early, late]}
    assert when(between) == "undated, between 2026-05-01 07:00 and 2026-05-03 19:00"
    assert when({**UNDATED, "dated_between": [early, None]}) == "undated, after 2026-05-01 07:00"
    assert when({**UNDATED, "dated_between": [None, late]}) == "undated, before 2026-05-03 19:00"
