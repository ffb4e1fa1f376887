"""Converter codes to `bus_mv` and `clamp_ma`.

A code, in 1/16 of a 12-bit step, is first unfolded: the converter of this chip makes four of its
codes some nine steps wide (erratum E11), so above each of them it reads too low by what the width
swallowed. What was unfolded then goes through a straight line, `(reading - zero) * gain`, in
integers that stay below 2**30:

* bus:   `bus_gain_nv`   nanovolts at the bus for each sixteenth of a step
* clamp: `clamp_gain_ua` microamps, negative if the clamp faces the other way; positive current
  charges the battery

A code outside the converter's range, or pinned to the end of it, is no reading: `ABSENT`. The
one exception is the bus at its upper end, which is reported as it stands: the volts are at
least that high, and hiding an overcharge would be the worse mistake.
"""

from chargecore import nominal
from chargecore.shim import const
from chargecore.units import ABSENT, CODE_MAX

# Closer to an end than this and the converter no longer follows its input (4 steps of 12 bits).
_RAIL = const(64)

# The wide codes are 511, 1535, 2559 and 3583, wider than the others by 8.64 steps in the mean of
# five chips (github.com/kitanokitsune/rp2040adc_correction at 61898dd; see docs/calibration.md).
# The mean of many readings crosses such a code between half a step below it and half a step above.
_FIRST_WIDE = const(511 * 16 - 8)
_WIDTH = const(138)
UNFOLDED_MAX = const(66072)  # CODE_MAX and four widths


def unfold(code: int) -> int:
    """A code [1/16 steps] as a converter without wide codes would have read it."""
    above = code - _FIRST_WIDE
    if above < 0:
        return code
    within = above & 16383
    return code + (above >> 14) * _WIDTH + (_WIDTH if within >= 16 else within * _WIDTH >> 4)


# (name, lowest, highest) of each stored value; the same order in the journal's header.
FIELDS = (
    ("bus_zero", -4096, 4096),
    ("bus_gain_nv", 100000, 900000),
    ("clamp_fitted", 0, 1),
    ("clamp_zero", 0, CODE_MAX),
    ("clamp_gain_ua", -16000, 16000),
)


class Calibration:
    """One board's two lines. Starts at the nominal values; `clamp_fitted` is 0 or 1."""

    def __init__(self):
        self.bus_zero = nominal.BUS_ZERO
        self.bus_gain_nv = nominal.BUS_GAIN_NV
        self.clamp_fitted = 0
        self.clamp_zero = nominal.CLAMP_ZERO
        self.clamp_gain_ua = nominal.CLAMP_GAIN_UA

    def bus_mv(self, code: int) -> int:
        """Bus volts [mV] for a code, or ABSENT."""
        if code < _RAIL or code > 65535:
            return ABSENT
        code = unfold(code) - self.bus_zero
        # The product of a 17-bit code and a 20-bit gain would be boxed on the board, so the
        # code is split; what is left counts 256 nV, and 15625 of those are 4 mV.
        gain = self.bus_gain_nv
        scaled = (code >> 8) * gain + ((code & 255) * gain >> 8)
        return (scaled * 4 + 7812) // 15625

    def clamp_ma(self, code: int, supply_code: int = 0, calibrated_code: int = 0) -> int:
        """Battery current [mA], positive when charging, or ABSENT (not fitted, or pinned).

        A ratiometric sensor's signal is in proportion to its supply: `supply_code` is that supply's
        now, `calibrated_code` what it was at the calibration, 0 if it is not measured. A supply that
        is an eighth off, as in a crank, is none that the sensor works from: ABSENT.
        """
        if not self.clamp_fitted or code < _RAIL or code > CODE_MAX - _RAIL:
            return ABSENT
        reading = unfold(code)
        if calibrated_code:
            supply = unfold(supply_code) - self.bus_zero
            missing = unfold(calibrated_code) - self.bus_zero - supply
            if supply <= 0 or abs(missing) > supply >> 3:
                return ABSENT
            # The converter's zero is the same at each of its inputs.
            reading += (reading - self.bus_zero) * missing // supply
            reading = min(max(reading, 0), UNFOLDED_MAX)  # so that the product below stays small
        return ((reading - self.clamp_zero) * self.clamp_gain_ua + 500) // 1000


def check(values: dict) -> str:
    """'' if `values` (name to integer) is a usable calibration, else one line saying why not."""
    for name, lowest, highest in FIELDS:
        value = values.get(name)
        if not isinstance(value, int) or not lowest <= value <= highest:
            return "%s is %r: must be a whole number from %d to %d" % (name, value, lowest, highest)
    if values["clamp_gain_ua"] == 0:
        return "clamp_gain_ua is 0: a clamp needs a gain; for no clamp set clamp_fitted to 0"
    return ""
