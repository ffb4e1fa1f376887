"""What is to be said of a verdict: its word, and which of several warnings is the gravest.

Panel, lamp and buzzer all ask here, so that they never disagree.
"""

from chargecore.engine import (
    STATE_NAMES,
    WARN_DISCHARGING,
    WARN_LOW_REST,
    WARN_MARGINAL,
    WARN_OVERCHARGE,
    WARN_SENSOR,
    WARN_WEAK_CRANK,
)

_STATE_WORDS = tuple([name.upper() for name in STATE_NAMES])

# The gravest first. At most 13 letters: a line holds 16, and " +1" may follow.
WARNING_WORDS = (
    (WARN_OVERCHARGE, "OVERCHARGE"),
    (WARN_DISCHARGING, "DISCHARGING"),
    (WARN_SENSOR, "CHECK SENSORS"),
    (WARN_WEAK_CRANK, "WEAK CRANK"),
    (WARN_LOW_REST, "BATTERY LOW"),
    (WARN_MARGINAL, "MARGINAL"),
)


def gravest(warnings: int) -> int:
    """The bit of the gravest warning, 0 if there is none."""
    for bit, _ in WARNING_WORDS:
        if warnings & bit:
            return bit
    return 0


def word(state: int, warnings: int) -> str:
    """The gravest warning, else the state."""
    for bit, text in WARNING_WORDS:
        if warnings & bit:
            return text
    return _STATE_WORDS[state]


def others(warnings: int) -> int:
    """How many warnings stand behind the gravest."""
    count = -1
    for bit, _ in WARNING_WORDS:
        if warnings & bit:
            count += 1
    return max(count, 0)
