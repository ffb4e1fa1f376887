"""Dates of boots: against invented timelines whose truth is known, and against a brute force of every choice."""

from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from archive.journals import Life, season
from underdash.archive import anchors, dates
from underdash.archive.anchors import Anchor
from underdash.archive.dates import CRYSTAL, Stretch, reckon

NOON = datetime(2024, 5, 1, 12, tzinfo=UTC).timestamp()


def anchor(boot: int, uptime_s: float, unix_s: float, uncertainty_s: float = 1.0, utc_offset_s: int = 0) -> Anchor:
    return Anchor(boot, uptime_s, unix_s, uncertainty_s, utc_offset_s)


def test_an_anchored_boot_has_its_date_and_what_it_may_be_off() -> None:
    found = reckon([Stretch(7, 3, 4000, 3990)], [anchor(7, 4000, NOON, 1.25, 7200)])
    (boot,) = found.boots.values()
    assert (boot.how, boot.unix_s) == ("anchored", NOON - 4000)
    assert boot.uncertainty_s == pytest.approx(1.25 + 4000 * CRYSTAL)
    assert boot.iso() == "2024-05-01T12:53:20+02:00"
    assert boot.iso(400) == "2024-05-01T13:00:00+02:00"
    assert found.contradictions == []


def test_what_lies_between_two_anchors_is_bounded_and_what_lies_beyond_from_one_side() -> None:
    boots = [Stretch(boot, 3, 1000, 998) for boot in range(1, 7)]
    found = reckon(boots, [anchor(2, 1000, NOON), anchor(5, 1000, NOON + 86400)]).boots
    assert [found[boot].how for boot in range(1, 7)] == [
        "bounded", "anchored", "bounded", "bounded", "anchored", "bounded",
    ]  # fmt: skip
    slack = 1 + 1000 * CRYSTAL * 4
    assert found[1].after_s is None
    assert found[1].before_s == pytest.approx(NOON - 1000 - 997, abs=slack)
    # Boot 3 began when 2 was over, and so that 3 and 4 have room before 5.
    assert found[3].after_s == pytest.approx(NOON - 3, abs=slack)
    assert found[3].before_s == pytest.approx(NOON + 86400 - 1000 - 2 * 997, abs=slack)
    assert found[4].after_s == pytest.approx(NOON - 3 + 997, abs=slack)
    assert found[6].before_s is None
    assert found[6].after_s == pytest.approx(NOON + 86400 - 3, abs=slack)
    assert found[3].iso() is None


def test_without_any_clock_everything_is_undated() -> None:
    found = reckon([Stretch(1, 3, 10, 8), Stretch(2, 3, 10, 8)], [])
    assert [boot.how for boot in found.boots.values()] == ["undated", "undated"]
    assert reckon([], []).boots == {}


def test_an_anchor_of_a_boot_without_rows_still_bounds_its_neighbours() -> None:
    found = reckon([Stretch(1, 3, 100, 98)], [anchor(2, 5, NOON)])
    assert found.boots[2].how == "anchored"
    assert found.boots[1].how == "bounded"
    assert found.boots[1].before_s is not None and found.boots[1].before_s < NOON


def test_a_start_without_a_power_cut_goes_on_counting() -> None:
    """New settings: boot 2 begins at 1,003 s of the same clock. Boot 1 is not put 1,000 s before it."""
    found = reckon([Stretch(1, 3, 1000, 998), Stretch(2, 1003, 2000, 998)], [anchor(2, 2000, NOON)])
    assert found.contradictions == []
    assert found.boots[1].before_s is not None
    assert found.boots[1].before_s >= NOON - 2000  # which is the truth


def test_one_wrong_clock_among_three_is_told_and_not_used() -> None:
    boots = [Stretch(boot, 3, 1000, 998) for boot in (1, 2, 3)]
    good = [anchor(1, 1000, NOON), anchor(2, 1000, NOON + 5000), anchor(3, 1000, NOON + 9000)]
    wrong = anchor(2, 500, NOON - 30 * 86400)  # a computer that came up with the date of last month
    found = reckon(boots, [*good, wrong])
    assert [boot.unix_s for boot in found.boots.values()] == [NOON - 1000, NOON + 4000, NOON + 8000]
    (line,) = found.contradictions
    assert "2024-04-01 12:00:00 UTC" in line and "boot 2" in line and "not used" in line
    assert reckon(boots, good).contradictions == []


