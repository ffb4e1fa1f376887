"""Whole sessions in no time: who sits there errs in every way, and the board ends with the new values or the old."""

import json
import os
import re
import signal
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from calibrate import make_believe
from calibrate.make_believe import METER, FakeBoard, Player
from chargecore.calibration import Calibration
from underdash.calibrate import gauge, meter, work
from underdash.calibrate.desk import Left
from underdash.calibrate.ending import ended_as_by_ctrl_c
from underdash.calibrate.work import Wishes
from underdash.problems import DataError, LinkError, UnderdashError, UsageError
from underdash.virtual.signal_file import FrontEnd


@pytest.fixture(autouse=True)
def no_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Waiting takes no time, but the clock goes on."""
    now = [0.0]

    def sleep(seconds: float) -> None:
        now[0] += seconds

    whole = gauge.Gauge.__init__

    def begin(self: gauge.Gauge, board: Any, channel: str) -> None:
        whole(self, board, channel, sleep, lambda: now[0])

    monkeypatch.setattr(gauge.Gauge, "__init__", begin)


def wishes(player: Player, **changes: Any) -> Wishes:
    return Wishes(player, player.say, **changes)


def error_mv(board: FakeBoard, volts: float) -> float:
    kept = Calibration()
    vars(kept).update(board.values)
    board.volts = volts
    shown = [kept.bus_mv(board.status()["bus_code"]) for _ in range(40)]
    return abs(sum(shown) / len(shown) - volts * 1000)


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


# -- from a file ------------------------------------------------------------------------------


def points_file(board: FakeBoard, path: Path, header: str = "meter_volts,bus_code") -> Path:
    lines = [header]
    for volts in (11.8, 12.6, 13.5, 14.4, 15.4):
        board.volts = volts
        status = [board.status() for _ in range(16)]
        field = "bus_code" if "code" in header else "bus_mv"
        mean = sum(one[field] for one in status) / 16
        lines.append(f"{volts:.3f},{mean if field == 'bus_code' else mean / 1000:.4f}")
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.mark.parametrize("header", ["meter_volts,bus_code", "meter_volts,shown_volts"])
def test_a_file_is_stored_and_proven_at_its_last_point(header: str, tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv", header)
    told = work.volts(board, Wishes(None, lambda text: None, meter.parse(METER), path, yes=True, out=tmp_path / "out"))
    assert told["stored"] and told["proof"]["meter"] == 15.4
    assert max(error_mv(board, volts) for volts in (11.65, 13.0, 15.55)) < 2.0


def test_a_supply_that_was_turned_off_is_not_called_a_proof(tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv")
    board.volts = 12.0
    heard: list[str] = []
    told = work.volts(board, Wishes(None, heard.append, meter.parse(METER), path, yes=True))
    assert told["stored"] and told["proof"] is None and "arithmetic" in told["cautions"][-1]
    assert "no reading after the store was compared with a meter" in heard[-1] and "kept bus_zero" in heard[-1]
    board.volts = 15.4
    work.volts(board, Wishes(None, heard.append, meter.parse(METER), path, yes=True))
    assert "compared" not in heard[-1]


def test_shown_volts_are_not_used_twice(tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv", "meter_volts,shown_volts")
    heard: list[str] = []
    asked = Wishes(None, heard.append, meter.parse(METER), path, yes=True, out=tmp_path / "out")
    nominal = board.values["bus_gain_nv"]
    work.volts(board, asked)
    assert any("WRONG" in text and f"bus_gain_nv {nominal}" in text for text in heard)
    kept = board.settings()
    with pytest.raises(DataError, match=r"before the board got the calibration.*volts-.*json"):
        work.volts(board, asked)
    assert board.settings() == kept
    # Given back what it had, the file is right again; so is a younger one.
    board.values["bus_gain_nv"], board.values["bus_zero"] = nominal, Calibration().bus_zero
    assert work.volts(board, asked)["stored"] and board.settings() == kept
    os.utime(path, (time.time() + 60, time.time() + 60))
    work.volts(board, replace(asked, dry_run=True))


@pytest.mark.parametrize("how", ["volts", "amps"])
def test_a_folder_that_cannot_be_written_is_found_at_once(
    how: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path, data: bytes) -> int:
        raise PermissionError(13, "Permission denied", str(path))

    board = FakeBoard()
    player = Player(board)
    monkeypatch.setattr(Path, "write_bytes", refuse)
    with pytest.raises(UnderdashError, match="permission denied") as refused:
        {"volts": work.volts, "amps": work.clamp}[how](board, wishes(player, out=tmp_path / "out"))
    assert refused.value.exit_code == 1
    assert player.asked == [] and board.stores == [] and player.heard == []


def test_who_leaves_finds_no_empty_folder(tmp_path: Path) -> None:
    board = FakeBoard()
    with pytest.raises(Left):
        work.volts(board, wishes(Player(board, [("meter reads", "q")]), out=tmp_path / "out"))
    assert not (tmp_path / "out").exists()


def test_digits_left_out_are_told_at_once() -> None:
    board = FakeBoard()
    player = Player(board, [("meter reads [V]", "11.8"), ("meter reads [V]", "q")])
    with pytest.raises(Left):
        work.volts(board, wishes(player, meter=meter.parse(METER)))
    (said,) = [index for index, text in enumerate(player.heard) if "11.8 has 1 decimals, the meter shows 3" in text]
    assert said < next(index for index, text in enumerate(player.heard) if "Point 2" in text)


def test_a_trial_stores_nothing_and_needs_no_board(tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv")
    asked = Wishes(None, lambda text: None, meter.parse(METER), path, dry_run=True, out=tmp_path / "out")
    assert work.volts(board, asked)["found"] == work.volts(None, asked)["found"]
    assert board.stores == []
    path = points_file(board, tmp_path / "p.csv", "meter_volts,shown_volts")
    with pytest.raises(UsageError, match="--port"):
        work.volts(None, asked)


def test_what_a_file_needs(tmp_path: Path) -> None:
    board = FakeBoard()
    path = points_file(board, tmp_path / "p.csv")
    before = board.settings()
    with pytest.raises(UsageError, match="--meter"):
        work.volts(board, Wishes(None, print, None, path, yes=True))
    with pytest.raises(UsageError, match="--yes"):
        work.volts(board, Wishes(None, print, meter.parse(METER), path))
    with pytest.raises(UsageError, match="--points"):
        work.volts(board, Wishes(None, print, meter.parse(METER)))
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="part of this name"):
        work.volts(board, Wishes(None, print, meter.parse(METER), path, yes=True, out=tmp_path / "file" / "out"))
    assert board.settings() == before and board.stores == []


def test_ones_own_parts(tmp_path: Path) -> None:
    import underdash.frontend.parts as parts

    own = tmp_path / "mine.toml"
    # A divider of other resistors: 8 % more full scale, which the shipped parts would have refused.
    text = parts.shipped().read_text().replace("ohms = 7870.0", "ohms = 8764.0")
    assert text != parts.shipped().read_text()
    own.write_text(text)
    board = FakeBoard(FrontEnd(bus_full_scale=18.29 * 1.08))
    path = points_file(board, tmp_path / "p.csv")
    with pytest.raises(DataError, match="--values"):
        work.volts(None, Wishes(None, print, meter.parse(METER), path, dry_run=True))
    told = work.volts(None, Wishes(None, print, meter.parse(METER), path, dry_run=True, values=own))
    assert told["line"]["gain"] == pytest.approx(18.29 * 1.08 / 66072, rel=2e-3)


# -- amps -------------------------------------------------------------------------------------

CLAMP_METER = meter.parse("1% + 3 digits at 0.01")


def amps_player(board: FakeBoard, replies: list[tuple[str, str]] | None = None, turns: int = 8) -> Player:
    player = Player(board, replies)
    player.turns = turns  # type: ignore[attr-defined]
    return player


@pytest.mark.parametrize("span", [267.0, -267.0])
def test_a_clamp_either_way_around(span: float, tmp_path: Path) -> None:
    board = FakeBoard(FrontEnd(clamp_zero=0.465, clamp_span=span))
    player = amps_player(board)
    told = work.clamp(board, wishes(player, meter=CLAMP_METER, turns=8, out=tmp_path))
    assert told["stored"] and told["backwards"] == (span < 0)
    assert ("counts the other way" in player.dialogue) == (span < 0)
    assert (board.values["clamp_gain_ua"] < 0) == (span < 0) and board.values["clamp_fitted"] == 1
    assert board.options["clamp_supply"] > 20000
    kept = Calibration()
    vars(kept).update(board.values)
    for amps in (-40.0, 0.0, 25.0):
        board.amps = amps
        # The sensor's supply may change: its signal follows, and so does the board.
        for supply in (0.455, 31111 / 65535, 0.49):
            board.supply = supply
            shown = [board.status()["clamp_ma"] for _ in range(40)]
            assert sum(shown) / 40 / 1000 == pytest.approx(amps, abs=0.35)
    for said in ("around nothing", "Open and close", "BATTERY", "charging", "12 V supply"):
        assert said in player.dialogue, said
    (page,) = tmp_path.glob("amps-*.html")
    assert "around" in page.read_text() or "other way" in page.read_text() or span > 0


@pytest.mark.parametrize(
    "question", ["no current", "meter reads [A], once", "Enter to accept", "[y/n]", "minus for discharging"]
)
@pytest.mark.parametrize("how", ["q", "<ctrl-c>"])
@pytest.mark.parametrize("fitted", [0, 1])
def test_leaving_the_clamp_changes_nothing(question: str, how: str, fitted: int) -> None:
    board = FakeBoard()
    board.values["clamp_fitted"] = fitted
    before = board.settings()
    player = amps_player(board, [(question, how)])
    with pytest.raises((Left, KeyboardInterrupt)):
        work.clamp(board, wishes(player, meter=CLAMP_METER, turns=8))
    assert player.replies == [] and board.settings() == before


def test_a_clamps_trial_changes_nothing() -> None:
    board = FakeBoard()
    before = board.settings()
    told = work.clamp(board, wishes(amps_player(board), meter=CLAMP_METER, turns=8, dry_run=True))
    assert board.settings() == before and not told["stored"] and told["found"]["clamp_fitted"] == 1


def test_slips_with_the_clamp() -> None:
    board = FakeBoard()
    once = "meter reads [A], once"
    player = amps_player(
        board,
        [
            ("no current", "r"),
            ("no current", ""),
            ("flowing steadily", ""),
            (once, "abc"),
            ("flowing steadily", ""),
            (once, "0"),
            ("flowing steadily", ""),
            (once, "6.000"),
            ("no current", "r"),
            ("flowing steadily", ""),
            (once, "5.000"),
            ("no current", ""),
            ("flowing steadily", ""),
            (once, "6.000"),
            ("no current", ""),
            ("flowing steadily", ""),
            (once, "6.000"),
            ("no current", ""),
            ("flowing steadily", ""),
            (once, "6.000"),
            ("no current", ""),
            ("Enter to accept", ""),
            ("[y/n]", "y"),
            ("minus for", "-5.000"),
            ("minus for", "5.000"),
        ],
    )
    told = work.clamp(board, wishes(player, meter=CLAMP_METER, turns=8))
    assert player.replies == [] and told["stored"], player.dialogue
    for said in ("not a number", "no load", "Refused", "too far"):
        assert said in player.dialogue, said


def test_a_clamps_file(tmp_path: Path) -> None:
    board = FakeBoard()
    board.values["clamp_fitted"] = 1
    lines = ["meter_amps;clamp_code;turns;supply_code"]
    for amps in (0, 6.0, 0, -6.0, 0):
        board.amps = amps * 8
        found = [board.status() for _ in range(16)]
        lines.append(f"{amps:.2f};{sum(one['clamp_code'] for one in found) / 16};8;{found[-1]['supply_code']}")
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines).replace(".", ","))
    told = work.clamp(board, Wishes(None, lambda text: None, CLAMP_METER, path, yes=True))
    assert told["stored"] and told["proof"]["meter"] == 0.0
    assert make_believe.AS_BUILT.clamp_span / 66072 == pytest.approx(told["line"]["gain"], rel=0.005)
    assert board.options["clamp_supply"] == told["found"]["clamp_supply"] > 0
