"""What counts for a figure and what does not: volts that were gone, rows from across a hole, how long each row is."""

from pathlib import Path

import numpy as np
import pytest

from chargecore import engine
from underdash.review import review
from underdash.review.rows import Rows
from underdash.review.set_point import set_point

RUN = [(14.1, 5.0)] * 300


def log(path: Path, *stretches: tuple[list[tuple[float, float]], float]) -> Path:
    """A log of stretches, each of (volts, amps) of its rows and how far they are apart [s]; above 12.9 V, or with more
    than 3 A out, as lively as a running engine."""
    t_s, lines = 0.0, ["t_s,volts,amps"]
    for rows, step_s in stretches:
        for at, (volts, amps) in enumerate(rows):
            lively = (0.02 if at % 2 else -0.02) if volts > 12.9 or amps < -3.0 else 0.0
            lines.append(f"{t_s:.2f},{volts + lively:.3f},{amps:.2f}")
            t_s += step_s
    path.write_text("\n".join(lines) + "\n")
    return path


def crank(volts: float = 10.0) -> tuple[list[tuple[float, float]], float]:
    return [(volts, -150.0)] * 10, 0.1


def test_volts_that_were_gone_are_no_rested_volts(tmp_path: Path) -> None:
    """The joint comes loose at night; in the morning it is back for 40 s, then the car is driven."""
    night = [(12.6, 0.0)] * 3600 + [(0.02, 0.0)] * 9000
    away, back = [(12.6, 0.0)] * 300, [(12.55, 0.0)] * 40
    report, _ = review(
        log(tmp_path / "log.csv", (away, 1), crank(), (RUN, 1), (night, 1), (back, 1), crank(), (RUN, 1))
    )
    assert [one["volts"] for one in report["rests"]] == [12.55]
    assert [one["rested_volts"] for one in report["drives"]] == [12.6, 12.55]
    report, _ = review(log(tmp_path / "gone.csv", (away, 1), crank(), (RUN, 1), (night, 1)))
    assert report["rests"] == []
    assert not [one for one in report["findings"] if "Rested volts" in one["text"]]


@pytest.mark.parametrize("pause_s", [30.0, 300.0])
def test_the_volts_before_a_crank_are_none_from_across_a_hole(tmp_path: Path, pause_s: float) -> None:
    """Charging at 14.1 V, a recorder's pause, and it wakes a row before the starter turns, at 12.45 V."""
    woken = [(12.45, -5.0)]
    first = [(12.6, 0.0)] * 300, 1
    path = log(
        tmp_path / "log.csv", first, crank(), (RUN, 1), ([(14.1, 5.0)], pause_s), (woken, 1), crank(9.7), (RUN, 1)
    )
    cranks = [one for drive in review(path)[0]["drives"] for one in drive["cranks"]]
    assert [one["before_volts"] for one in cranks] == [12.6, pytest.approx(12.45, abs=0.03)]
    assert cranks[1]["dip_volts"] == pytest.approx(2.75, abs=0.05)


def test_an_episodes_means_are_by_time(tmp_path: Path) -> None:
    """A minute of 30 A in rows of a second, then four of 5 A in rows of four: (60 x 30 + 240 x 5) / 300 = 10 A."""
    short, long = [(12.2, -30.0)] * 60, [(12.5, -5.0)] * 60
    path = log(tmp_path / "log.csv", ([(12.6, 0.0)] * 300, 1), crank(), (RUN, 1), (short, 1), (long, 4), (RUN, 1))
    (drive,) = review(path)[0]["drives"]
    (episode,) = [one for one in drive["episodes"] if one["kind"] == "discharging"]
    assert episode["mean_amps"] == pytest.approx(-10.0, abs=0.3)
    assert episode["mean_volts"] == pytest.approx((60 * 12.2 + 240 * 12.5) / 300, abs=0.01)
    assert episode["charge_ah"] == pytest.approx(episode["mean_amps"] * episode["length_s"] / 3600, abs=0.002)


def held(levels: list[float]) -> dict[str, float | None]:
    """What the regulator held in rows of a second, all charging."""
    volts, count = np.array(levels), len(levels)
    nothing, codes = np.full(count, np.nan), np.full(count, engine.CHARGING)
    t_s = np.arange(count) + 1.0
    rows = Rows(np.ones(count, int), t_s, volts, volts, volts, nothing, codes, codes * 0, t_s)
    return set_point(rows, np.ones(count, dtype=bool))


def test_the_set_point_lies_within_its_own_range() -> None:
    """A minute of 13.6 V while the crank's charge comes back, then 40 s of 14.3 to 14.4 V."""
    found = held([13.6] * 60 + np.linspace(14.3, 14.4, 40).tolist())
    low, middle, high = (found[name] for name in ("set_point_low_volts", "set_point_volts", "set_point_high_volts"))
    assert low is not None and middle is not None and high is not None and low <= middle <= high
    assert middle == pytest.approx(14.35, abs=0.01)
    short = held([13.6] * 30)
    assert short["set_point_volts"] == 13.6 and short["set_point_low_volts"] is None
