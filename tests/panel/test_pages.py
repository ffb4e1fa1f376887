"""What stands on each page, read back letter by letter from the picture on the glass."""

import itertools
from typing import Any

import numpy as np
import pytest
from theatre import ABSENT, Picture, find, play, press, says, show

from chargecore import engine

LARGE, MEDIUM = (18, 32, 4), (14, 24, 3)
_SEGMENTS = ("abcdef", "bc", "abged", "abgcd", "fgbc", "afgcd", "afgedc", "abc", "abcdefg", "abcdfg", "g", "")
_SHAPES = {frozenset(lit): shape for lit, shape in zip(_SEGMENTS, "0123456789- ", strict=True)}

DRIVE = {"low_mv": 12380, "crank_mv": 9870, "deficit_as": 2410, "deficit_s": 734, "length_s": 3720}
LAST = {"low_mv": 13150, "crank_mv": 10120, "deficit_as": 1290, "deficit_s": 12, "length_s": 1800}
VIEW: dict[str, Any] = {
    "bus_mv": 13940, "clamp_ma": 4200, "state": engine.CHARGING, "out_as": 7700, "in_as": 5290, "deficit_as": 2410,
    "low_s": 734, "drive": DRIVE, "last": LAST, "seconds": 15180, "boot": 212, "rows": 418233, "rows_dropped": 90,
    "free_kib": 1148, "heap_free": 121000, "errors": 0, "key": 1,
}  # fmt: skip
BARE = {"clamp_ma": ABSENT, "out_as": 0, "in_as": 0, "deficit_as": 0}
WORDS = {
    engine.WARN_OVERCHARGE: "OVERCHARGE",
    engine.WARN_DISCHARGING: "DISCHARGING",
    engine.WARN_SENSOR: "CHECK SENSORS",
    engine.WARN_WEAK_CRANK: "WEAK CRANK",
    engine.WARN_LOW_REST: "BATTERY LOW",
    engine.WARN_MARGINAL: "MARGINAL",
}
BODY = 45  # rows that are the page's own


