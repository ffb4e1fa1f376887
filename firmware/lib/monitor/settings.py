"""What the board keeps on flash: one JSON line and its CRC-32, replaced in one move."""

import binascii
import json
import os

from chargecore import calibration, options, thresholds

_PATH = "/settings.json"


class Settings:
    """Everything in force; `notice` says what was wrong with what is stored."""

    def __init__(self):
        self.calibration = calibration.Calibration()
        self.thresholds = thresholds.Thresholds()
        self.options = options.Options()
        self.pins = options.default_pins()
        self.notice = ""


def load(journal_folder="/journal") -> Settings:
    found = Settings()
    try:
        with open(_PATH, "rb") as file:
            line, checksum = file.read().split(b"\n")[:2]
        stored = json.loads(line) if int(checksum, 16) == binascii.crc32(line) else None
    except OSError:
        found.notice = "no settings"
        return found
    except ValueError:
        stored = None
    try:
        merged = values(found)
        for part in stored:
            merged[part].update(stored[part])
        problem = check(merged)
    except (ValueError, KeyError, TypeError, AttributeError):
        problem = "settings bad"
    if problem:
        found.notice = "settings bad"
        return found
    for part in ("calibration", "thresholds", "options"):
        for name in merged[part]:
            setattr(getattr(found, part), name, merged[part][name])
    found.pins = merged["pins"]
    return found


def values(settings) -> dict:
    """The four parts as plain dictionaries."""
    return {
        "calibration": {field[0]: getattr(settings.calibration, field[0]) for field in calibration.FIELDS},
        "thresholds": {field[0]: getattr(settings.thresholds, field[0]) for field in thresholds.FIELDS},
        "options": {field[0]: getattr(settings.options, field[0]) for field in options.FIELDS},
        "pins": dict(settings.pins),
    }


def check(values: dict) -> str:
    return (
        calibration.check(values["calibration"])
        or thresholds.check(values["thresholds"])
        or options.check(values["options"])
        or options.check_pins(values["pins"])
    )


def store(values: dict):
    """Replace what is stored: after a power cut there is the old or the new, never a mixture."""
    line = json.dumps(values).encode()
    with open(_PATH + ".new", "wb") as file:
        file.write(line)
        file.write(b"\n%08x\n" % binascii.crc32(line))
    os.rename(_PATH + ".new", _PATH)
