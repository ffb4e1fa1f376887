"""The budget against arithmetic of another kind, and against ngspice."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from underdash.frontend import accuracy, montecarlo, parts, spice
from underdash.frontend.accuracy import TEMPERATURES, VOLTS, contributions, total
from underdash.frontend.constants import constants
from underdash.frontend.parts import Values
from underdash.problems import UnderdashError

COPIES = 1000
AT_25 = TEMPERATURES.index(25.0)


def with_figures(values: Values, ref: str, **figures: float) -> Values:
    part = values[ref]
    return replace(values, parts={**values.parts, ref: replace(part, figures={**part.figures, **figures})})


def chosen(reference: bool) -> Values:
    values = parts.load()
    plain = [option for option in values.fitted if option != "reference"]
    return values.with_options([*plain, "reference"] if reference else plain)


def by_name(values: Values) -> dict[str, accuracy.Contribution]:
    return {part.name: part for part in contributions(values)}


@pytest.mark.parametrize("reference", [False, True])
def test_tolerances_and_drifts_are_what_a_changed_value_does(reference: bool) -> None:
    """The contribution of each resistor and reference against the difference of two full scales."""
    values = chosen(reference)
    nominal = constants(values)
    names = by_name(values)
    for ref, what in (("R2", "ohms"), ("R3", "ohms"), ("R4", "ohms"), ("R25", "ohms"), ("U2", "output_volts"),
                      ("A1", "v3_volts")):  # fmt: skip
        if ref not in values or (ref == "A1" and reference):
            assert not any(name.startswith(f"{ref} ") for name in names), ref
            continue
        part = values[ref]
        for share, name in (
            (part["tolerance"], f"{ref} tolerance {part['tolerance'] * 100:g} %"),
            (part["tempco_ppm"] * 25e-6, f"{ref} drift {part['tempco_ppm']:g} ppm/K"),
        ):
            moved = constants(with_figures(values, ref, **{what: part[what] * (1 + share)}))
            by_difference = abs(moved.full_scale / nominal.full_scale - 1) * VOLTS * 1000
            index = AT_25 if "tolerance" in name else 2
            assert names[name].at(index, False)[1] == pytest.approx(by_difference, rel=0.03), name
            assert names[name].at(index, True)[1] == pytest.approx(
                0 if "tolerance" in name else by_difference, rel=0.03
            )


def test_totals_by_hand() -> None:
    """Four contributions, added with pencil and paper."""
    flat = ((-3.0, 3.0),) * 3
    found = [
        accuracy.Contribution("a", flat, ((0.0, 0.0),) * 3, accuracy.PART, ""),
        accuracy.Contribution("b", ((0.0, 6.0),) * 3, ((-1.0, 1.0), (0.0, 0.0), (0.0, 6.0)), accuracy.PART, ""),
        accuracy.Contribution("c", flat, flat, accuracy.LASTING, "", deviation=1.0),
        accuracy.Contribution("d", flat, flat, accuracy.NEW, ""),
    ]
    before = total(found, AT_25, False)
    assert (before.shift, before.worst) == (3.0, 12.0)
    assert before.standard == pytest.approx(math.sqrt(3 + 3 + 1))
    after = total(found, 2, True)
    assert (after.shift, after.worst) == (3.0, 12.0)
    assert after.standard == pytest.approx(math.sqrt(0 + 3 + 1 + 3))
    assert after.expanded == pytest.approx(3 + 2 * math.sqrt(7))


def test_calibration_takes_away_what_it_can_and_brings_the_meter() -> None:
    for choice in accuracy.budget(parts.load())["choices"]:
        totals = choice["totals"]
        assert totals["after_25"]["worst"] < totals["after_cabin"]["worst"] < totals["before_cabin"]["worst"]
        assert choice["totals_without_meter"]["after_25"]["worst"] < 6.5
        meter = next(entry for entry in choice["contributions"] if entry["name"] == "meter")
        assert meter["before_25"]["limits"] == [0, 0]
        assert meter["after_25"]["limits"] == [-13.5, 13.5]
        assert meter["after_25"]["standard"] == pytest.approx(13.5 / math.sqrt(3), abs=0.001)
        assert all(entry["source"] for entry in choice["contributions"])
    board, shunt = accuracy.budget(parts.load())["choices"]
    assert [board["fitted"], shunt["fitted"]] == [True, False]
    assert shunt["totals"]["before_25"]["standard"] < board["totals"]["before_25"]["standard"]


def test_the_text_has_every_contribution_and_source() -> None:
    budget = accuracy.budget(parts.load())
    text = accuracy.text(budget)
    for choice in budget["choices"]:
        assert f"Reference: {choice['reference']}" in text
        for entry in choice["contributions"]:
            assert entry["name"] in text and entry["source"] in text
        assert f"{choice['totals']['after_cabin']['worst']:.2f}" in text


@pytest.mark.parametrize("reference", [False, True])
def test_ngspice_finds_the_budgets_spread(reference: bool) -> None:
    """Mean and standard deviation within four standard errors of a sample of that size; nobody beyond the
    worst case. Before calibration 2 % more: the loads' and tolerances' products, which the sums leave out."""
    values = chosen(reference)
    found = montecarlo.spread(values, COPIES, seed=3)
    circuit = [part for part in contributions(values) if part.circuit]
    for index, celsius in enumerate(TEMPERATURES):
        for calibrated, errors in ((False, found.before[index]), (True, found.after[index])):
            expected = total(circuit, index, calibrated)
            what = f"{celsius:g} C, {'after' if calibrated else 'before'}"
            if calibrated and index == AT_25:
                assert np.abs(errors).max() < 0.01, what
                continue
            slack = 0.0 if calibrated else 0.02 * expected.standard
            assert abs(errors.mean() - expected.shift) < 4 * expected.standard / math.sqrt(COPIES) + slack, what
            spread = 4 / math.sqrt(2 * COPIES) + (0.0 if calibrated else 0.02)
            assert errors.std(ddof=1) == pytest.approx(expected.standard, rel=spread), what
            assert np.abs(errors).max() < expected.worst, what


def test_ngspice_finds_the_leakage_where_nothing_else_drifts() -> None:
    """Without the drifts of resistors and reference the diode's own rise is plain in the mean."""
    values = chosen(True)
    for ref in ("R2", "R3", "R4", "R25", "U2"):
        values = with_figures(values, ref, tempco_ppm=0.0)
    found = montecarlo.spread(values, COPIES, seed=4)
    circuit = [part for part in contributions(values) if part.circuit]
    hot = total(circuit, 2, True)
    assert hot.standard < 9
    assert found.after[2].mean() == pytest.approx(hot.shift, abs=4 * hot.standard / math.sqrt(COPIES))
    assert found.after[2].std(ddof=1) == pytest.approx(hot.standard, rel=4 / math.sqrt(2 * COPIES))
    # The leakage's own part of the shift stands far out of that band.
    names = by_name(values)
    leak = names["D5 leakage"].at(2, True)
    assert sum(leak) / 2 > 4 * hot.standard / math.sqrt(COPIES) * 4


def test_the_same_seed_draws_the_same() -> None:
    first, again, other = (montecarlo.spread(parts.load(), 20, seed) for seed in (1, 1, 2))
    assert (first.before == again.before).all()
    assert (first.before != other.before).any()


def test_a_divider_of_three_resistors_is_solved() -> None:
    deck = "divider\nv1 a 0 12\nr1 a b 9060\nr2 b 0 2000\n.dc v1 12 15 1.5\n.save v(b)\n.end\n"
    volts = spice.solve(deck, "line")[0]["v(b)"]
    assert volts == pytest.approx(np.array([12.0, 13.5, 15.0]) * 2000 / 11060, rel=1e-6)


def test_ngspice_missing_or_refusing_is_one_line(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with pytest.raises(UnderdashError, match=r"^bad: ngspice gave no result: .*[Ee]rror") as refused:
        spice.solve("bad\nr1 a 0 nonsense\nq9\n.dc v1 0 1 1\n.end\n", "bad")
    assert "\n" not in str(refused.value)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(UnderdashError, match=r"ngspice is not installed; .* install") as missing:
        montecarlo.spread(parts.load(), 5)
    assert "\n" not in str(missing.value)