def figure(picture: Picture, x: int, y: int, size: tuple[int, int, int]) -> str:
    """The seven-segment figure in that place, '?' if it is none."""
    width, height, thick = size
    middle, half = thick // 2, height // 4
    at = {
        "a": (width // 2, middle), "g": (width // 2, height // 2), "d": (width // 2, height - 1 - middle),
        "b": (width - 1 - middle, half), "c": (width - 1 - middle, height - half),
        "e": (middle, height - half), "f": (middle, half),
    }  # fmt: skip
    lit = frozenset(name for name, (dx, dy) in at.items() if picture[y + dy, x + dx])
    return _SHAPES.get(lit, "?")


def volts(picture: Picture) -> str:
    """The first page's large figures."""
    tens, ones, tenth = (figure(picture, x, 0, LARGE) for x in (0, 22, 52))
    assert picture[28:32, 44:48].all(), "no point"
    return f"{tens}{ones}.{tenth}"


def amps(picture: Picture) -> str:
    """The second page's figures."""
    point = "." if picture[21:24, 66:69].all() else ""
    places = (71, 49, 32, 15) if point else (71, 54, 37, 20)
    shown = [figure(picture, x, 0, MEDIUM) for x in places]
    digits = [shape for shape in shown if shape in "0123456789"]
    x = places[len(digits) - 1] - (17 if len(digits) != 1 or not point else 22)
    sign = ("+" if picture[8, x + 5] else "-") if picture[12, x + 2] else ""
    return sign + "".join(reversed(digits[1:])) + point + digits[0]


def page(number: int, **changes: Any) -> Picture:
    """A page, counted from 1, at rest after some seconds."""
    return play(*show(number, **{**VIEW, **changes}))[-1].picture


def beats(number: int, count: int, **changes: Any) -> list[Picture]:
    """So many successive drawings of a page, half a second apart."""
    moments = play(*show(number, **{**VIEW, **changes}), {"ticks": 5 * count})
    return [moment.picture for moment in moments[-5 * count :] if moment.sent]


def tour(count: int, **changes: Any) -> list[list[Picture]]:
    """So many successive drawings of each of the five pages."""
    turn = [*press(), {"ticks": 3}, {"ticks": 5 * count}]
    moments = play({"view": {**VIEW, **changes}, "ticks": 7 + 5 * count}, *turn * 4)
    ends = range(7 + 5 * count, len(moments) + 1, 7 + 5 * count)
    return [[moment.picture for moment in moments[end - 5 * count : end] if moment.sent] for end in ends]


@pytest.mark.parametrize(
    ("bus_mv", "shown"),
    [(13940, "13.9"), (13950, "14.0"), (9949, " 9.9"), (9950, "10.0"), (12, " 0.0"), (-3000, " 0.0"), (15049, "15.0")],
)
def test_volts_in_large_figures(bus_mv: int, shown: str) -> None:
    assert volts(page(1, bus_mv=bus_mv)) == shown


@pytest.mark.parametrize(
    ("clamp_ma", "small", "large"),
    [(4200, "+4A", "+4.2"), (-14800, "-15A", "-14.8"), (0, "0A", "0.0"), (-499, "0A", "-0.5"), (-500, "-1A", "-0.5"),
     (-312400, "-312A", "-312"), (99949, "+100A", "+99.9"), (99950, "+100A", "+100"), (20, "0A", "0.0"),
     (1234567, "+1235A", "+1235")],
)  # fmt: skip
def test_amps_on_both_pages(clamp_ma: int, small: str, large: str) -> None:
    first, second = page(1, clamp_ma=clamp_ma), page(2, clamp_ma=clamp_ma)
    assert find(first, small, tall=True) == [(128 - 8 * len(small), 0)]
    assert amps(second) == large


def test_the_arrow_tells_into_from_out_of_without_the_sign() -> None:
    into, out, none = (page(2, clamp_ma=clamp_ma)[:16, 96:] for clamp_ma in (9000, -9000, 0))
    assert (into[:, :16] == out[:, :16]).all(), "the battery itself stays"
    assert (into[:, 18:] == np.fliplr(out[:, 18:])).all()
    assert into[:, 18:].any() and not none[:, 18:].any()


def test_ledger() -> None:
    picture = page(2)
    for text in ("OUT", "2.13", "IN", "1.46", "DEFICIT", "0.66", "Ah"):
        assert says(picture, text), text


@pytest.mark.parametrize(
    ("out_as", "shown"), [(0, "0.00"), (35999, "9.99"), (36000, "10.0"), (359999, "99.9"), (360000, "100")]
)
def test_charge_keeps_to_four_letters(out_as: int, shown: str) -> None:
    assert (60 - 8 * len(shown), 27) in find(page(2, out_as=out_as), shown)


@pytest.mark.parametrize("low_s", [0, 59, 734, 59999, 90000])
def test_without_a_clamp_the_amps_page_says_so_and_shows_the_time_low(low_s: int) -> None:
    picture = page(2, **{**BARE, "low_s": low_s})
    assert says(picture, "NO CLAMP READING") and says(picture, "min below") and says(picture, "13.0")
    shown = "".join(figure(picture, x, 10, MEDIUM) for x in (14, 31, 48, 71, 88)).strip()
    held = min(low_s, 59999)
    assert shown == f"{held // 60}{held % 60:02d}"


def test_a_clamp_that_falls_silent_leaves_the_ledger_standing() -> None:
    picture = page(2, clamp_ma=ABSENT)
    assert says(picture, "2.13") and figure(picture, 71, 0, MEDIUM) == figure(picture, 54, 0, MEDIUM) == "-"
    assert not says(picture, "NO CLAMP")


def test_the_minute_with_its_highest_and_lowest() -> None:
    moments = play({"seconds": [13900] * 40 + [12440] + [13100] * 19}, *show(3, **VIEW))
    picture = moments[-1].picture
    assert find(picture, "13.9", tall=True) == [(96, 0)] and find(picture, "12.4", tall=True) == [(96, 30)]
    y = {mv: (15000 - mv) * 42 // 3000 for mv in (13900, 13100, 12440)}
    assert picture[y[13900], 6:58].all() and picture[y[13100], 64:88].all() and picture[y[12440], 4 + 40 * 83 // 59]
    later = play({"seconds": [12440] + [13900] * 60}, *show(3, **VIEW))[-1].picture
    assert find(later, "13.9", tall=True) == [(96, 0), (96, 30)], "what is older than a minute is gone"


def test_a_gap_in_the_trace_stays_a_gap() -> None:
    picture = play({"seconds": [13900] * 30 + [ABSENT] * 10 + [13900] * 20}, *show(3, **VIEW))[-1].picture
    row = picture[(15000 - 13900) * 42 // 3000, 4:88]
    assert row[:40].all() and not row[43:55].any() and row[57:].all()
    none = page(3)
    assert len(find(none, "--", tall=True)) == 2


def test_the_drive_going_on_and_the_one_before_take_turns() -> None:
    seen = beats(4, 20)
    now = [picture for picture in seen if says(picture, "NOW")]
    last = [picture for picture in seen if says(picture, "LAST")]
    assert len(now) + len(last) == 20 and min(len(now), len(last)) >= 8
    assert all(says(picture, text) for picture in now for text in ("12.4", "9.9", "0.66"))
    assert all(says(picture, text) for picture in last for text in ("13.2", "10.1", "0.35"))


@pytest.mark.parametrize("parked", [{"state": engine.REST, "key": ABSENT}, {"key": 0}])
def test_parked_the_latest_drive_is_the_last(parked: dict[str, int]) -> None:
    for picture in beats(4, 20, **parked):
        assert says(picture, "LAST") and says(picture, "12.4") and not says(picture, "NOW")


def test_without_a_clamp_a_drive_shows_its_time_in_deficit() -> None:
    picture = page(4, **{**BARE, "drive": {**DRIVE, "deficit_as": 0}, "state": engine.REST})
    assert says(picture, "12:14") and says(picture, "min") and not says(picture, "DEFICIT")


def test_no_drive_yet_is_dashes() -> None:
    nothing = {"low_mv": ABSENT, "crank_mv": ABSENT, "deficit_as": 0, "deficit_s": 0, "length_s": 0}
    for clamp_ma in (ABSENT, 0):
        picture = page(4, drive=nothing, state=engine.REST, clamp_ma=clamp_ma)
        assert len(find(picture, "--", tall=True)) == 3
        assert not any(find(picture, digit, tall=True) for digit in "0123456789")


def test_board_health() -> None:
    picture = page(5)
    for text in ("UP", "4h", "13min", "#212", "ROWS", "418233", "DROPPED", "90", "1148K", "118K", "ERR"):
        assert says(picture, text), text
    assert says(page(5, seconds=400000), "4d15h")
    longest = page(5, seconds=2**30 - 1)
    assert says(longest, "UP") and says(longest, "999d"), "one runs into the other"
    faulty = page(5, errors=3)
    assert find(faulty, "3") and faulty[34, 84:].all() and not picture[34, 84:].any(), "errors are boxed"


def test_what_is_not_known_is_dashes_never_a_number() -> None:
    unknown = {"bus_mv": ABSENT, "clamp_ma": ABSENT, "state": engine.UNKNOWN}
    first = page(1, **unknown)
    assert volts(first) == "--.-" and says(first, "--A")
    assert not any(find(first, digit, tall=True) for digit in "0123456789")
    fifth = page(5, free_kib=ABSENT, heap_free=ABSENT, key=ABSENT)
    assert len(find(fifth, "--")) == 3


@pytest.mark.parametrize("bit", WORDS)
def test_a_warning_is_seen_on_every_page_and_hides_nothing_of_it(bit: int) -> None:
    word = WORDS[bit]
    parked = {"key": 0}  # so that no two drives take turns
    warned = tour(2, **parked, warnings=bit)
    assert len(warned) == 5
    for number, ((plain, _), (one, two)) in enumerate(zip(tour(2, **parked), warned, strict=True), 1):
        bar, box = (one, two) if one[50, 1] else (two, one)
        assert find(bar, word, tall=True, inverted=True) and find(box, word, tall=True)
        for border in (box[46], box[63], box[46:, 0], box[46:, 127]):
            assert border.all()
        assert bar[46:48].all() and bar[62:].all()
        assert (bar[:BODY] == box[:BODY]).all() and (box[:BODY] == plain[:BODY]).all(), number


def test_every_state_has_its_word_on_every_page_and_no_bar() -> None:
    for state, name in enumerate(engine.STATE_NAMES):
        pages = tour(1, state=state)
        assert len(pages) == 5
        for (picture,) in pages:
            assert find(picture, name.upper(), tall=True), name
            assert not picture[46:, 0].any()


def test_the_gravest_warning_and_how_many_stand_behind_it() -> None:
    order = [engine.WARN_OVERCHARGE, engine.WARN_DISCHARGING, engine.WARN_SENSOR, engine.WARN_WEAK_CRANK,
             engine.WARN_LOW_REST, engine.WARN_MARGINAL]  # fmt: skip
    for index, bit in enumerate(order[:-1]):
        behind = len(order) - 1 - index
        assert says(page(1, warnings=sum(order[index:])), f"{WORDS[bit]} +{behind}")


@pytest.mark.parametrize("notice", ["settings: lost", "DEFAULT SETTINGS"])
def test_a_notice_stands_beside_warning_and_state(notice: str) -> None:
    for page_ in tour(4, warnings=1, notice=notice):
        for picture in page_:
            assert says(picture, "DISCHARGING") and find(picture, notice)
            assert picture[46:55, 0].all(), "neither box nor bar"
    for (picture,) in tour(1, notice=notice):
        assert find(picture, "CHARGING") and find(picture, notice)


def test_saving_is_said_and_takes_turns_with_a_notice() -> None:
    low = {"state": engine.REST, "warnings": engine.WARN_LOW_REST, "saving": 1}
    for picture in beats(1, 4, **low):
        assert says(picture, "BATTERY LOW") and find(picture, "NOTHING WRITTEN")
    seen = beats(1, 16, **low, notice="settings: lost")
    assert all(says(picture, "BATTERY LOW") for picture in seen)
    assert sum(bool(find(picture, "NOTHING WRITTEN")) for picture in seen) == 8
    assert sum(bool(find(picture, "settings: lost")) for picture in seen) == 8


def test_five_pages_in_turn_each_with_its_mark() -> None:
    moments = play({"view": VIEW, "ticks": 5}, *press() * 5)
    turned = [moment for before, moment in itertools.pairwise(moments) if moment.page != before.page]
    assert [moment.page for moment in turned] == [1, 2, 3, 4, 0]
    for moment in turned:
        runs = [moment.picture[45, 44 + 9 * place : 49 + 9 * place].sum() for place in range(5)]
        assert runs == [5 if place == moment.page else 1 for place in range(5)]
    bodies = {moment.picture[:BODY].tobytes() for moment in turned}
    assert len(bodies) == 5
