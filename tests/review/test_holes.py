"""Across a hole in the rows nothing is counted, and times in states are those between a drive's start and its end."""

from pathlib import Path

import pytest
from dips import with_clamp
from pieces import header, rows_frame

from underdash.review import review

REST, CRANK, RUN = (120, 12.65, 0.0), (1, 10.0, -180.0), (300, 14.1, 5.0)


def test_an_episode_ends_at_a_hole_and_no_charge_is_counted_across(tmp_path: Path) -> None:
    """25 A from 421 s to 1621 s; no rows from 800 s to 1100 s."""
    path = with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, (1200, 12.2, -25.0), RUN)
    head, *lines = path.read_text().splitlines()
    kept = [line for line in lines if not 800.0 < float(line.split(",")[0]) < 1100.0]
    path.write_text("\n".join([head, *kept]) + "\n")
    report, _ = review(path)
    (gap,) = report["gaps"]
    (drive,) = report["drives"]
    before, after = [one for one in drive["episodes"] if one["kind"] == "discharging"]
    assert before["start_s"] + before["length_s"] == pytest.approx(800, abs=1.1)
    assert after["start_s"] == pytest.approx(1100, abs=1.1)
    assert before["length_s"] == pytest.approx(379, abs=2.1)
    assert after["length_s"] == pytest.approx(521, abs=2.1)
    assert before["charge_ah"] == pytest.approx(-379 * 25 / 3600, rel=0.01)
    assert after["charge_ah"] == pytest.approx(-521 * 25 / 3600, rel=0.01)
    assert before["charge_ah"] + after["charge_ah"] >= -drive["out_ah"]
    assert sum(drive["states"].values()) == pytest.approx(drive["length_s"] - gap["length_s"], abs=0.2)


@pytest.mark.parametrize("after", [[], [(120, 12.6, 0.0)]], ids=["ends driving", "ends at rest"])
def test_times_in_states_add_to_the_drives_length(tmp_path: Path, after: list[tuple[float, float, float]]) -> None:
    path = with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, (100, 12.2, -25.0), RUN, *after)
    (drive,) = review(path)[0]["drives"]
    assert drive["length_s"] == pytest.approx(701, abs=2.1)
    assert sum(drive["states"].values()) == pytest.approx(drive["length_s"], abs=0.2)


@pytest.mark.parametrize(("lost", "why"), [(True, "rows are lost, 60 of them"), (False, "no rows were written")])
def test_what_the_numbering_says_of_a_hole(tmp_path: Path, lost: bool, why: str) -> None:
    """Three minutes of charging, a frame a minute: of the second the frame is damaged, or nothing was written."""
    frames = []
    for minute in range(3):
        rows = [(1000 * (60 * minute + s), 14095, 14100, 14105, 3000, 3, 0) for s in range(1, 61)]
        number = 60 * minute if lost or minute == 0 else 60
        if minute != 1:
            frames.append(rows_frame(number, rows))
        elif lost:
            frames.append(bytes(rows_frame(number, rows)[:-1]) + b"\x00")
    segment = tmp_path / "00000001.seg"
    segment.write_bytes(header(1, 1, 0) + b"".join(frames))
    (gap,) = review(segment)[0]["gaps"]
    assert (gap["length_s"], gap["why"]) == (61.0, why)
