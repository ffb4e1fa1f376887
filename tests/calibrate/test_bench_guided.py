"""Guided, with the firmware itself: a virtual board, a supply that steps, a person who reads a meter."""

import time
from pathlib import Path

import numpy as np
import pytest

from calibrate.make_believe import METER
from calibrate.on_bench import levels
from chargecore.calibration import Calibration
from conftest import until
from underdash.calibrate import gauge, meter, work
from underdash.calibrate.work import Wishes
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.review import review
from underdash.virtual.board import VirtualBoard
from underdash.virtual.signal_file import Converter

FRESH = (11.62, 11.95, 12.3, 12.8, 13.2, 13.8, 14.2, 14.7, 15.1, 15.55)  # [V] where no point is


class Bench:
    """A person before a real link: reads the meter, which shows the level that now stands on the pins."""

    def __init__(self, link: Board, levels: list[float], field: str, turns: int = 1) -> None:
        self.link = link
        self.levels = levels
        self.field = field
        self.turns = turns
        self.heard: list[str] = []

    def now(self) -> float:
        """The true level: the one nearest to what the board's code says by a nominal line."""
        time.sleep(0.2)
        code = self.link.status()[self.field]
        line = work.nominals(None)[self.field == "clamp_code"]
        return min(self.levels, key=lambda level: abs(level - line.volts(gauge.unfold(code))))

    def say(self, text: str) -> None:
        self.heard.append(text)
        if "Stored." in text:  # the monitor begins anew: its first samples are soon there
            time.sleep(1.0)

    def live(self, text: str) -> None:
        pass

    def ask(self, question: str) -> str:
        assert len(self.heard) < 300, self.heard[-20:]
        if "meter reads" in question:
            return f"{abs(self.now()) / self.turns if 'once' in question else self.now() / self.turns:.3f}"
        if "flowing steadily" in question:
            until(lambda: abs(self.now()) > 1)
        if "no current" in question:
            until(lambda: abs(self.now()) < 1)
        return "y" if "[y/n]" in question else ""


@pytest.fixture(autouse=True)
def brisk(monkeypatch: pytest.MonkeyPatch) -> None:
    """While a host talks a board samples ten times a second."""
    monkeypatch.setattr(gauge, "_PACE_S", 0.11)


def volts_at(folder: Path, volts: tuple[float, ...]) -> list[float]:
    """What the calibrated board in `folder` makes of volts [V]: the means of its own rows."""
    each = 12.0
    path = levels(folder / "fresh.signal", list(volts), [0.0] * len(volts), [each] * len(volts))
    with VirtualBoard(folder) as virtual:
        virtual.start(path, fast=True)
        virtual.wait_for_end(60.0)
        with Board(virtual.port) as link:
            pulled = pull(link, folder / "archive")
    _, rows = review(pulled.folder)
    newest = rows.boot == rows.boot.max()
    found = []
    for index in range(len(volts)):
        steady = newest & (rows.t_s > index * each + 4) & (rows.t_s < (index + 1) * each - 1)
        assert steady.sum() > 3
        found.append(float(np.mean(rows.volts[steady])))
    return found


def test_guided_volts_are_right_at_fresh_points(tmp_path: Path) -> None:
    points = [11.8, 12.6, 13.5, 14.4, 15.4]
    path = levels(tmp_path / "s.signal", [*points, 13.0], [0.0] * 6, [14.0, 8.0, 8.0, 8.0, 8.0, 30.0])
    folder = tmp_path / "board"
    with VirtualBoard(folder, converter=Converter()) as virtual:
        virtual.start(path)
        with Board(virtual.port) as link:
            link.ready()
            before = link.settings()
            bench = Bench(link, [*points, 13.0], "bus_code")
            told = work.volts(link, Wishes(bench, bench.say, meter.parse(METER), out=tmp_path / "out"))
            after = link.settings()
    assert told["stored"] and abs(told["proof"]["difference"]) < 0.005, bench.heard
    assert after["calibration"]["bus_gain_nv"] == told["found"]["bus_gain_nv"] != before["calibration"]["bus_gain_nv"]
    assert {part: after[part] for part in after if part != "calibration"} == {
        part: before[part] for part in before if part != "calibration"
    }
    errors = np.array(volts_at(folder, FRESH)) - np.array(FRESH)
    assert np.abs(errors).max() < 0.005, errors
    nominal = FRESH[-1] * (Calibration().bus_gain_nv / told["found"]["bus_gain_nv"] - 1)
    assert abs(nominal) > 0.01, "the nominal line was right already"


def test_guided_amps(tmp_path: Path) -> None:
    amps = [0.0, 48.0, 0.0, -48.0, 0.0, 40.0]
    path = levels(tmp_path / "s.signal", [12.6] * 6, amps, [24.0, 9.0, 9.0, 9.0, 9.0, 30.0])
    with VirtualBoard(tmp_path / "board") as virtual:
        virtual.start(path)
        with Board(virtual.port) as link:
            link.ready()
            assert link.settings()["calibration"]["clamp_fitted"] == 0
            bench = Bench(link, [0.0, 48.0, -48.0, 40.0], "clamp_code", turns=8)
            told = work.clamp(link, Wishes(bench, bench.say, meter.parse("1% + 3 digits at 0.01"), turns=8))
            link.ready()
            kept = link.settings()
    assert told["stored"] and abs(told["proof"]["difference"]) < 0.5, bench.heard
    assert (
        kept["calibration"]["clamp_fitted"] == 1
        and kept["options"]["clamp_supply"] == told["found"]["clamp_supply"] > 0
    )
    assert kept["calibration"]["clamp_gain_ua"] == pytest.approx(267.0 / 66072 * 1e6, rel=0.01)
