"""What if: the same drives under other thresholds, held to the review, to the engine and to sums done by hand."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from dips import DEFICITS, PLAIN, log, of_kind, what_if
from evenings import evening
from hypothesis import given, settings
from hypothesis import strategies as st
from pieces import header, rows_frame
from test_stride import signals

from chargecore import engine, thresholds
from chargecore.engine import STATE_NAMES
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT, TICKS_MASK
from conftest import measured_data, of_engine_run
from underdash.review import foreign, review
from underdash.review.what_if import as_dict, compare, totals
from underdash.review.what_if import sets as choosing
from underdash.review.what_if.judged import Rows, judge, read
from underdash.review.what_if.matching import match
from underdash.review.what_if.warned import Warned, warned

ENGINE_RUN = foreign.Options(columns={"t_s": "engine_run_s"})


def segments(folder: Path, boots: list[tuple[int, Any]], limits: Thresholds | None = None) -> Path:
    """A board's folder: a segment for each start, (key, rows), as a board with these limits would have decided."""
    number = 0
    folder.mkdir()
    for boot, (key, rows) in enumerate(boots, 1):
        judge_there = engine.Engine(limits or Thresholds())
        judge_there.key = key
        packed = header(boot, boot, number, judge_there)
        decided = []
        for t_ms, *values in rows.tolist():
            judge_there.step(t_ms & TICKS_MASK, *values)
            decided.append((t_ms, *values, judge_there.state, judge_there.warnings))
        for at in range(0, len(decided), 60):
            packed += rows_frame(number, decided[at : at + 60], key)
            number += len(decided[at : at + 60])
        (folder / f"{boot:08d}.seg").write_bytes(packed)
    return folder


def assert_as_reviewed(report: dict[str, Any], table: Any, rows: Rows) -> None:
    """The set in force, judged here, is what the review has: row for row, drive for drive, episode for episode."""
    verdicts = judge(rows, rows.thresholds, lambda done, total: None)
    assert np.array_equal(verdicts.state, table.state)
    assert np.array_equal(verdicts.warnings, table.warnings)
    assert len(rows.drives) == len(report["drives"])
    found = [
        (one.drive, one.kind, one.start_ms / 1000, one.shown_ms / 1000, round(one.length_ms / 1000, 3))
        for one in sorted(warned(rows, verdicts, rows.thresholds), key=lambda one: one.first_row)
        if one.kind in STATE_NAMES
    ]
    expected = [
        (number, *(each[name] for name in ("kind", "start_s", "shown_s", "length_s")))
        for number, part in (*enumerate((one["episodes"] for one in report["drives"]), 1),
                             (None, report["parked_episodes"]))
        for each in part
    ]  # fmt: skip
    assert sorted(found, key=str) == sorted(expected, key=str)


# -- the set in force is the review's own -----------------------------------------------------


@pytest.mark.parametrize("clamp", [True, False])
def test_the_set_in_force_gives_the_reviews_own_verdicts_on_a_log(tmp_path: Path, clamp: bool) -> None:
    rows = evening(clamp)
    path = tmp_path / "evening.csv"
    path.write_text(
        f"t_s,volts{',amps' if clamp else ''}\n"
        + "".join(f"{t / 1000},{mv / 1000}{f',{ma / 1000}' if clamp else ''}\n" for t, _, mv, _, ma in rows.tolist())
    )
    report, table = review(path)
    assert report["drives"][0]["episodes"], "an evening without a warning proves little"
    assert_as_reviewed(report, table, read(path, PLAIN))


def test_the_set_in_force_gives_the_reviews_own_verdicts_on_measured_drives(measured_drive: Path) -> None:
    options = of_engine_run(measured_drive)
    report, table = review(measured_drive, options=options)
    rows = read(measured_drive, options)
    assert_as_reviewed(report, table, rows)
    same = what_if(rows, "discharging_mv=13000")
    assert same.unlike == 0 and not of_kind(same.warned, "discharging")
    assert len(same.sets[0].matches) == len(same.warned)


