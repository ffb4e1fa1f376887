"""Whole sessions in no time: who sits there errs in every way, and the board ends with the new values or the old."""

import json
import os
import re
import signal
import time
from pathlib import Path
from typing import Any

import pytest

from calibrate.make_believe import METER, FakeBoard, Player
from calibrate.sitting import CLAMP_METER, amps_player, error_mv, no_time, wishes
from chargecore.calibration import Calibration
from underdash.calibrate import meter, work
from underdash.calibrate.desk import Left
from underdash.calibrate.ending import ended_as_by_ctrl_c
from underdash.problems import LinkError, UnderdashError

__all__ = ["no_time"]  # a fixture, found by its name

pytestmark = pytest.mark.usefixtures("no_time")


def test_five_points_store_and_proof(tmp_path: Path) -> None:
    board = FakeBoard()
    player = Player(board)
    assert max(error_mv(board, volts) for volts in (12.1, 13.0, 14.9)) > 10, "the nominal line is right already"
    told = work.volts(board, wishes(player, out=tmp_path))
    assert told["stored"] and len(told["points"]) == 5
    assert board.stores == [{"calibration": {name: board.values[name] for name in ("bus_zero", "bus_gain_nv")}}]
    for volts in (11.65, 12.1, 13.0, 14.0, 15.55):
        assert error_mv(board, volts) < 2.0
    (backup,) = tmp_path.glob("before-*.toml")
    assert re.search(rf"bus_gain_nv +{'='} {Calibration().bus_gain_nv} ", backup.read_text())
    (data,) = tmp_path.glob("volts-*.json")
    assert json.loads(data.read_text())["proof"]["limit"] < 0.02
    assert "current limit" in player.dialogue and "16 V" in player.dialogue


def test_the_user_chooses_the_volts_and_gives_the_class(tmp_path: Path) -> None:
    board = FakeBoard()
    player = Player(board)
    told = work.volts(board, wishes(player, at=(12.0, 15.0), meter=meter.parse(METER)))
    assert [round(point["meter"], 2) for point in told["points"]] == [12.0, 15.0]
    assert any("no Type A" in text for text in told["cautions"])
    kinds = {part["name"]: part["kind"] for part in told["uncertainty"][2]["components"]}
    assert kinds["the fitted line"] == "B"


def test_every_slip_of_the_hand_is_mended_on_the_way() -> None:
    board = FakeBoard()
    reads = "meter reads [V]"
    player = Player(
        board,
        [
            ("meter class", "good"),
            ("meter class", METER),
            (reads, ""),
            (reads, "r"),
            (reads, "abc"),
            (reads, "11800"),
            (reads, "-11.8"),
            (reads, "11,800"),  # point 1
            (reads, "21.6"),
            (reads, "r"),  # point 2, and back to 1
            (reads, "11.800"),
            (reads, "12.600"),
            (reads, "13.524"),  # point 3: 24 mV off, and nothing shows it yet
            (reads, "14.400"),
            (reads, "15.400"),
            ("Enter to take point 3 again", ""),
            (reads, "13.500"),
            ("Enter to accept", "9"),
            ("Enter to accept", "2"),
            (reads, "r"),
            (reads, "12.600"),
            ("Enter to accept", ""),
            ("[y/n]", "maybe"),
            ("[y/n]", "y"),
            (reads, ""),
            (reads, "x"),
            (reads, "13.100"),
            (reads, "13.000"),
        ],
    )
    told = work.volts(board, wishes(player))
    assert player.replies == [], player.dialogue
    assert told["stored"] and told["proof"]["meter"] == 13.0
    for said in (
        "'good'",
        "first point",
        "not a number",
        "read in mV",
        "reversed",
        "swapped",
        "point 3 (13.524 V) lies +24 mV",
        "type a number from 1 to 5",
        "type y or n",
        "too far",
    ):
        assert said in player.dialogue, said
    assert [point["text"] for point in told["points"]] == ["11.800", "12.600", "13.500", "14.400", "15.400"]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize("how", ["volts", "amps"])
