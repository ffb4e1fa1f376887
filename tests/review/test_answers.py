"""The owner's five questions over many drives: since which one, how often, when, how bad; and what is said first."""

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from underdash.review import review
from underdash.review.answers import answers
from underdash.review.findings import findings
from underdash.review.text import summary

FED = [number for number in range(12, 27) if number not in (15, 20)]


def season(path: Path, *, speed: bool, clamp: bool, fed: list[int], drives: int = 30) -> Path:
    """A drive each other day, by turns at 7 and at 19 o'clock; in those `fed` two minutes of 12.5 V and 14 A out at a
    warm idle, twice."""
    rng = np.random.default_rng(5)
    names = ["time", "volts", *(["amps"] if clamp else []), *(["rpm"] if speed else [])]
    lines = [",".join(names)]
    for number in range(1, drives + 1):
        begun = datetime(2026, 3, 1, 19 if number in fed else 7) + timedelta(days=2 * (number - 1))
        stretches = [(120, 12.6, 0.0, 0), (2, 10.2, -170.0, 200), (100, 14.1, 8.0, 1200)]
        idle = (120, 12.5, -14.0, 750) if number in fed else (120, 13.7, 1.0, 750)
        stretches += [(150, 14.0, 5.0, 2300), idle] * 2 + [(30, 14.0, 5.0, 2300), (120, 12.75, 0.0, 0)]
        at = 0
        for seconds, volts, amps, rpm in stretches:
            for _ in range(seconds):
                values = [volts + (rng.normal(0.0, 0.02) if rpm > 300 else 0.0)]
                values += ([amps] if clamp else []) + ([float(rpm)] if speed else [])
                when = (begun + timedelta(seconds=at)).isoformat(sep=" ")
                lines.append(",".join([when, *(f"{value:.3f}" for value in values)]))
                at += 1
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture(scope="module")
def with_all(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    path = season(tmp_path_factory.mktemp("season") / "log.csv", speed=True, clamp=True, fed=FED)
    return review(path, {"t_s": "time"})[0]


def test_since_when_and_how_often(with_all: dict[str, Any]) -> None:
    assert "in 13 of 30 drives" in with_all["answers"][0]["answer"]
    told = with_all["answers"][1]["answer"]
    assert told.startswith("Since drive 12 on 2026-03-23, ") and "the 11 before it show none." in told
    assert "It came in 13 of the 19 drives from then on." in told
    assert told.endswith("Last in drive 26 on 2026-04-20. The 4 after it show none.")


def test_under_what_conditions(with_all: dict[str, Any]) -> None:
    told = with_all["answers"][2]["answer"]
    assert "All of it at idle (500 to 900 rpm), 100% of the time at idle in these drives." in told
    assert "13 of these 13 drives began between 18:00 and 7:00, and 0 of the 17 without it" in told


def test_how_bad_in_all_and_at_the_worst(with_all: dict[str, Any]) -> None:
    """13 drives, each 240 s of 14 A: 0.93 Ah, 12.1 Ah in all; 240 s of 672 s, so of all 30 drives 15.5 %."""
    told = with_all["answers"][3]["answer"]
    assert told.startswith("It gave 12 Ah (") and "The most in one drive was 0.9 Ah (0.8" in told
    driven_s = sum(drive["length_s"] for drive in with_all["drives"])
    assert f"It lasted {13 * 240 / driven_s:.1%} of the " in told and "The volts fell to 12.4" in told


def test_without_a_clamp_the_bounds_of_many_drives_are_not_added_up(tmp_path: Path) -> None:
    report, _ = review(season(tmp_path / "log.csv", speed=False, clamp=False, fed=FED), {"t_s": "time"})
    told = report["answers"][3]["answer"]
    assert told.startswith("The worst was drive ")
    worst = max(-sum(e["charge_low_ah"] for e in d["episodes"]) for d in report["drives"] if d["episodes"])
    assert f"at most {worst:.2g} Ah" in told
    assert "idle" not in report["answers"][2]["answer"]


def test_what_many_drives_show_alike_is_said_once(with_all: dict[str, Any]) -> None:
    fed = [one["drive"] for one in with_all["findings"] if "fed the car" in one["text"]]
    assert sorted(fed) == FED
    words = summary(with_all)
    assert words.count("The battery fed the car for") == 1
    (line,) = [one for one in words.splitlines() if "and much the same in" in one]
    assert line.strip() == f"and much the same in 12 more drives: {', '.join(str(n) for n in FED if n != fed[0])}"
    listed = [int(one.split()[1].rstrip(",")) for one in words.splitlines() if one.startswith("Drive ")]
    assert len(listed) == 20 and set(FED) <= set(listed) and listed == sorted(listed) and listed[-1] == 30


def test_a_seasons_findings_stand_before_those_of_single_drives(with_all: dict[str, Any]) -> None:
    """But not before what says that nothing can be believed."""
    report = json.loads(json.dumps(with_all))
    report["season"]["verdicts"]["connection"] |= {"verdict": "act", "cause": "connection", "reason": "A bad joint."}
    first, second, *_ = findings(report)
    assert first["text"].startswith("Connection, over 30 drives: act.") and first["weight"] == "act"
    assert "fed the car" in second["text"] and second["weight"] == "act"
    fix = answers(report)[4]["answer"]
    assert fix.startswith("First the connection: A bad joint. Then a higher idle")
    report["sensors"]["gone"] = {"t_s": 1.0, "length_s": 9.0, "first_row": 1, "volts": 0.0, "amps": None, "boot": 1}
    first, second, *_ = findings(report)
    assert "volts were gone" in first["text"] and "over 30 drives: act." in second["text"]