def test_the_set_in_force_gives_the_reviews_own_verdicts_on_a_journal_with_keys(tmp_path: Path) -> None:
    """Three starts of the board, the key unknown, on and off: each has its own verdicts, which the key decides."""
    limits = Thresholds()
    limits.discharging_ms = 3000
    driven = evening(True)[
        evening(True)[:, 0] < 6_600_000
    ]  # with the key on no board sleeps, as this evening's end does
    boots = [(ABSENT, evening(False)), (1, driven), (0, evening(False))]
    folder = segments(tmp_path / "board", boots, limits)
    report, table = review(folder)
    assert report["mismatches"] == report["unchecked_rows"] == 0
    rows = read(folder, PLAIN)
    assert rows.thresholds.discharging_ms == 3000
    assert_as_reviewed(report, table, rows)
    outcome = what_if(rows, "discharging_ms=4000")
    assert outcome.unlike == 0
    assert as_dict("board", outcome)["key_known"] is True
    assert len({key for _, key in rows.keys}) == 3
    keyless = Rows(**{**vars_of(rows), "keys": ()})
    assert compare(keyless, []).unlike > 0, "without the keys it would have been decided otherwise"


def vars_of(rows: Rows) -> dict[str, Any]:
    return {name: getattr(rows, name) for name in Rows.__dataclass_fields__}


def test_rows_decided_under_other_thresholds_are_counted(tmp_path: Path) -> None:
    """The first start's board warned after 60 s; what is in force at the end warns after 5 s."""
    slow = Thresholds()
    slow.discharging_ms = 60000
    folder = segments(tmp_path / "board", [(ABSENT, evening(True))], slow)
    later = segments(tmp_path / "later", [(ABSENT, evening(True)[:0]), (ABSENT, evening(True)[:100])])
    data = (later / "00000002.seg").read_bytes()
    (folder / "00000002.seg").write_bytes(data)
    rows = read(folder, PLAIN)
    assert rows.thresholds.discharging_ms == 5000
    assert compare(rows, []).unlike >= 55


# -- other sets, and sums done by hand --------------------------------------------------------


def test_deficits_appear_vanish_and_last_as_counted_by_hand(tmp_path: Path) -> None:
    """Four dips: 30 s at 12.85, 8 s at 12.4, 3 s at 12.4 and 12 s at 13.1 V, give or take 0.02 V. By the defaults the
    first two are discharging, the last is marginal."""
    rows = read(log(tmp_path / "dips.csv", *DEFICITS), PLAIN)
    outcome = what_if(
        rows,
        sets=(
            "discharging_mv=12700",
            "discharging_ms=2000",
            "discharging_ms=10000",
            "discharging_mv=13300 marginal_mv=13450 healthy_mv=13700 discharging_ms=10000",
            "marginal_ms=20000",
        ),
    )
    now = of_kind(outcome.warned, "discharging")
    assert [(one.start_ms, one.shown_ms, one.length_ms) for one in now] == [
        (122_000, 127_000, 30_000),
        (212_000, 217_000, 8_000),
    ]
    assert [one.worst_mv for one in now] == [pytest.approx(12_830, abs=2), pytest.approx(12_380, abs=2)]
    assert [one.depth_mv for one in now] == [13_000 - (one.worst_mv or 0) for one in now]
    assert [one.drive for one in now] == [1, 1]
    (marginal,) = of_kind(outcome.warned, "marginal")
    assert (marginal.start_ms, marginal.shown_ms, marginal.length_ms) == (343_000, 353_000, 12_000)
    lower, hasty, patient, higher, later = outcome.sets

    def told(one: Any, kind: str = "discharging") -> list[tuple[int, tuple[str, ...]]]:
        return [(each.first.start_ms, each.effects) for each in one.matches if each.first.kind == kind]

    assert told(lower) == [(122_000, ("vanishes",)), (212_000, ("same",))]
    assert told(lower, "marginal") == [(122_000, ("appears",)), (343_000, ("same",))]
    assert told(hasty) == [
        (122_000, ("shown earlier",)),
        (212_000, ("shown earlier",)),
        (280_000, ("appears",)),
    ]
    assert told(patient) == [(122_000, ("shown later",)), (212_000, ("vanishes",))]
    assert told(higher)[-1] == (343_000, ("appears",))
    assert len(told(higher)) == 3
    assert told(later, "marginal") == [(343_000, ("vanishes",))]
    assert later.same == 2
    assert totals(outcome.warned)["discharging"] == (2, 38.0)
    assert totals(hasty.warned)["discharging"] == (3, 41.0)


