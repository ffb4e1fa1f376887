"""The lamp and the buzzer: what they say, they say by rhythm alone.

A rhythm is a row of times, on and off by turns, in tenths of a second. Two of the lamp's are told
apart by how many flashes come between pauses, or by a longest flash three times as long; never by
colour or brightness. None flashes more than three times a second, where flicker becomes a hazard
(WCAG 2.2, success criterion 2.3.1). The rhythms come round in 3 s or less, so that one look will do.
"""

from chargecore.engine import (
    CHARGING,
    WARN_DISCHARGING,
    WARN_LOW_REST,
    WARN_MARGINAL,
    WARN_OVERCHARGE,
    WARN_SENSOR,
    WARN_WEAK_CRANK,
)
from chargecore.shim import const
from monitor import verdict

_UNIT_MS = const(100)

NOTHING = ()
WAITING = (10, 20)  # no verdict, crank, rest: alive, with nothing to say
RUNS_WELL = (1, 29)  # charging: what is seen nearly always is the least
FALLS_SHORT = (2, 3, 2, 23)  # marginal
WEAK_BATTERY = (2, 3, 2, 3, 2, 18)  # weak crank, low at rest
DRAINS = (6, 6)  # discharging
TOO_HIGH = (2, 2)  # overcharge
DOUBTFUL = (12, 4, 2, 12)  # sensor
ASLEEP = (1, 99)  # parked: it must not empty what it guards

# For the documents' drawing and the tests: every rhythm, and what it says.
RHYTHMS = (
    ("charging", RUNS_WELL),
    ("marginal", FALLS_SHORT),
    ("discharging", DRAINS),
    ("overcharge", TOO_HIGH),
    ("sensor", DOUBTFUL),
    ("weak crank, low at rest", WEAK_BATTERY),
    ("rest, crank, no verdict", WAITING),
    ("asleep", ASLEEP),
)

_OF_WARNING = {
    WARN_OVERCHARGE: TOO_HIGH,
    WARN_DISCHARGING: DRAINS,
    WARN_SENSOR: DOUBTFUL,
    WARN_WEAK_CRANK: WEAK_BATTERY,
    WARN_LOW_REST: WEAK_BATTERY,
    WARN_MARGINAL: FALLS_SHORT,
}

# The buzzer's, each sounded once.
_GRAVE = WARN_OVERCHARGE | WARN_DISCHARGING
_SOUND_TOO_HIGH = (2, 2, 2, 2, 2)
_SOUND_DRAINS = (6, 3, 6)
_CALM_MS = const(60000)  # a grave warning that comes back sooner is still the same one


def rhythm(state: int, warnings: int) -> tuple:
    """What the lamp says: the gravest warning, else the state."""
    bit = verdict.gravest(warnings)
    if bit:
        return _OF_WARNING[bit]
    return RUNS_WELL if state == CHARGING else WAITING


def length(rhythm: tuple) -> int:
    """Of one round [tenths of a second]."""
    total = 0
    for part in rhythm:
        total += part
    return total


def level(rhythm: tuple, at: int) -> int:
    """1 or 0: on or off, `at` tenths of a second after the beginning of one round."""
    lit = 0
    for part in rhythm:
        lit ^= 1
        if at < part:
            return lit
        at -= part
    return 0


class _Output:
    """A pin that is written only when it changes; pin None where nothing is fitted."""

    def __init__(self, pin):
        self._pin = pin
        self._level = -1
        self.write(0)

    def write(self, level):
        if self._pin is not None and level != self._level:
            self._pin.value(level)
            self._level = level


class Lamp:
    """Repeats one rhythm until it is given another, which begins at once. However long the ticks
    of a sleeping board, the first flash of a round is not stepped over."""

    def __init__(self, pin):
        self._output = _Output(pin)
        self._rhythm: "tuple" = NOTHING
        self._at_ms = 0

    def step(self, rhythm: tuple, dt_ms: int):
        if rhythm is not self._rhythm:
            self._rhythm = rhythm
            self._at_ms = 0
            self._output.write(level(rhythm, 0))
        elif rhythm:
            at_ms = (self._at_ms + dt_ms) % (length(rhythm) * _UNIT_MS)
            self._output.write(1 if at_ms < self._at_ms else level(rhythm, at_ms // _UNIT_MS))
            self._at_ms = at_ms


class Buzzer:
    """Sounds once when overcharge or discharging begins. Silent until both have been gone for a
    minute, but that overcharge is said in a discharge, and the other way round."""

    def __init__(self, pin):
        self._output = _Output(pin)
        self._said = 0
        self._calm_ms = 0
        self._rhythm: "tuple" = NOTHING
        self._at_ms = 0

    def step(self, warnings: int, dt_ms: int):
        grave = warnings & _GRAVE
        self._calm_ms = 0 if grave else min(self._calm_ms + dt_ms, _CALM_MS)
        if self._calm_ms >= _CALM_MS:
            self._said = 0
        self._at_ms = min(self._at_ms + dt_ms, _CALM_MS)
        begun = grave & ~self._said
        if begun:
            self._said |= grave
            self._rhythm = _SOUND_TOO_HIGH if begun & WARN_OVERCHARGE else _SOUND_DRAINS
            self._at_ms = 0
        self._output.write(level(self._rhythm, self._at_ms // _UNIT_MS))

    def silence(self):
        self._rhythm = NOTHING
        self._output.write(0)
