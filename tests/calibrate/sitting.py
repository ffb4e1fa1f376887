"""What the tests of whole sessions share: no time passes, and what is wished for."""

from pathlib import Path
from typing import Any

import pytest

from calibrate.make_believe import FakeBoard, Player
from chargecore.calibration import Calibration
from underdash.calibrate import gauge, meter
from underdash.calibrate.work import Wishes


@pytest.fixture
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


CLAMP_METER = meter.parse("1% + 3 digits at 0.01")


def amps_player(board: FakeBoard, replies: list[tuple[str, str]] | None = None, turns: int = 8) -> Player:
    player = Player(board, replies)
    player.turns = turns  # type: ignore[attr-defined]
    return player
