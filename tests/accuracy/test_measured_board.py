"""The firmware itself on measured converters: calibrated by what it journals, then held against the truth."""

from pathlib import Path

import numpy as np
import pytest

from chargecore import calibration, thresholds
from conftest import measured_data
from underdash.calibrate.fit import fit_line
from underdash.frontend.curve import GOAL, POINTS, SPANS, read
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.review import review
from underdash.review.rows import Rows
from underdash.virtual.bench import settings_file
from underdash.virtual.board import VirtualBoard
from underdash.virtual.signal_file import Converter, FrontEnd, write_signal

BUILT = FrontEnd(bus_full_scale=18.31)  # not what an uncalibrated board takes for true


def journal(folder: Path, converter: Converter, cal: calibration.Calibration, volts: np.ndarray, hold_s: int) -> Rows:
    """The rows of a board that saw these volts, each for so many seconds."""
    folder.mkdir()
    held = np.repeat(volts, 10 * hold_s)
    write_signal(folder / "pins.signal", BUILT.fractions(held, np.zeros(len(held))), period_ms=100)
    settings = settings_file(cal, thresholds.Thresholds())
    with VirtualBoard(folder, settings=settings, converter=converter) as virtual:
        virtual.start(folder / "pins.signal", fast=True)
        virtual.wait_for_end(120.0)
        with Board(virtual.port) as board:
            pulled = pull(board, folder / "archive")
    return review(pulled.folder)[1]


def steady(rows: Rows, index: int, hold_s: int) -> np.ndarray:
    """Volts of the rows that lie within a stretch of the signal."""
    begin_s = index * hold_s
    return rows.volts[(rows.t_s > begin_s + 1.2) & (rows.t_s < begin_s + hold_s - 0.1)]


@pytest.mark.parametrize("device", [1, 2, 3])
def test_five_points_on_a_measured_converter_keep_the_promise_in_the_journal(device: int, tmp_path: Path) -> None:
    converter = Converter.from_curve(measured_data("rp2040-adc") / f"device{device}.csv")
    nominal, found = calibration.Calibration(), calibration.Calibration()
    # The start window takes the first seconds; the first stretch only fills them.
    points = (13.0, *POINTS["five_point"])
    rows = journal(tmp_path / "bench", converter, nominal, np.array(points), hold_s=12)
    shown = np.array([np.mean(steady(rows, index, 12)) for index in range(1, len(points))])
    readings = shown * 1e9 / nominal.bus_gain_nv + nominal.bus_zero
    line = fit_line(readings, np.array(points[1:]))
    found.bus_zero, found.bus_gain_nv = line.bus_zero, line.bus_gain_nv

    volts = np.concatenate(
        [[13.0], np.arange(11.6, 15.61, 0.025), np.arange(15.7, 18.0, 0.1), np.arange(11.5, 6, -0.1)]
    )
    rows = journal(tmp_path / "car", converter, found, volts, hold_s=3)
    errors, truth = [], []
    for index in range(1, len(volts)):
        seen = steady(rows, index, 3)
        assert len(seen), f"no row at {volts[index]:.3f} V"
        errors += list((seen - volts[index]) * 1000)
        truth += [volts[index]] * len(seen)
    table, at = np.array(errors), np.array(truth)
    for span, (low, high) in SPANS.items():
        part = table[(at > low - 0.001) & (at < high + 0.001)]
        assert len(part) > 150
        assert np.abs(part).max() <= GOAL[span]["largest"], span
        assert np.sqrt((part**2).mean()) <= GOAL[span].get("rms", np.inf), span
    uncalibrated = np.abs(shown - points[1:]).max() * 1000
    assert uncalibrated > 20, "the front end was not off in the first place"


@pytest.mark.parametrize("device", [1, 2, 3])
def test_the_boards_table_keeps_the_wide_codes_where_they_are(device: int) -> None:
    path = measured_data("rp2040-adc") / f"device{device}.csv"
    curve = read(path)
    table = np.frombuffer(Converter(noise_rms=0.5, curve=path).table()[: 2 * 4097], "<u2") / 16 - 0.5
    for wide in (511, 1535, 2559, 3583):
        flat = np.flatnonzero(np.abs(table - wide) < 0.3)  # of steps of 8: as long as a code is wide
        measured = curve.steps[np.abs(curve.averaged().codes - wide) < 0.3] / 8
        assert len(flat) >= 6
        assert flat[0] == pytest.approx(measured[0], abs=1.01)
        assert flat[-1] == pytest.approx(measured[-1], abs=1.01)
    inside = curve.steps % 8 == 0
    assert np.abs(table[:-1] - curve.codes[inside]).max() < 1.2, "the table is not the file's curve"
