"""The button, the panel's light, hiding, sleeping, a display that is lost: at ticks of both lengths."""

import itertools
from typing import Any

import pytest
from theatre import Moment, play, press, says

from chargecore import engine
from monitor import signals

VIEW = {"bus_mv": 13940, "clamp_ma": 4200, "state": engine.CHARGING}
HIDDEN = {"hidden": 1, "show_s": 30}
CONTRAST, ON, OFF = b"\x00\x81", b"\x00\xaf", b"\x00\xae"
BOTH = pytest.mark.parametrize("dt_ms", [100, 200])


def wait(seconds: float, dt_ms: int = 100, **changes: Any) -> dict[str, Any]:
    return {**changes, "ticks": round(seconds * 1000 / dt_ms), "dt_ms": dt_ms}


def turns(moments: list[Moment]) -> list[int]:
    """The ticks at which the page turned."""
    return [tick for tick, (one, two) in enumerate(itertools.pairwise(moments), 1) if one.page != two.page]


def sent(moments: list[Moment], command: bytes) -> list[bytes]:
    return [message for moment in moments for message in moment.sent if message.startswith(command)]


# -- the button -------------------------------------------------------------------------------


@BOTH
@pytest.mark.parametrize("held", [1, 2, 30, 100])
def test_a_press_turns_one_page_at_once_however_long_it_is_held(dt_ms: int, held: int) -> None:
    moments = play(wait(2, dt_ms), *press(held, dt_ms), wait(2, dt_ms))
    first = round(2000 / dt_ms)
    assert turns(moments) == [first]
    assert any(len(message) == 1025 for message in moments[first].sent), "the page was not drawn at once"


@BOTH
def test_quick_presses_all_count(dt_ms: int) -> None:
    moments = play(wait(1, dt_ms), *[{"button": 0, "ticks": 1, "dt_ms": dt_ms}, wait(0.2, dt_ms, button=1)] * 7)
    assert len(turns(moments)) == 7


def test_a_bouncing_contact_is_one_press() -> None:
    chatter = [{"button": level, "ticks": 1} for level in (0, 1, 0, 0, 1, 0, 0, 0, 1, 0)]
    assert len(turns(play(wait(1), *chatter, wait(1, button=1)))) == 1


def test_a_button_held_since_power_on_has_not_been_pressed() -> None:
    moments = play(wait(5, button=0), wait(1, button=1), *press())
    assert turns(moments) == [60]


def test_without_a_button_or_any_pin_the_panel_lives() -> None:
    moments = play({"view": VIEW}, *press(), wait(5), missing=["button", "lamp", "buzzer", "dim"])
    assert says(moments[-1].picture, "CHARGING") and moments[-1].page == 0


# -- hidden and asleep ------------------------------------------------------------------------


@BOTH
def test_hidden_the_first_press_lights_and_the_next_turn_pages(dt_ms: int) -> None:
    moments = play(
        {"view": VIEW}, wait(20, dt_ms), *press(1, dt_ms), wait(5, dt_ms), *press(1, dt_ms), *press(1, dt_ms),
        wait(60, dt_ms), *press(1, dt_ms), options=HIDDEN,
    )  # fmt: skip
    at = [moments[round(second * 1000 / dt_ms) - 1] for second in (20, 21, 25)]
    assert at[0].dark and not at[1].dark and at[1].page == at[2].page == 0
    assert len(turns(moments)) == 2 and moments[-1].page == 2
    assert not moments[-1].dark, "dark again, a press lights the page that was left"
    assert not sent(moments[: round(20000 / dt_ms)], ON)


@BOTH
@pytest.mark.parametrize("show_s", [5, 30])
def test_it_goes_dark_show_s_after_the_last_press(dt_ms: int, show_s: int) -> None:
    moments = play(
        wait(5, dt_ms), *press(1, dt_ms), wait(3, dt_ms), *press(1, dt_ms), wait(60, dt_ms),
        options={"hidden": 1, "show_s": show_s},
    )  # fmt: skip
    last_press = turns(moments)[0]
    lit = [not moment.dark for moment in moments]
    darkens = last_press + show_s * 1000 // dt_ms
    assert all(lit[last_press:darkens]) and not any(lit[darkens:])
    assert [moment.awake for moment in moments] == lit
    assert len(sent(moments, ON)) == 1
    assert len(sent(moments, OFF)) == 2, "once at the start, once after the press"


def test_hidden_nothing_is_drawn_and_no_display_is_sought() -> None:
    moments = play({"view": VIEW}, wait(60), options=HIDDEN)
    assert not any(moment.sent or moment.looked for moment in moments)


def test_asleep_is_dark_and_a_press_still_lights_it() -> None:
    moments = play(
        {"view": VIEW}, wait(5), {"asleep": True}, wait(10, 200), *press(1, 200), wait(60, 200), {"asleep": False},
        wait(2), options={"show_s": 10},
    )  # fmt: skip
    assert not moments[49].dark
    dark = [moment.dark for moment in moments]
    assert all(dark[50:100]) and not any(dark[100:150]) and all(dark[150:402]) and not any(dark[-19:])
    assert moments[110].awake and not moments[149 + 5].awake
    assert moments[-1].page == 0


# -- brightness -------------------------------------------------------------------------------


def test_contrast_is_sent_once_and_never_again() -> None:
    moments = play(wait(120), options={"contrast": 180})
    assert sent(moments, CONTRAST) == [CONTRAST + b"\xb4"]
    assert len(sent(moments, ON)) == 1 and len(sent(moments, OFF)) == 1