def test_a_sweep_goes_through_every_value(tmp_path: Path) -> None:
    rows = read(log(tmp_path / "dips.csv", *DEFICITS), PLAIN)
    outcome = what_if(rows, "discharging_ms=2000..32000:10000")
    assert outcome.sweep == choosing.Sweep("discharging_ms", (2000, 12000, 22000, 32000))
    assert [totals(one.warned)["discharging"] for one in outcome.sets] == [(3, 41.0), (1, 30.0), (1, 30.0), (0, 0.0)]


def test_weak_crank_low_at_rest_and_sensor(tmp_path: Path) -> None:
    path = log(tmp_path / "cold.csv", (120, 12.4), (3, 9.8), (60, 14.0))
    with path.open("a") as file:
        file.writelines(f"{t},\n" for t in range(184, 284))
    rows = read(path, PLAIN)
    outcome = what_if(rows, "weak_crank_mv=10000", "low_rest_mv=12500", "sensor_ms=110000")
    effects = {one.first.kind: one for one in outcome.sets[0].matches}
    assert {kind: one.effects for kind, one in effects.items()} == {
        "weak crank": ("appears",),
        "low at rest": ("appears",),
        "sensor": ("vanishes",),
    }
    (weak,) = effects["weak crank"].then
    held = review(path)[0]["drives"][0]["cranks"][0]["held_volts"]
    assert weak.worst_mv == round(held * 1000) and weak.depth_mv == 10_000 - weak.worst_mv
    assert weak.drive == 1 and weak.start_ms == 120_000
    (low,) = effects["low at rest"].then
    assert low.drive is None
    assert low.worst_mv == pytest.approx(12_400, abs=1)
    # At rest after 20 s of stillness (the first row has no length), low for 60 s from the row that said so on.
    assert low.shown_ms == pytest.approx(80_000, abs=2_000)
    (blind,) = effects["sensor"].now
    assert blind.shown_ms == pytest.approx(183_000 + 60_000, abs=1_000)
    assert blind.worst_mv is None


@pytest.mark.parametrize(("hole_s", "begins"), [(20, [0]), (3600, [0, 152]), (1_073_743, [0, 152])])
def test_a_hole_is_no_part_of_a_warning(tmp_path: Path, hole_s: int, begins: list[int]) -> None:
    """The log stops amid a deficit and goes on later, once when the board's clock has wrapped (2**30 ms) and 2 s more:
    the deficit ends with the last row before, whether the engine begins anew by itself or is made to."""
    path = log(tmp_path / "hole.csv", (60, 12.6), (2, 10.0), (60, 14.0), (30, 12.5))
    later = log(tmp_path / "later.csv", (60, 14.0)).read_text().splitlines()[1:]
    with path.open("a") as file:
        for line in later:
            t, volts = line.split(",")
            file.write(f"{int(t) + 152 + hole_s},{volts}\n")
    rows = read(path, PLAIN)
    assert rows.begins == begins
    (one,) = of_kind(compare(rows, []).warned, "discharging")
    assert (one.start_ms, one.end_ms) == (122_000, 152_000)


def test_a_healthy_car_warns_once_the_limit_is_raised_or_the_dwell_is_short() -> None:
    """Source: one 2014 petrol car, github.com/eron93br/carOBD at bf09e1c (docs/check-values.md). In long9 its volts
    fall below 13.0 V for a few seconds; in long2 they stay above, between 13.0 and 13.4 V in places."""
    folder = measured_data("measured-drives")
    raised = what_if(
        read(folder / "long2.csv", ENGINE_RUN),
        "discharging_mv=12800..13400:100",
        "marginal_mv=13600",
        "healthy_mv=13800",
    )
    counts = [totals(one.warned)["discharging"][0] for one in raised.sets]
    assert raised.warned == []
    assert counts[0] == 0 < counts[-1]
    assert counts == sorted(counts)
    blips = what_if(read(folder / "long9.csv", ENGINE_RUN), "discharging_ms=1000..6000:1000")
    counts = [totals(one.warned)["discharging"][0] for one in blips.sets]
    assert counts[0] >= 1 and counts[4:] == [0, 0]
    assert counts == sorted(counts, reverse=True)
    (blip,) = blips.sets[0].warned
    below = blips.rows.bus_mv[blip.first_row - 5 : blip.last_row + 1]
    assert below.min() < 13_000


# -- what truly is monotonic ------------------------------------------------------------------


