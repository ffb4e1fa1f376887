"""What a damaged frame costs a drive: its own rows, and nothing elsewhere."""

from pathlib import Path

import numpy as np
import pytest
from pieces import header, rows_frame

from chargecore import engine, frames
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK
from underdash.review import review
from underdash.review.text import summary


def segment() -> bytes:
    """Rest, crank, charging, a deficit of 80 s, charging, rest; a frame a minute."""
    t = np.arange(1, 1800)
    level = np.select([t < 200, t < 203, t < 900, t < 980, t < 1500], [12600, 10200, 14000, 12400, 14000], 12800)
    level = level + np.where((t > 200) & (t < 1500), np.random.default_rng(2).integers(-15, 16, len(t)), 0)
    judge = engine.Engine(Thresholds())
    packed, rows = header(1, 1, 0, judge), []
    for t_s, mv in zip(t.tolist(), level.tolist(), strict=True):
        judge.step(t_s * 1000 & TICKS_MASK, mv - 2, mv, mv + 2, ABSENT)
        rows.append((t_s * 1000, mv - 2, mv, mv + 2, ABSENT, judge.state, judge.warnings))
    for at in range(0, len(rows), 60):
        packed += rows_frame(at, rows[at : at + 60])
    return packed


def frame_at(data: bytes, count: int) -> int:
    """Where the payload of the frame of that number begins, the header's being 0."""
    return [at for _, _, at in frames.scan(data)][count] + 4


def reviewed(folder: Path, data: bytes) -> dict:
    folder.mkdir()
    (folder / "00000001.seg").write_bytes(data)
    return review(folder)[0]


@pytest.mark.parametrize("frame", [0, 1, 3, 8])
def test_neither_drive_nor_episode_moves(tmp_path: Path, frame: int) -> None:
    data = bytearray(segment())
    (whole,) = reviewed(tmp_path / "whole", bytes(data))["drives"]
    data[frame_at(bytes(data), frame) + 20] ^= 0x10
    report = reviewed(tmp_path / "damaged", bytes(data))
    (drive,) = report["drives"]
    assert report["damaged_bytes"] > 0
    assert report["lost_rows"] == (60 if frame else 0)
    places = ("first_row", "last_row")
    alike = {"end_s", "low_s", "set_point_volts"} if frame == 3 else {"start_s", "end_s", "low_s", "length_s"}
    assert {name: drive[name] for name in alike} == {name: pytest.approx(whole[name], abs=0.01) for name in alike}
    (before,), (after,) = whole["episodes"], drive["episodes"]
    assert {k: v for k, v in after.items() if k not in places} == {k: v for k, v in before.items() if k not in places}
    if frame == 0:
        assert report["board"] == "unknown"
        assert "No header of this journal can be read" in summary(report)