def test_dimmed_by_time_and_bright_again_by_a_press() -> None:
    options = {"dim_after_s": 20, "contrast": 200, "dim_contrast": 7}
    moments = play(wait(30), *press(), wait(30), options=options)
    assert [message[2] for message in sent(moments, CONTRAST)] == [200, 7, 200, 7]
    when = [tick for tick, moment in enumerate(moments) if sent([moment], CONTRAST)]
    assert when == [0, 199, 300, 500]
    assert moments[-1].page == 1, "a dimmed panel is seen: the press turned the page"


def test_never_dimmed_by_time_unless_asked() -> None:
    assert len(sent(play(wait(3000)), CONTRAST)) == 1


def test_dimmed_while_the_panel_lamps_are_lit() -> None:
    options = {"dim_feed": 1, "contrast": 200, "dim_contrast": 0}
    moments = play(wait(5), wait(5, dim=1), wait(5, dim=0), options=options)
    assert [message[2] for message in sent(moments, CONTRAST)] == [200, 0, 200]
    when = [tick for tick, moment in enumerate(moments) if sent([moment], CONTRAST)]
    assert when[1] == 50 and 115 <= when[2] <= 121
    assert not moments[70].dark, "dimmed is not dark"


def test_a_chopped_feed_does_not_make_the_panel_flicker() -> None:
    chopped = [{"dim": int(step % 3 == 0), "ticks": 1} for step in range(90)]
    assert len(sent(play(wait(1), *chopped, options={"dim_feed": 1}), CONTRAST)) == 2


def test_a_feed_that_is_not_wired_is_not_read() -> None:
    assert len(sent(play(wait(2), wait(5, dim=1), options={"dim_feed": 0}), CONTRAST)) == 1


# -- the display lost -------------------------------------------------------------------------


def test_a_missing_display_is_sought_every_ten_seconds_and_stops_nothing() -> None:
    moments = play({"view": VIEW}, wait(60), {"lost": False}, wait(12), lost=True)
    looked = [tick for tick, moment in enumerate(moments) if moment.looked]
    assert looked[0] == 0
    assert all(100 <= later - sooner <= 105 for sooner, later in itertools.pairwise(looked))
    lamp = [moment.lamp for moment in moments[:60]]
    assert lamp == [signals.level(signals.RUNS_WELL, tick % 30) for tick in range(60)]
    assert says(moments[-1].picture, "CHARGING")


def test_a_display_that_is_lost_comes_back_with_its_page_and_settings() -> None:
    moments = play(
        {"view": VIEW}, wait(2), *press() * 3, wait(2), {"lost": True}, wait(15), {"lost": False}, wait(11),
        options={"contrast": 99},
    )  # fmt: skip
    assert moments[-1].page == 3 and not moments[-1].dark
    assert [message[2] for message in sent(moments, CONTRAST)] == [99, 99], "a display that restarted knows nothing"
    assert 1 <= sum(moment.looked for moment in moments[52:]) <= 3


def test_a_press_looks_for_the_display_at_once_and_turns_nothing_unseen() -> None:
    moments = play(wait(3), {"lost": False}, *press(), wait(1), lost=True)
    assert moments[30].looked == 1 and not moments[30].dark and moments[-1].page == 0


# -- lamp and buzzer, through the face --------------------------------------------------------


def tenths(moments: list[Moment]) -> list[int]:
    return [moment.lamp for moment in moments]


def rhythm_of(levels: list[int], rhythm: tuple[int, ...]) -> bool:
    whole = [signals.level(rhythm, at) for at in range(sum(rhythm))]
    return all(level == whole[at % len(whole)] for at, level in enumerate(levels))


@pytest.mark.parametrize("hidden", [0, 1])
def test_the_lamp_speaks_seen_or_hidden(hidden: int) -> None:
    moments = play(
        {"view": VIEW}, wait(9), wait(9, view={"state": engine.DISCHARGING, "warnings": 1}),
        wait(9, view={"state": engine.REST, "warnings": 0}), options={"hidden": hidden},
    )  # fmt: skip
    assert rhythm_of(tenths(moments[:90]), signals.RUNS_WELL)
    assert rhythm_of(tenths(moments[90:180]), signals.DRAINS)
    assert rhythm_of(tenths(moments[180:]), signals.WAITING)


def test_asleep_a_rare_blink_and_none_below_the_cut_off() -> None:
    moments = play(
        {"view": {**VIEW, "state": engine.REST}, "asleep": True}, wait(100, 200), wait(100, 200, view={"saving": 1})
    )
    assert sum(tenths(moments[:500])) == 10
    assert not any(tenths(moments[500:]))


def test_options_silence_lamp_and_buzzer() -> None:
    grave = {"state": engine.OVERCHARGE, "warnings": engine.WARN_OVERCHARGE}
    moments = play(wait(2), wait(9, view=grave), options={"lamp": 0})
    assert not any(moment.lamp or moment.buzzer for moment in moments), "the buzzer is off unless asked for"
    moments = play(wait(2), wait(9, view=grave), options={"buzzer": 1})
    assert [moment.buzzer for moment in moments[20:34]] == [1, 1, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 0, 0]
    assert not any(moment.buzzer for moment in moments[34:])


def test_close_leaves_nothing_that_would_soon_be_untrue() -> None:
    grave = {**VIEW, "state": engine.OVERCHARGE, "warnings": engine.WARN_OVERCHARGE}
    moments = play(wait(0.1, view=grave), {"close": True}, options={"buzzer": 1})
    assert moments[0].lamp and moments[0].buzzer and not moments[0].dark
    assert moments[1].dark and not moments[1].lamp and not moments[1].buzzer


@BOTH
def test_drawn_twice_a_second(dt_ms: int) -> None:
    moments = play({"view": VIEW}, wait(60, dt_ms))
    frames = sum(len(message) == 1025 for moment in moments for message in moment.sent)
    assert abs(frames - 120) <= 2
