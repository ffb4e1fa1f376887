"""How a board shows itself, saves itself and is wired.

The thresholds decide; these do not, so they may change without a word in the journal's header.
"""

# (name, default, lowest, highest)
FIELDS = (
    ("hidden", 0, 0, 1),  # the panel stays dark until the button is pressed; the lamp speaks
    ("show_s", 30, 5, 600),  # how long a press lights a hidden panel
    ("contrast", 207, 1, 255),
    ("dim_contrast", 1, 0, 255),
    ("dim_after_s", 0, 0, 36000),  # dimmed so long after the last press; 0: never
    ("dim_feed", 0, 0, 1),  # the panel lamps' feed is wired: dimmed while they are lit
    ("lamp", 1, 0, 1),
    ("buzzer", 0, 0, 1),
    ("ignition", 0, 0, 1),  # the ignition sense is wired
    # Rested volts of a flooded battery a quarter full (BCI table, docs/check-values.md): below it
    # a parked board stops writing and sleeps. 0: never.
    ("cutoff_mv", 12060, 0, 12600),
    # The board's own supply is about to go (common practice, no source): commit at once.
    ("supply_mv", 8000, 5000, 11000),
    # The code of the clamp sensor's supply when the clamp was calibrated: its signal follows its
    # supply. 0: not measured, the supply is taken to be what it was.
    ("clamp_supply", 0, 0, 65520),
)

# (name, default GPIO number): what a board is wired to unless its settings say otherwise.
PINS = (
    ("bus", 26),  # ADC0, behind the protected divider
    ("clamp", 27),  # ADC1, the clamp sensor's output behind its own divider
    ("sda", 4),
    ("scl", 5),
    ("button", 15),  # to ground when pressed
    ("lamp", 16),
    ("buzzer", 17),
    ("ignition", 18),  # high with the key on
    ("dim", 19),  # high while the panel lamps are lit
)

_ANALOGUE = (26, 27, 28)


class Options:
    """The options in force, one attribute for each name in FIELDS."""

    hidden: int
    show_s: int
    contrast: int
    dim_contrast: int
    dim_after_s: int
    dim_feed: int
    lamp: int
    buzzer: int
    ignition: int
    cutoff_mv: int
    supply_mv: int
    clamp_supply: int

    def __init__(self):
        for name, default, _, _ in FIELDS:
            setattr(self, name, default)


def default_pins() -> dict:
    """Name to GPIO number."""
    return dict(PINS)


def check(values: dict) -> str:
    """'' if `values` (every name in FIELDS to an integer) can be, else one line saying why not."""
    for name, _, lowest, highest in FIELDS:
        value = values.get(name)
        if not isinstance(value, int) or not lowest <= value <= highest:
            return "%s is %r: must be a whole number from %d to %d" % (name, value, lowest, highest)
    if 0 < values["cutoff_mv"] < 11000:
        return "cutoff_mv is %d: must be 0 (never) or from 11000 to 12600" % values["cutoff_mv"]
    if values["dim_contrast"] > values["contrast"]:
        return "dim_contrast (%d) must not exceed contrast (%d)" % (values["dim_contrast"], values["contrast"])
    return ""


def check_pins(values: dict) -> str:
    """'' if a Pico-like board can be wired so, else one line saying why not."""
    taken: "dict[int, str]" = {}
    for name, _ in PINS:
        number = values.get(name)
        if not isinstance(number, int) or not (0 <= number <= 22 or number in _ANALOGUE):
            return "pin %s is %r: must be 0 to 22 or 26 to 28" % (name, number)
        if number in taken:
            return "pins %s and %s are both %d: each needs its own" % (taken[number], name, number)
        taken[number] = name
        if name in ("bus", "clamp") and number not in _ANALOGUE:
            return "pin %s is %d: an analogue input is 26, 27 or 28" % (name, number)
    if values["sda"] % 2 or values["scl"] != values["sda"] + 1:
        return "pins sda and scl are %d and %d: sda must be even, scl the next" % (values["sda"], values["scl"])
    return ""
