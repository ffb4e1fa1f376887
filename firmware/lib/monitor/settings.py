"""Calibration and thresholds on flash: one JSON line and its CRC-32, replaced in one move."""

import binascii
import json
import os

from chargecore import calibration, thresholds

_PATH = "/settings.json"


def load():
    """(Calibration, Thresholds, notice): what is stored, or the defaults and why."""
    cal = calibration.Calibration()
    limits = thresholds.Thresholds()
    try:
        with open(_PATH, "rb") as file:
            line, checksum = file.read().split(b"\n")[:2]
    except OSError:
        return cal, limits, "no settings"
    except ValueError:
        return cal, limits, "settings bad"
    try:
        if int(checksum, 16) != binascii.crc32(line):
            return cal, limits, "settings bad"
        stored = json.loads(line)
        problem = calibration.check(stored["calibration"]) or thresholds.check(stored["thresholds"])
    except (ValueError, KeyError, TypeError, AttributeError):
        problem = "settings bad"
    if problem:
        return cal, limits, "settings bad"
    for target, values in ((cal, stored["calibration"]), (limits, stored["thresholds"])):
        for name in values:
            setattr(target, name, values[name])
    return cal, limits, ""


def values(cal, limits) -> dict:
    """Both as plain dictionaries, in the order in which they are stored."""
    return {
        "calibration": {field[0]: getattr(cal, field[0]) for field in calibration.FIELDS},
        "thresholds": {field[0]: getattr(limits, field[0]) for field in thresholds.FIELDS},
    }


def store(cal, limits):
    """Replace what is stored: after a power cut there is the old or the new, never a mixture."""
    line = json.dumps(values(cal, limits)).encode()
    with open(_PATH + ".new", "wb") as file:
        file.write(line)
        file.write(b"\n%08x\n" % binascii.crc32(line))
    os.rename(_PATH + ".new", _PATH)