def test_a_signal_at_the_proof_puts_the_old_calibration_back(how: str, number: signal.Signals, tmp_path: Path) -> None:
    board = FakeBoard()
    before = board.settings()
    player = amps_player(board) if how == "amps" else Player(board)
    whole = player.ask

    def ask(question: str) -> str:
        if "Stored." in player.dialogue and "meter reads" in question:
            os.kill(os.getpid(), number)
            time.sleep(5)  # it comes before that ends
        return whole(question)

    def on_store(values: dict[str, dict[str, int]]) -> None:
        if "Stored." in player.dialogue:  # while the old values go back
            for one in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
                os.kill(os.getpid(), one)

    player.ask = ask  # type: ignore[method-assign]
    board.on_store = on_store
    ignored = signal.getsignal(number) == signal.SIG_IGN  # where the tests run under nohup
    if ignored:
        signal.signal(number, signal.SIG_DFL)
    handlers = [signal.getsignal(one) for one in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)]
    calibration, kind = (work.clamp, CLAMP_METER) if how == "amps" else (work.volts, meter.parse(METER))
    with pytest.raises(KeyboardInterrupt), ended_as_by_ctrl_c():
        calibration(board, wishes(player, out=tmp_path, meter=kind, turns=8 if how == "amps" else 1))
    assert "Stored." in player.dialogue and board.settings() == before
    assert not [*tmp_path.glob("volts-*"), *tmp_path.glob("amps-*")]
    assert [signal.getsignal(one) for one in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)] == handlers
    if ignored:
        signal.signal(number, signal.SIG_IGN)


@pytest.mark.parametrize("how", ["volts", "amps"])
def test_a_board_pulled_at_the_proof_is_told_of_once(how: str, tmp_path: Path) -> None:
    board = FakeBoard()
    player = amps_player(board) if how == "amps" else Player(board)
    whole = player.ask

    def gone(*given: object) -> Any:
        raise LinkError("/dev/fake: the board was unplugged; plug it in again")

    def ask(question: str) -> str:
        typed = whole(question)
        if "Stored." in player.dialogue:
            board.status = board.settings = board.store = board.ready = gone  # type: ignore[method-assign]
        return typed

    player.ask = ask  # type: ignore[method-assign]
    calibration, kind = (work.clamp, CLAMP_METER) if how == "amps" else (work.volts, meter.parse(METER))
    with pytest.raises(LinkError, match="never a mixture") as told:
        calibration(board, wishes(player, out=tmp_path, meter=kind, turns=8 if how == "amps" else 1))
    (backup,) = tmp_path.glob("before-*.toml")
    assert str(told.value).count("unplugged") == 1 and f"settings send {backup}" in str(told.value)
    assert len(str(told.value)) - len(str(backup)) < 280


def test_a_clamp_left_behind_by_a_session_cut_off_is_told_of() -> None:
    board = FakeBoard()
    board.values["clamp_fitted"] = 1
    player = amps_player(board, [("no current", "q")])
    with pytest.raises(Left):
        work.clamp(board, wishes(player, meter=CLAMP_METER, turns=8))
    told = [text for text in player.heard if "clamp_fitted = 1 with the nominal" in text]
    assert len(told) == 1 and "If you leave it stays so" in told[0] and "clamp_fitted = 0" in told[0]
    board.values["clamp_gain_ua"] += 7
    player = amps_player(board, [("no current", "q")])
    with pytest.raises(Left):
        work.clamp(board, wishes(player, meter=CLAMP_METER, turns=8))
    assert "with the nominal" not in player.dialogue


@pytest.mark.parametrize("question", ["meter class", "meter reads [V]", "Enter to accept", "[y/n]"])
@pytest.mark.parametrize("how", ["q", "<eof>", "<ctrl-c>"])
def test_leaving_before_the_store_changes_nothing(question: str, how: str) -> None:
    board = FakeBoard()
    before = board.settings()
    player = Player(board, [(question, "n" if how == "q" and question == "[y/n]" else how)])
    with pytest.raises((Left, KeyboardInterrupt)):
        work.volts(board, wishes(player))
    assert board.settings() == before and board.stores == []