def test_a_clock_that_was_never_set_is_not_used_even_alone() -> None:
    found = reckon([Stretch(1, 3, 1000, 998)], [anchor(1, 1000, 3600.0)])
    assert found.boots[1].how == "undated"
    (line,) = found.contradictions
    assert "1970-01-01 01:00:00 UTC" in line and "not set" in line


def test_two_clocks_that_contradict_each_other_date_nothing() -> None:
    boots = [Stretch(1, 3, 1000, 998), Stretch(2, 3, 1000, 998)]
    for pair in ([anchor(1, 1000, NOON), anchor(2, 1000, NOON - 50)], [anchor(1, 900, NOON), anchor(1, 1000, NOON)]):
        found = reckon(boots, pair)
        assert [boot.how for boot in found.boots.values()] == ["undated", "undated"]
        assert len(found.contradictions) == 2
        assert all("contradict each other" in line for line in found.contradictions)


def test_a_clock_wrong_by_hours_is_found_by_the_order_of_boots_alone() -> None:
    """Boot 3 is said to have begun before boots 1 and 2 were over."""
    boots = [Stretch(boot, 3, 7200, 7190) for boot in (1, 2, 3)]
    said = [anchor(1, 7200, NOON), anchor(2, 7200, NOON + 9000), anchor(3, 7200, NOON + 9000 + 7000)]
    found = reckon(boots, said)
    assert len(found.contradictions) >= 1
    assert any("boot 3" in line for line in found.contradictions)


def test_a_header_that_knows_the_time_dates_its_boot(tmp_path: Path) -> None:
    life = Life()
    life.start()
    life.run(100)
    life.open(unix_s=int(NOON))  # after the row at 102 s, before the one at 103 s
    life.run(100)
    found = dates.dates(life.pull(tmp_path / "board")).boots[1]
    assert found.how == "anchored"
    assert found.unix_s is not None and found.uncertainty_s is not None
    assert abs(found.unix_s - (NOON - 102)) <= found.uncertainty_s <= 1.1


def test_dates_of_a_folder_and_its_damaged_lines(tmp_path: Path) -> None:
    place = season(3).pull(tmp_path / "board")
    anchors.append(place, anchor(2, 422, NOON))
    anchors.append(place, anchor(3, 422, NOON + 7200))
    assert [date.how for date in dates.dates(place).boots.values()] == ["bounded", "anchored", "anchored"]
    text = (place / anchors.FILE).read_text()
    (place / anchors.FILE).write_text(text.replace('"boot": 2', '"boot": 1'))
    known, broken = anchors.read(place)
    assert [one.boot for one in known] == [3]
    assert broken == 1
    anchors.append(place, anchor(3, 500, NOON + 7278))
    assert len((place / anchors.FILE).read_text().splitlines()) == 3  # what is damaged stays for whoever can read it


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0, 1e300])
def test_numbers_that_no_clock_shows_are_damaged_lines(tmp_path: Path, value: float) -> None:
    anchors.append(tmp_path, anchor(1, 5.0, value))
    assert anchors.read(tmp_path) == ([], 1)


def test_taking_an_anchor_brackets_the_moment() -> None:
    class Board:
        def status(self) -> dict[str, int]:
            return {"boot": 4, "t_s": 100}

    moments = iter((NOON, NOON + 0.5))
    taken = anchors.take(Board(), lambda: next(moments))
    assert (taken.boot, taken.uptime_s, taken.unix_s, taken.uncertainty_s) == (4, 101.0, NOON + 0.25, 1.25)
    moments = iter((NOON, NOON - 3600))  # set back in between
    assert anchors.take(Board(), lambda: next(moments)).unix_s == NOON


