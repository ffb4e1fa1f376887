"""The demo's bench, before the board goes into the car: known volts and amps in, two straight lines out.

A session with a person at a meter is underdash.calibrate; this one asks nobody, but fits with the same line.
"""

import binascii
import json
from pathlib import Path

import numpy as np

from chargecore import calibration, thresholds
from underdash.calibrate.fit import fit_line
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.review import review
from underdash.virtual.board import VirtualBoard
from underdash.virtual.signal_file import FrontEnd, write_signal

# (bus [V], battery current [A]) of each step: the span that matters, then a known load both ways.
_STEPS = ((11.8, 0.0), (12.6, 0.0), (13.5, 0.0), (14.4, 0.0), (15.4, 0.0), (13.5, 60.0), (13.5, -60.0))
_STEP_S = 20.0
_BOARD_ID = "00000000000bec40"


def settings_file(cal: calibration.Calibration, limits: thresholds.Thresholds, **options: int) -> str:
    """What the board keeps as its settings file for these values; options not named have their default."""
    line = json.dumps({"calibration": vars(cal), "thresholds": vars(limits), "options": options})
    return f"{line}\n{binascii.crc32(line.encode()):08x}\n"


def calibrate(folder: Path, front_end: FrontEnd) -> calibration.Calibration:
    """Find a virtual board's calibration as one would a real one's: by measuring, never by asking
    the model. `folder` is scratch space for the bench's own flash."""
    nominal = calibration.Calibration()
    nominal.clamp_fitted = 1
    volts, amps = (np.repeat([step[index] for step in _STEPS], 10 * int(_STEP_S)) for index in (0, 1))
    write_signal(folder / "bench.signal", front_end.fractions(volts, amps), period_ms=100)
    settings = settings_file(nominal, thresholds.Thresholds())
    with VirtualBoard(folder, board_id=_BOARD_ID, settings=settings) as virtual:
        virtual.start(folder / "bench.signal", fast=True)
        virtual.wait_for_end(60.0)
        with Board(virtual.port) as board:
            pulled = pull(board, folder / "archive")
    _, rows = review(pulled.folder)
    shown = np.zeros((len(_STEPS), 2))  # volts, amps, as uncalibrated lines have them
    for index in range(len(_STEPS)):
        begin_s = index * _STEP_S
        steady = (rows.t_s > begin_s + 4.0) & (rows.t_s < begin_s + _STEP_S - 1.0)
        shown[index] = np.mean(rows.volts[steady]), np.mean(rows.amps[steady])
    known = np.array(_STEPS)
    bus = fit_line(shown[:, 0] * 1e9 / nominal.bus_gain_nv + nominal.bus_zero, known[:, 0])
    clamp = fit_line(shown[:, 1] * 1e6 / nominal.clamp_gain_ua + nominal.clamp_zero, known[:, 1])
    found = calibration.Calibration()
    found.bus_zero, found.bus_gain_nv = bus.bus_zero, bus.bus_gain_nv
    found.clamp_fitted = 1
    found.clamp_zero, found.clamp_gain_ua = round(clamp.zero), round(clamp.gain * 1e6)
    return found
