"""Calibration, thresholds, options and wiring on flash: one JSON line and its CRC-32.

The file in force is replaced in one move, and the one before it is kept; so there is a whole
good file whatever moment the power goes. Should both be gone although there is a journal, its
newest header still holds what no default can replace: the calibration, and the thresholds.
"""

import binascii
import json
import os

from chargecore import calibration, options, thresholds
from monitor import segments

_PATH = "/settings.json"
_OLD_PATH = "/settings.old"


class Settings:
    """What the board runs with: `calibration`, `thresholds`, `options` as chargecore has them,
    `pins` (name to GPIO number). `notice` is '' or says, in at most 16 characters, what is not
    as it should be. Starts at the defaults."""

    def __init__(self):
        self.calibration = calibration.Calibration()
        self.thresholds = thresholds.Thresholds()
        self.options = options.Options()
        self.pins = options.default_pins()
        self.notice = ""


def load(journal_folder: str = "/journal") -> Settings:
    """What is stored, else the copy before it, else what the journal knows, else the defaults."""
    for path, notice in ((_PATH, ""), (_OLD_PATH, "settings old")):
        found = _read(path)
        if found:
            found.notice = notice
            return found
    found = _from_journal(journal_folder)
    if found and values(found) != values(Settings()):
        found.notice = "from journal"
        return found
    found = Settings()
    found.notice = "settings bad" if _is_there(_PATH) or _is_there(_OLD_PATH) else "no settings"
    return found


def values(settings: Settings) -> dict:
    """The four parts as plain dictionaries, in the order in which they are stored."""
    return {
        "calibration": {field[0]: getattr(settings.calibration, field[0]) for field in calibration.FIELDS},
        "thresholds": {field[0]: getattr(settings.thresholds, field[0]) for field in thresholds.FIELDS},
        "options": {field[0]: getattr(settings.options, field[0]) for field in options.FIELDS},
        "pins": {pin[0]: settings.pins[pin[0]] for pin in options.PINS},
    }


def check(values: dict) -> str:
    """'' if the four parts (every name to an integer) can be in force, else one line saying why not."""
    return (
        calibration.check(values["calibration"])
        or thresholds.check(values["thresholds"])
        or options.check(values["options"])
        or options.check_pins(values["pins"])
    )


def store(values: dict):
    """Replace what is stored by the four parts, which have been through `check`.

    OSError if the flash fails; what was stored is then still in force.
    """
    if _read(_PATH):
        _replace(_OLD_PATH, _good_line(_PATH))
    _replace(_PATH, json.dumps(values).encode())


# -- inside -----------------------------------------------------------------------------------


def _replace(path, line):
    """After a power cut there is what was there, or this: never a mixture, never neither."""
    with open(path + ".new", "wb") as file:
        file.write(line)
        file.write(b"\n%08x\n" % binascii.crc32(line))
    os.rename(path + ".new", path)


def _is_there(path) -> bool:
    try:
        os.stat(path)
        return True
    except OSError:
        return False


def _good_line(path):
    """The line in a settings file, or None if there is no file, or its checksum is wrong."""
    try:
        with open(path, "rb") as file:
            line, checksum = file.read().split(b"\n")[:2]
        return line if int(checksum, 16) == binascii.crc32(line) else None
    except (OSError, ValueError):
        return None


def _read(path):
    """The Settings in a file, or None. What the file does not name keeps its default."""
    line = _good_line(path)
    if not line:
        return None
    found = Settings()
    merged = values(found)
    try:
        stored = json.loads(line)
        for part in merged:
            given = stored.get(part, {})
            for name in merged[part]:
                if name in given:
                    merged[part][name] = given[name]
        if check(merged):
            return None
    except (ValueError, TypeError, AttributeError):
        return None
    for target, part in (
        (found.calibration, "calibration"),
        (found.thresholds, "thresholds"),
        (found.options, "options"),
    ):
        for name in merged[part]:
            setattr(target, name, merged[part][name])
    found.pins = merged["pins"]
    return found


def _from_journal(folder):
    """Settings with the calibration and thresholds of the newest readable header, or None."""
    try:
        numbers = segments.listing(folder)
        for number, _ in reversed(numbers):
            header = segments.header_of(folder, number)
            if header:
                found = Settings()
                found.calibration = header.calibration
                found.thresholds = header.thresholds
                if not check(values(found)):
                    return found
    except OSError:
        pass  # there is no journal
    return None