@st.composite
def timelines(draw: st.DrawFn) -> tuple[list[Stretch], list[Anchor], dict[int, float]]:
    """Boots as they were, a crystal that is off, and pulls whose clocks are right."""
    crystal = draw(st.floats(-CRYSTAL, CRYSTAL)) * 0.9
    now = NOON
    boots, known, truth = [], [], {}
    for boot in range(1, draw(st.integers(1, 8)) + 1):
        now += draw(st.floats(0, 1e6))
        first = draw(st.integers(3, 2000))
        length = draw(st.integers(0, 500_000))
        truth[boot] = now
        if draw(st.booleans()):
            boots.append(Stretch(boot, first, first + length, length))
        for _ in range(draw(st.integers(0, 2))):
            uptime = draw(st.integers(first, first + length))
            off = draw(st.floats(-1, 1)) * 0.9
            known.append(anchor(boot, float(uptime), now + uptime * (1 + crystal) + off))
        now += (first + length) * (1 + crystal)
    return boots, known, truth


@given(timelines())
@settings(max_examples=300, deadline=None)
def test_the_truth_lies_within_what_is_said_and_right_clocks_never_contradict(
    made: tuple[list[Stretch], list[Anchor], dict[int, float]],
) -> None:
    boots, known, truth = made
    found = reckon(boots, known)
    assert found.contradictions == []
    for boot, date in found.boots.items():
        if date.how == "anchored":
            assert date.unix_s is not None and date.uncertainty_s is not None
            assert abs(date.unix_s - truth[boot]) <= date.uncertainty_s + 0.01
        else:
            assert date.after_s is None or date.after_s <= truth[boot] + 0.01
            assert date.before_s is None or date.before_s >= truth[boot] - 0.01
        assert (date.how == "undated") == (not known)


@given(timelines())
@settings(max_examples=200, deadline=None)
def test_a_wrong_clock_among_right_ones_is_the_one_told(
    made: tuple[list[Stretch], list[Anchor], dict[int, float]],
) -> None:
    boots, known, truth = made
    assume(len(known) >= 2)
    last = known[-1]  # all others say that it was not so early
    found = reckon(boots, [*known, anchor(last.boot, last.uptime_s, NOON - 40 * 86400 + last.uptime_s)])
    (line,) = found.contradictions
    assert "2024-03-" in line
    date = found.boots[last.boot]
    assert date.unix_s is not None and date.uncertainty_s is not None
    assert abs(date.unix_s - truth[last.boot]) <= date.uncertainty_s + 0.01


def feasible(chosen: tuple[dates._Evidence, ...], shift: dict[int, float]) -> bool:
    """Can one u that never falls meet all of these? Then and only then no earlier lower end is above a later upper."""
    spans = sorted((one.boot, one.low - shift[one.boot], one.high - shift[one.boot]) for one in chosen)
    return all(low <= high for boot, low, _ in spans for later, _, high in spans if later >= boot)


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(0, 12), st.integers(0, 4)), min_size=1, max_size=7))
@settings(max_examples=300, deadline=None)
def test_an_anchor_counts_if_every_largest_choice_without_contradiction_has_it(
    said: list[tuple[int, int, int]],
) -> None:
    evidence = [dates._Evidence(boot, low, low + wide, str(place)) for place, (boot, low, wide) in enumerate(said)]
    order = sorted({one.boot for one in evidence})
    shift = {boot: 0.5 * boot for boot in order}
    for size in range(len(evidence), 0, -1):
        largest = [set(chosen) for chosen in combinations(evidence, size) if feasible(chosen, shift)]
        if largest:
            break
    assert set(dates._agreeing(evidence, order, shift)) == set.intersection(*largest)


def test_the_brute_force_itself_refuses_a_fall() -> None:
    first, second = dates._Evidence(1, 5, 6, ""), dates._Evidence(2, 1, 2, "")
    assert not feasible((first, second), {1: 0.0, 2: 0.0})
    assert feasible((first, second), {1: 0.0, 2: -5.0})
