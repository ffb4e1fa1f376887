"""Every setting once, in words: chargecore's names and limits with their units and meanings."""

from dataclasses import dataclass

from chargecore import calibration, options, thresholds

PARTS = ("thresholds", "options", "pins", "calibration")

_UNITS = (
    ("_nv", "nV a code"),
    ("_ua", "µA a code"),
    ("_mv", "mV"),
    ("_ma", "mA"),
    ("_ms", "ms"),
    ("_s", "s"),
)

_MEANINGS = {
    "thresholds": {
        "overcharge_mv": "above: overcharge",
        "healthy_mv": "charging volts that a battery alone cannot hold up",
        "marginal_mv": "below, with the engine running: marginal",
        "discharging_mv": "below, with the engine running and no clamp: discharging",
        "low_rest_mv": "at rest below this for a minute: low at rest",
        "empty_mv": "a current into the battery below this is a contradiction",
        "crank_mv": "below, after a fall of crank_drop_mv: crank",
        "crank_drop_mv": "how far the volts must fall to be a crank",
        "weak_crank_mv": "not held while cranking: weak crank",
        "hysteresis_mv": "how far back the volts must go to leave a verdict; smaller than every gap between volts",
        "still_mv": "a row that moves no more than this is still",
        "clamp_dead_ma": "a smaller current has no sign",
        "discharging_ms": "dwell before discharging",
        "overcharge_ms": "dwell before overcharge",
        "marginal_ms": "dwell before marginal",
        "charging_ms": "dwell before charging",
        "clear_ms": "dwell before a warning's verdict is left",
        "rest_ms": "stillness that means rest",
        "sensor_ms": "contradiction, or no volts, for so long: sensor",
    },
    "options": {
        "hidden": "1: the panel stays dark until the button is pressed",
        "show_s": "how long a press lights a hidden panel",
        "contrast": "the panel's brightness",
        "dim_contrast": "the dimmed panel's brightness; not above contrast",
        "dim_after_s": "dim so long after the last press; 0: never",
        "dim_feed": "1: the panel lamps' feed is wired, dim while they are lit",
        "lamp": "1: the warning lamp is fitted",
        "buzzer": "1: the buzzer is fitted",
        "ignition": "1: the ignition sense is wired",
        "cutoff_mv": "parked below this the board stops writing and sleeps; 0: never, else from 11000",
        "clamp_supply": "the code of the clamp sensor's supply at its calibration; 0: not measured",
        "supply_mv": "below this the board's own supply is about to go: rows are committed at once",
    },
    "pins": {
        "bus": "bus volts, an analogue input: 26, 27 or 28",
        "clamp": "clamp sensor, an analogue input: 26, 27 or 28",
        "sda": "display, data; even",
        "scl": "display, clock; the number after sda",
        "button": "to ground when pressed",
        "lamp": "warning lamp",
        "buzzer": "buzzer",
        "ignition": "high with the key on",
        "dim": "high while the panel lamps are lit",
    },
    "calibration": {
        "bus_zero": "the bus channel's code at 0 V",
        "bus_gain_nv": "nanovolts at the bus for each code",
        "clamp_fitted": "1: a clamp is fitted",
        "clamp_zero": "the clamp channel's code at 0 A",
        "clamp_gain_ua": "microamps for each code; negative if the clamp faces the other way; not 0",
    },
}


@dataclass(frozen=True)
class Field:
    """One setting: where it belongs, what it may be (whole numbers, in `unit`), what it means."""

    part: str
    name: str
    default: int
    lowest: int
    highest: int
    unit: str
    meaning: str

    @property
    def range(self) -> str:
        if self.part == "pins":
            return "0 to 22 or 26 to 28"
        return "0 or 1" if (self.lowest, self.highest) == (0, 1) else f"{self.lowest} to {self.highest}"


def _unit(part: str, name: str) -> str:
    if part == "pins":
        return "GPIO"
    return next((unit for suffix, unit in _UNITS if name.endswith(suffix)), "")


def _fields() -> dict[str, dict[str, Field]]:
    nominal = vars(calibration.Calibration())
    limits: dict[str, list[tuple[str, int, int, int]]] = {
        "thresholds": list(thresholds.FIELDS),
        "options": list(options.FIELDS),
        "pins": [(name, number, 0, 28) for name, number in options.PINS],
        "calibration": [(name, nominal[name], lowest, highest) for name, lowest, highest in calibration.FIELDS],
    }
    return {
        part: {
            name: Field(part, name, default, lowest, highest, _unit(part, name), _MEANINGS[part][name])
            for name, default, lowest, highest in limits[part]
        }
        for part in PARTS
    }


FIELDS = _fields()


def defaults() -> dict[str, dict[str, int]]:
    """Part to name to value, all as a new board has them."""
    return {part: {name: field.default for name, field in fields.items()} for part, fields in FIELDS.items()}


def problems_in(values: dict[str, dict[str, int]]) -> list[str]:
    """What keeps a whole set from being in force, at most one line for each part: the board's own checks."""
    found = (
        thresholds.check(values["thresholds"]),
        options.check(values["options"]),
        options.check_pins(values["pins"]),
        calibration.check(values["calibration"]),
    )
    return [problem for problem in found if problem]
