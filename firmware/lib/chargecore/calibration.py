"""Converter codes to `bus_mv` and `clamp_ma`.

Both channels are straight lines, `(code - zero) * gain`, in integers that stay below 2**30:

* bus:   `bus_gain_nv`   nanovolts at the bus per code (a code is 1/16 of a 12-bit step)
* clamp: `clamp_gain_ua` microamps per code, negative if the clamp faces the other way;
  positive current charges the battery

A code outside the converter's range, or pinned to the end of it, is no reading: `ABSENT`. The
one exception is the bus at its upper end, which is reported as it stands: the volts are at
least that high, and hiding an overcharge would be the worse mistake.
"""

from chargecore.shim import const
from chargecore.units import ABSENT, CODE_MAX

# Closer to an end than this and the converter no longer follows its input (4 steps of 12 bits).
_RAIL = const(64)

# Nominal divider: 18.2 V at full scale keeps the converter's four wide codes at 2.3, 6.8, 11.4
# and 15.9 V, away from the volts that matter. 18.2 V / 65520 codes = 277.8 uV.
NOMINAL_BUS_GAIN_NV = const(277778)

# Nominal clamp: 20 mV/A around 2.5 V, brought to the converter's 3.3 V by 0.66: 3.816 mA a code.
NOMINAL_CLAMP_GAIN_UA = const(3816)
NOMINAL_CLAMP_ZERO = const(32760)

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
        self.bus_zero = 0
        self.bus_gain_nv = NOMINAL_BUS_GAIN_NV
        self.clamp_fitted = 0
        self.clamp_zero = NOMINAL_CLAMP_ZERO
        self.clamp_gain_ua = NOMINAL_CLAMP_GAIN_UA

    def bus_mv(self, code: int) -> int:
        """Bus volts [mV] for a code, or ABSENT."""
        if code < _RAIL or code > 65535:
            return ABSENT
        code -= self.bus_zero
        # The product of a 17-bit code and a 20-bit gain would be boxed on the board, so the
        # code is split; what is left counts 256 nV, and 15625 of those are 4 mV.
        gain = self.bus_gain_nv
        scaled = (code >> 8) * gain + ((code & 255) * gain >> 8)
        return (scaled * 4 + 7812) // 15625

    def clamp_ma(self, code: int) -> int:
        """Battery current [mA], positive when charging, or ABSENT (not fitted, or pinned)."""
        if not self.clamp_fitted or code < _RAIL or code > CODE_MAX - _RAIL:
            return ABSENT
        return ((code - self.clamp_zero) * self.clamp_gain_ua + 500) // 1000


def check(values: dict) -> str:
    """'' if `values` (name to integer) is a usable calibration, else one line saying why not."""
    for name, lowest, highest in FIELDS:
        value = values.get(name)
        if not isinstance(value, int) or not lowest <= value <= highest:
            return "%s is %r: must be a whole number from %d to %d" % (name, value, lowest, highest)
    if values["clamp_gain_ua"] == 0:
        return "clamp_gain_ua is 0: a clamp needs a gain; for no clamp set clamp_fitted to 0"
    return ""
