"""Runs on MicroPython: the power goes at every flash operation while calibrations are stored.

The workload is this file's; cutting, tearing and judging are those of tests/power/cuts.py, whose arguments
follow. Of the printed line `states` is added: how many different settings were in force in turn.
"""

import sys

import workloads
from workloads import BLOCKS, Mark, _fresh

from monitor import settings

# As `underdash calibrate` stores them: volts, the clamp's fitting, amps, volts again, and what was before.
STORES = (
    {"calibration": {"bus_zero": 231, "bus_gain_nv": 277011}},
    {"calibration": {"clamp_fitted": 1}},
    {
        "calibration": {"clamp_fitted": 1, "clamp_zero": 30955, "clamp_gain_ua": -4040},
        "options": {"clamp_supply": 31321},
    },
    {"calibration": {"bus_zero": -58, "bus_gain_nv": 276544}},
    {"calibration": {"bus_zero": 231, "bus_gain_nv": 277011}},
)


def calibration_store():
    record = _fresh(BLOCKS)
    values = settings.values(settings.Settings())
    values["thresholds"]["still_mv"] = 15  # what a calibration must leave as it is
    settings.store(values)
    record.begin(Mark(0, {}, 0))
    record.states.append((settings.values(settings.load()), ""))
    for given in STORES:
        values = settings.values(settings.load())
        for part in given:
            values[part].update(given[part])
        assert settings.check(values) == ""
        settings.store(values)
        kept = settings.load()
        assert settings.values(kept) == values
        record.states.append((values, ""))
        record.marks.append(Mark(len(record.flash.log), {}, 0))
    return record


workloads.FILES["settings store"] = calibration_store
assert sys.argv[1] == "settings store"
import cuts  # noqa: F401  it is a script: importing it runs it
