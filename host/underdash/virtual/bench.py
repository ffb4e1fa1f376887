"""The bench, before the board goes into the car: known volts and amps in, two straight lines out."""

import binascii
import json
from pathlib import Path

import numpy as np

from chargecore import calibration, thresholds
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.review import review
from underdash.virtual.board import VirtualBoard
from underdash.virtual.signal_file import FrontEnd, write_signal

# (bus [V], battery current [A]) of each step: the span that matters, then a known load both ways.
_STEPS = ((12.0, 0.0), (15.0, 0.0), (13.5, 60.0), (13.5, -60.0))
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
    bus_codes, clamp_codes = [], []
    for index in range(len(_STEPS)):
        begin_s = index * _STEP_S
        steady = (rows.t_s > begin_s + 4.0) & (rows.t_s < begin_s + _STEP_S - 1.0)
        bus_codes.append(float(np.mean(rows.volts[steady])) * 1e9 / nominal.bus_gain_nv + nominal.bus_zero)
        clamp_codes.append(float(np.mean(rows.amps[steady])) * 1e6 / nominal.clamp_gain_ua + nominal.clamp_zero)
    found = calibration.Calibration()
    gain_nv = (_STEPS[1][0] - _STEPS[0][0]) * 1e9 / (bus_codes[1] - bus_codes[0])
    found.bus_gain_nv = round(gain_nv)
    found.bus_zero = round(bus_codes[0] - _STEPS[0][0] * 1e9 / gain_nv)
    found.clamp_fitted = 1
    found.clamp_gain_ua = round((_STEPS[2][1] - _STEPS[3][1]) * 1e6 / (clamp_codes[2] - clamp_codes[3]))
    found.clamp_zero = round((clamp_codes[0] + clamp_codes[1]) / 2)
    return found
