"""What the values mean for the firmware: full scale, source resistance, the constants it starts with.

A reading u (chargecore.calibration: sixteenths of a 12-bit step, wide codes unfolded) of a pin at the
fraction x of the converter's reference is u = SPAN x + ZERO.
"""

from dataclasses import dataclass

from chargecore.calibration import UNFOLDED_MAX
from underdash.frontend.parts import GROUND, Part, Values
from underdash.problems import UsageError

SPAN = float(UNFOLDED_MAX)
# Steps of 12 bits between an ideal converter and a real one at the lower end: mean of five chips
# (11.1 to 16.8; github.com/kitanokitsune/rp2040adc_correction at 61898dd, docs/check-values.md).
TYPICAL_OFFSET = 14.0
# What USB, or the regulator, leave of 5 V behind a Schottky diode (common practice, no source).
SUPPLY_VOLTS = 4.7


@dataclass(frozen=True)
class Constants:
    """What the firmware takes for true until it is calibrated, and what it comes from.

    reference [V]: of the converter. full_scale [V]: bus volts at the end of its range. source_ohms:
    what the converter sees. clamp_supply [V], clamp_volts_per_amp [V/A at the pin], clamp_pin_volts
    [V at the pin and 0 A].
    """

    reference: float
    full_scale: float
    source_ohms: float
    clamp_supply: float
    clamp_volts_per_amp: float
    clamp_pin_volts: float

    @property
    def bus_zero(self) -> int:
        """Reading at 0 V."""
        return round(TYPICAL_OFFSET * 16)

    @property
    def bus_gain_nv(self) -> int:
        return round(self.full_scale * 1e9 / SPAN)

    @property
    def clamp_zero(self) -> int:
        """Reading at 0 A."""
        return round(self.clamp_pin_volts / self.reference * SPAN) + self.bus_zero

    @property
    def clamp_gain_ua(self) -> int:
        return round(self.reference / self.clamp_volts_per_amp * 1e6 / SPAN)


def constants(values: Values) -> Constants:
    """The constants of a front end. UsageError if its board or its divider is missing."""
    references = [part for part in values.present() if part.kind == "reference"]
    board = only(values, "board")
    reference = references[0]["output_volts"] if references else board["v3_volts"] - board["vref_drop_volts"]
    upper = arm(values, "fused", "sensed") + arm(values, "sensed", "bus_mid")
    lower = arm(values, "bus_mid", GROUND)
    full_scale = reference * (upper + lower) / lower
    source = upper * lower / (upper + lower)
    # A board without the sensor has its constants too: it may be fitted later.
    whole = values.with_options((*values.fitted, "clamp"))
    clamp = only(whole, "clamp")
    share = arm(whole, "clamp_mid", GROUND)
    share /= share + arm(whole, "clamp_out", "clamp_mid")
    supply = SUPPLY_VOLTS - arm(whole, "vsys", "clamp_supply") * clamp["load_amps"]
    per_amp = clamp["volts_per_amp"] * supply / clamp["supply_volts"] * share
    return Constants(reference, full_scale, source, supply, per_amp, supply / 2 * share)


def only(values: Values, kind: str) -> Part:
    """The one part of a kind."""
    found = [part for part in values.present() if part.kind == kind]
    if len(found) != 1:
        raise UsageError(f"{values.path}: has {len(found)} parts of kind {kind}; needs 1")
    return found[0]


def arm(values: Values, begin: str, end: str) -> float:
    """Resistance [ohm] of the resistors between two neighbouring nodes, in parallel if several."""
    found = values.between("resistor", begin, end)
    if not found:
        raise UsageError(f"{values.path}: has no resistor between {begin} and {end}; the front end needs one")
    return 1 / sum(1 / part["ohms"] for part in found)


def nominal_module(values: Values) -> str:
    """The source of chargecore/nominal.py."""
    found = constants(values)
    return f'''"""What a board starts from until it is calibrated. Made from hardware/values.toml by `make hardware`."""

from chargecore.shim import const

BUS_ZERO = const({found.bus_zero})
BUS_GAIN_NV = const({found.bus_gain_nv})  # {found.full_scale:.3f} V at full scale
CLAMP_ZERO = const({found.clamp_zero})  # {found.clamp_pin_volts:.3f} V at the pin
CLAMP_GAIN_UA = const({found.clamp_gain_ua})  # {found.clamp_volts_per_amp * 1000:.2f} mV/A at the pin
'''
