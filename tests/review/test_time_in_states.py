"""The time in states is what the cranks and episodes lasted, and together with the holes the whole drive."""

import random
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from dips import with_clamp
from hypothesis import given, settings
from hypothesis import strategies as some
from pieces import drive

from chargecore import engine
from chargecore.thresholds import Thresholds
from chargecore.units import TICKS_MASK
from underdash.review import review
from underdash.review.analysis import analyse
from underdash.review.rows import Account, in_si
from underdash.review.stride import stride

KINDS = ("marginal", "discharging", "overcharge")


def random_drives(seed: int) -> dict:
    """Levels that change now and then, holes among them, under the default dwells or a minute for discharging."""
    chance = random.Random(seed)
    limits = Thresholds()
    if chance.random() < 0.5:
        limits.discharging_ms = 60_000
        limits.marginal_ms = 1_000
    rows, t_ms = [], 0
    for _ in range(chance.randrange(1, 4)):
        judge = engine.Engine(limits)
        rows += drive(chance, judge, t_ms, chance.randrange(50, 600))
        t_ms = rows[-1][0] + chance.choice((1000, 8000, 12_000, 90_000))
    columns = dict(zip(("t_ms", "low_mv", "bus_mv", "high_mv", "clamp_ma"), np.array(rows).T[:5], strict=True))
    told = stride(engine.Engine(limits), columns["t_ms"] & TICKS_MASK, *list(columns.values())[1:])
    columns |= {"state": told[0], "warnings": told[1]}
    ones, t_ms_all = np.ones(len(rows), np.int64), columns["t_ms"].copy()
    since_ms = np.array(told[2])
    for hole in np.flatnonzero(np.diff(t_ms_all) > 10_000) + 1:  # nothing began before a hole: as rows.from_segments
        at_rest = told[0][hole - 1] == engine.REST and t_ms_all[hole] - t_ms_all[hole - 1] <= 65_535
        if not at_rest:
            since_ms[hole:] = np.maximum(since_ms[hole:], t_ms_all[hole])
    return analyse("x", in_si(ones, columns, since_ms), replace(Account(), thresholds=limits))


@settings(deadline=None, max_examples=150)
@given(some.integers(0, 1 << 30))
def test_every_second_of_a_drive_is_in_one_state(seed: int) -> None:
    report = random_drives(seed)
    for one in report["drives"]:
        lengths = dict.fromkeys(("crank", *KINDS), 0.0)
        for part in (*one["cranks"], *one["episodes"]):
            assert part["length_s"] >= 0.0
            assert one["start_s"] <= part["start_s"]
            assert part["start_s"] + part["length_s"] <= one["end_s"] + 0.001
            lengths[part.get("kind", "crank")] += part["length_s"]
        for name, length_s in lengths.items():
            assert one["states"].get(name, 0.0) == pytest.approx(length_s, abs=0.001 + 0.0005 * len(one["episodes"]))
        found = sorted([*one["cranks"], *one["episodes"]], key=lambda part: part["start_s"])
        for part, after in pairwise(found):
            assert part["start_s"] + part["length_s"] <= after["start_s"] + 0.001
        holes_s = sum(
            gap["length_s"] for gap in report["gaps"]
            if gap["boot"] == one["boot"] and one["start_s"] <= gap["start_s"] < one["end_s"]
        )  # fmt: skip
        assert sum(one["states"].values()) == pytest.approx(one["length_s"] - holes_s, abs=0.01)
        assert sum(one["shares"].values()) == pytest.approx(1.0, abs=0.001)


def test_the_random_drives_have_what_they_are_to_try() -> None:
    reports = [random_drives(seed) for seed in range(40)]
    drives = [one for report in reports for one in report["drives"]]
    assert {episode["kind"] for one in drives for episode in one["episodes"]} == set(KINDS)
    assert any(one["cranks"] for one in drives) and any(report["gaps"] for report in reports)


def test_a_crank_has_one_length_and_a_deficit_begins_with_its_onset(tmp_path: Path) -> None:
    """120 s of 20 A, told 5 s late and left 5 s late: what was shown keeps that, the time in states does not."""
    rest, crank, run = (120, 12.65, 0.0), (1, 10.0, -180.0), (300, 14.1, 5.0)
    (one,) = review(with_clamp(tmp_path / "log.csv", rest, crank, run, (120, 12.2, -20.0), run))[0]["drives"]
    (start,), (deficit,) = one["cranks"], one["episodes"]
    assert one["states"]["crank"] == start["length_s"] == pytest.approx(2.0, abs=1.1)
    assert one["states"]["discharging"] == deficit["length_s"] == pytest.approx(120.0, abs=1.1)
    (shown,) = [change["t_s"] for change in one["shown"] if change["state"] == "discharging"]
    assert shown == deficit["shown_s"] and shown - deficit["start_s"] == pytest.approx(5.0, abs=1.1)