def as_rows(signal: Any, limits: Thresholds) -> Rows:
    nothing = np.zeros(len(signal), np.int64)
    return Rows(nothing + 1, *signal.T, nothing, nothing, (), limits, None, 0)


def changed(**values: int) -> Thresholds:
    limits = Thresholds()
    for name, value in values.items():
        setattr(limits, name, value)
    return limits


@settings(max_examples=150, deadline=None)
@given(signals(Thresholds(), clamp=False), st.integers(1000, 30000), st.integers(1000, 30000))
def test_a_longer_dwell_never_shows_more_of_discharging(signal: Any, one: int, other: int) -> None:
    """Without a clamp; whatever row the longer dwell calls discharging, the shorter does, too."""
    longer, shorter = changed(discharging_ms=max(one, other)), changed(discharging_ms=min(one, other))
    rows = as_rows(signal, shorter)
    outcome = compare(rows, [choosing.ThresholdSet("A", {}, longer)])
    states = [judge(rows, limits, lambda done, total: None).state for limits in (shorter, longer)]
    assert not ((states[1] == engine.DISCHARGING) & (states[0] != engine.DISCHARGING)).any()
    now, then = totals(outcome.warned)["discharging"], totals(outcome.sets[0].warned)["discharging"]
    assert then[0] <= now[0] and then[1] <= now[1]


@settings(max_examples=150, deadline=None)
@given(signals(Thresholds()), st.integers(6000, 11000), st.integers(11000, 12700))
def test_two_thresholds_decide_on_nothing_but_their_own_warning(signal: Any, weak: int, low: int) -> None:
    other = changed(weak_crank_mv=weak, low_rest_mv=low, empty_mv=10000)
    present = changed(empty_mv=10000)
    if thresholds.check(vars(other)):
        other.low_rest_mv = present.low_rest_mv
    rows = as_rows(signal, present)
    before, after = (judge(rows, limits, lambda done, total: None) for limits in (present, other))
    assert np.array_equal(before.state, after.state)
    for bit, name in ((engine.WARN_WEAK_CRANK, "weak_crank_mv"), (engine.WARN_LOW_REST, "low_rest_mv")):
        more, less = (after, before) if getattr(other, name) >= getattr(present, name) else (before, after)
        assert not ((less.warnings & bit > 0) & (more.warnings & bit == 0)).any()


# -- matching ---------------------------------------------------------------------------------


def at(start_s: float, end_s: float, kind: str = "marginal", part: int = 0, shown_s: float | None = None) -> Warned:
    start, end = round(start_s * 1000), round(end_s * 1000)
    shown = start + 5000 if shown_s is None else round(shown_s * 1000)
    return Warned(kind, part, 1, 1, start, shown, end, 0, 0, 13000, 100)


@pytest.mark.parametrize(
    ("now", "then", "effects"),
    [
        ([at(10, 30)], [at(10, 30)], [("same",)]),
        ([at(10, 30)], [], [("vanishes",)]),
        ([], [at(10, 30)], [("appears",)]),
        ([at(10, 30)], [at(12, 40, shown_s=15)], [("longer",)]),
        ([at(10, 30)], [at(10, 20, shown_s=13)], [("shorter", "shown earlier")]),
        ([at(10, 30)], [at(10, 30, shown_s=25)], [("shown later",)]),
        ([at(10, 30)], [at(12, 32, shown_s=15)], [("moves",)]),
        ([at(10, 30)], [at(10, 14), at(20, 30)], [("splits", "shorter")]),
        ([at(10, 14), at(20, 30)], [at(10, 30)], [("joins", "longer")]),
        ([at(10, 30)], [at(30, 40)], [("vanishes",), ("appears",)]),
        ([at(10, 30)], [at(10, 30, kind="discharging")], [("appears",), ("vanishes",)]),
        ([at(10, 30)], [at(10, 30, part=1)], [("vanishes",), ("appears",)]),
        ([at(10, 10)], [at(10, 10)], [("same",)]),
        ([at(10, 50), at(60, 70)], [at(20, 65)], [("joins", "shorter", "shown later")]),
    ],
)
def test_matches(now: list[Warned], then: list[Warned], effects: list[tuple[str, ...]]) -> None:
    found = match(now, then)
    assert [one.effects for one in found] == effects
    assert sorted((one for each in found for one in each.now), key=repr) == sorted(now, key=repr)
    assert sorted((one for each in found for one in each.then), key=repr) == sorted(then, key=repr)