@pytest.mark.parametrize("how", ["q", "<eof>", "<ctrl-c>"])
def test_leaving_at_the_proof_puts_the_old_calibration_back(how: str, tmp_path: Path) -> None:
    board = FakeBoard()
    before = board.settings()
    player = Player(board)

    def said(question: str, whole: Any = player.ask) -> str:
        if board.stores and not player.replies:
            player.replies.append(("meter reads [V]", how))
        return str(whole(question))

    player.ask = said  # type: ignore[method-assign]
    with pytest.raises((Left, KeyboardInterrupt)):
        work.volts(board, wishes(player, out=tmp_path))
    assert len(board.stores) == 2 and board.settings() == before
    assert not list(tmp_path.glob("volts-*"))


def test_a_supply_that_never_settles() -> None:
    board = FakeBoard()
    board.noise = 60.0
    with pytest.raises(UnderdashError, match=r"does not settle.*quieter supply"):
        work.volts(board, wishes(Player(board)))
    assert board.stores == []


def test_a_supply_that_moves_while_the_meter_is_read() -> None:
    board = FakeBoard()
    player = Player(board)
    whole, moved = player.ask, []

    def ask(question: str) -> str:
        typed = whole(question)
        if "meter reads" in question and not moved:
            moved.append(1)
            board.volts += 0.02
        return typed

    player.ask = ask  # type: ignore[method-assign]
    told = work.volts(board, wishes(player))
    assert "the supply moved by 20 mV" in player.dialogue and told["points"][0]["text"] == "11.820"


def test_a_supply_set_elsewhere_is_taken_as_it_is() -> None:
    board = FakeBoard()
    player = Player(board)
    whole = player.say

    def say(text: str) -> None:
        whole(text)
        if "about 12.6 V" in text and "set the supply" in text:
            board.volts = 13.0

    player.say = say  # type: ignore[method-assign]
    told = work.volts(board, wishes(player))
    assert "not near 12.6 V" in player.dialogue
    assert [round(point["meter"], 1) for point in told["points"]] == [11.8, 13.0, 13.5, 14.4, 15.4]


class Broken(LinkError):
    pass


@pytest.mark.parametrize("kind", ["refuses", "forgets", "lies", "breaks after"])
def test_a_store_that_goes_wrong_ends_with_the_old_values(kind: str) -> None:
    board = FakeBoard()
    before = board.settings()
    first = [True]

    def on_store(values: dict[str, dict[str, int]]) -> None:
        if not first:
            board.lies_mv = 0
            return
        first.clear()
        if kind == "refuses":
            raise Broken("the board refuses: store: flash")
        if kind == "forgets":
            values = dict(values)
            values["calibration"]["bus_zero"] += 1
        if kind == "lies":
            board.lies_mv = 40
        if kind == "breaks after":
            board.values.update(values["calibration"])
            raise Broken("the board went away")

    board.on_store = on_store
    player = Player(board)
    if kind == "lies":
        whole = player.ask
        player.ask = lambda q: "q" if "too far" in player.dialogue and "meter reads" in q else whole(q)  # type: ignore[method-assign]
    if kind == "forgets":
        # What is asked for and what is kept differ.
        kept = board.store

        def store(settings: dict[str, dict[str, int]]) -> None:
            kept({"calibration": {**settings["calibration"], **({"bus_zero": 7} if first else {})}})

        board.store = store  # type: ignore[method-assign]
    with pytest.raises(UnderdashError):
        work.volts(board, wishes(player))
    assert board.settings() == before


def test_a_board_that_cannot_be_reached_again_is_told_so() -> None:
    board = FakeBoard()

    def gone(values: dict[str, dict[str, int]]) -> None:
        board.settings = lambda: (_ for _ in ()).throw(Broken("the board went away"))  # type: ignore[method-assign]
        raise Broken("the board went away")

    board.on_store = gone
    with pytest.raises(LinkError, match=r"never a mixture.*before-"):
        work.volts(board, wishes(Player(board)))


def test_an_old_firmware_without_codes() -> None:
    board = FakeBoard()
    board.status = lambda: {"bus_mv": 12000}  # type: ignore[method-assign]
    with pytest.raises(LinkError, match="tells no bus_code"):
        work.volts(board, wishes(Player(board)))
