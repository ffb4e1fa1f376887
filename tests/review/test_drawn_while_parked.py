"""What a car drew before its drive is no deficit of the drive."""

from pathlib import Path

import numpy as np
import pytest
from dips import PLAIN, of_kind, what_if, with_clamp
from test_page_files import words

from underdash.review import review
from underdash.review.pages import season_page
from underdash.review.what_if.judged import read

REST, CRANK, RUN = (120, 12.65, 0.0), (1, 10.0, -180.0), (300, 14.1, 5.0)


@pytest.mark.parametrize("load", [(900, 12.2, -9.0), (90, 12.1, -19.0)], ids=["lights left on", "key and fan on"])
def test_a_load_before_the_crank_is_with_the_engine_off(tmp_path: Path, load: tuple[float, float, float]) -> None:
    path = with_clamp(tmp_path / "log.csv", REST, load, CRANK, RUN, (120, 12.9, 0.0))
    report, _ = review(path)
    (drive,) = report["drives"]
    (parked,) = report["parked_episodes"]
    assert not [one for one in drive["episodes"] if one["kind"] == "discharging"]
    assert all(one["start_s"] >= drive["start_s"] for one in drive["episodes"])
    assert (parked["boot"], parked["kind"]) == (1, "discharging")
    assert parked["start_s"] == pytest.approx(120, abs=1.1)
    assert parked["length_s"] == pytest.approx(load[0], abs=1.1)
    assert parked["charge_ah"] == pytest.approx(load[0] * load[2] / 3600, rel=0.02)
    assert drive["rested_volts"] == pytest.approx(12.65, abs=0.01)
    assert report["answers"][0]["answer"].startswith("No.")

    (warned,) = of_kind(what_if(read(path, PLAIN), "discharging_mv=12900").warned, "discharging")
    assert warned.drive is None


def test_volts_of_a_charger_that_end_where_they_began_are_no_drive(tmp_path: Path) -> None:
    """Hours of discharge, then charging volts in the last row alone."""
    path = with_clamp(tmp_path / "log.csv", REST, (600, 12.2, -9.0), (8, 14.1, 5.0))
    whole = path.read_text().splitlines()
    for rows in range(len(whole) - 8, len(whole) + 1):
        path.write_text("\n".join(whole[:rows]) + "\n")
        report, _ = review(path)
        assert all(drive["length_s"] > 0.0 for drive in report["drives"])
        assert [one["kind"] for one in report["parked_episodes"]] == ["discharging"]
        assert not any(drive["episodes"] for drive in report["drives"])
        assert np.isfinite(report["parked_episodes"][0]["charge_ah"])


def test_what_was_drawn_while_parked_tells_the_start_that_it_belongs_to(tmp_path: Path) -> None:
    """In the second log; the page names the start, for times of several logs count from each."""
    first = with_clamp(tmp_path / "a.csv", REST, CRANK, RUN, (120, 12.9, 0.0))
    second = with_clamp(tmp_path / "b.csv", REST, (900, 12.2, -9.0), CRANK, (200, 14.1, 5.0), (120, 12.9, 0.0))
    report, _ = review([first, second])
    (parked,) = report["parked_episodes"]
    assert parked["boot"] == 2
    told = words(season_page(report))
    assert "no. kind recorder start no. from" in told and "1 discharging 2 0:01:59" in told
