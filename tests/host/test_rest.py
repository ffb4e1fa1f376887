"""Nights from rows of a minute: rested volts and drift, against what was put in."""

import numpy as np
import pytest

from chargecore import engine
from underdash.review.analysis import analyse
from underdash.review.findings import findings
from underdash.review.rest import drain_amps, rests
from underdash.review.rows import Account, Rows


def night(hours: float, drift_mv_per_h: float, *, surface_volts: float = 0.15, seed: int = 1) -> Rows:
    """A rest that begins at 1000 s: surface charge with a time constant of an hour, then the drift."""
    t_s = 1000.0 + np.arange(60.0, hours * 3600, 60.0)
    aged_h = (t_s - 1000.0) / 3600
    volts = 12.6 + surface_volts * np.exp(-aged_h) + drift_mv_per_h / 1000 * aged_h
    volts = np.round(volts + np.random.default_rng(seed).normal(0, 0.001, len(t_s)), 3)
    count = len(t_s)
    return Rows(
        np.ones(count, int), t_s, volts - 0.002, volts, volts + 0.002, np.full(count, np.nan),
        np.full(count, engine.REST), np.zeros(count, int), np.full(count, 1000.0))  # fmt: skip


@pytest.mark.parametrize("drift", [-1.0, -6.0, -20.0, 0.0])
def test_the_drift_that_was_put_in_is_found(drift: float) -> None:
    (rest,) = rests(night(24, drift))
    assert rest["drift_mv_per_h"] == pytest.approx(drift, abs=0.1)
    assert rest["drift_low"] <= rest["drift_mv_per_h"] <= rest["drift_high"]
    assert rest["rested"] and rest["length_s"] == pytest.approx(24 * 3600, abs=120)
    assert rest["volts"] == pytest.approx(12.6 + drift * 23.75 / 1000, abs=0.003)


@pytest.mark.parametrize(("hours", "drift", "drains"), [(24, -1.0, False), (24, -4.0, True), (72, -1.0, True),
                                                        (10.5, -4.0, False), (24, 4.0, False)])  # fmt: skip
def test_a_fall_is_called_only_beyond_what_a_cold_night_explains(hours: float, drift: float, drains: bool) -> None:
    rows = night(hours, drift)
    (rest,) = rests(rows)
    assert rest["drains"] is drains
    report = analyse("night", rows, Account())
    said = [finding["text"] for finding in findings(report) if "drawing" in finding["text"]]
    assert bool(said) is drains


def test_a_short_rest_has_no_drift_and_is_not_called_rested() -> None:
    (rest,) = rests(night(5, -30.0))
    assert rest["drift_mv_per_h"] is None and not rest["drains"] and not rest["rested"]
    assert rests(night(0.9, 0.0)) == []


def test_each_rest_and_each_boot_stands_alone() -> None:
    one, two = night(9, 0.0), night(12, -5.0)
    two.boot[:] = 2
    both = Rows(**{name: np.concatenate([getattr(one, name), getattr(two, name)]) for name in vars(one)})
    assert [rest["boot"] for rest in rests(both)] == [1, 2]
    both.state[100] = engine.UNKNOWN
    assert len(rests(both)) == 3
    assert rests(both.part(slice(0, 0))) == []


def test_the_drain_follows_the_bci_table() -> None:
    """12.65 V full, 11.89 V empty (BCI, flooded): 0.76 V a day empties the battery in a day."""
    assert drain_amps(-760 / 24, 50.0) == pytest.approx(50.0 / 24)


def test_a_sleeping_boards_rested_volts_are_those_of_its_minutes_not_of_the_key() -> None:
    """A minute's row, then thirteen short ones that the key's own loads pull down, then the starter."""
    rest = night(1.5, 0.0, surface_volts=0.0)
    t_s = np.concatenate([rest.t_s, rest.t_s[-1] + np.array([12.0, 13.0]), rest.t_s[-1] + 13.0 + np.arange(1, 12) / 10])
    volts = np.concatenate([rest.volts, [12.35, 12.3], np.full(11, 12.29)])
    crank = t_s[-1] + np.arange(1, 9) / 10
    after = crank[-1] + np.arange(1.0, 60.0)
    t_s, count = np.concatenate([t_s, crank, after]), len(t_s)
    volts = np.concatenate([volts, np.full(8, 10.0), np.full(59, 14.0)])
    state = np.full(len(t_s), engine.CHARGING)
    state[:count], state[count : count + 8] = engine.REST, engine.CRANK
    nothing, ones = np.full(len(t_s), np.nan), np.ones(len(t_s), int)
    since = np.where(state == engine.REST, 1000.0, np.where(state == engine.CRANK, crank[0] - 0.1, after[0]))
    rows = Rows(ones, t_s, volts - 0.01, volts, volts + 0.01, nothing, state, 0 * ones, since)
    (drive,) = analyse("night", rows, Account())["drives"]
    assert drive["rested_volts"] == pytest.approx(12.6, abs=0.005)


def test_more_than_a_few_nights_are_told_together() -> None:
    nights = [night(9 + number, -1.0, seed=number) for number in range(5)]
    for boot, one in enumerate(nights, 1):
        one.boot[:] = boot
    nights[3].volts[:] -= 0.2
    several = Rows(**{name: np.concatenate([getattr(one, name) for one in nights]) for name in vars(nights[0])})
    report = analyse("nights", several, Account())
    (said,) = [finding for finding in findings(report) if "ested volts" in finding["text"]]
    volts = [rest["volts"] for rest in report["rests"]]
    assert said["row"] == report["rests"][3]["first_row"] and min(volts) == volts[3]
    assert said["text"].startswith(f"Rested volts of 5 rests of 8 h and more: {volts[3]:.2f} to {max(volts):.2f} V")
    few = analyse("nights", several.part(several.boot <= 3), Account())
    assert sum("ested volts" in finding["text"] for finding in findings(few)) == 3
