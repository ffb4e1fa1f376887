"""Sessions with the clamp, in no time."""

from pathlib import Path

import pytest

from calibrate import make_believe
from calibrate.make_believe import FakeBoard
from calibrate.sitting import CLAMP_METER, amps_player, no_time, wishes
from chargecore.calibration import Calibration
from underdash.calibrate import work
from underdash.calibrate.desk import Left
from underdash.calibrate.work import Wishes
from underdash.virtual.signal_file import FrontEnd

__all__ = ["no_time"]  # a fixture, found by its name

pytestmark = pytest.mark.usefixtures("no_time")


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
