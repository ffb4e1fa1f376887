"""The charge ledger of one drive: what the battery gave, what it got, how long it was low.

With a clamp the charge is counted in mA s; whole amp-seconds are carried apart, so that a drive
of days stays below 2**30. Without one only the time below the discharging threshold is known.
"""

from chargecore.engine import REST, UNKNOWN
from chargecore.units import ABSENT


class Ledger:
    """`out_as`, `in_as`: whole amp-seconds out of and into the battery; `low_s`: whole seconds
    below the discharging threshold with the engine not at rest. The `_mas`, `_ms` beside them
    are the remainders."""

    def __init__(self):
        self.reset()

    def reset(self):
        """Begin a drive."""
        self.out_as = self.out_mas = 0
        self.in_as = self.in_mas = 0
        self.low_s = self.low_ms = 0

    def add(self, dt_ms: int, bus_mv: int, clamp_ma: int, state: int, discharging_mv: int):
        """Count one row of `dt_ms` (at most 5 s: a longer hole counts nothing)."""
        if dt_ms > 5000:
            return
        if clamp_ma != ABSENT:
            # clamp_ma * dt_ms // 1000, split: 500 A for 3 s would be beyond 2**30.
            charge_mas = clamp_ma // 1000 * dt_ms + clamp_ma % 1000 * dt_ms // 1000
            if charge_mas < 0:
                self.out_mas -= charge_mas
                self.out_as += self.out_mas // 1000
                self.out_mas %= 1000
            else:
                self.in_mas += charge_mas
                self.in_as += self.in_mas // 1000
                self.in_mas %= 1000
        if bus_mv != ABSENT and bus_mv < discharging_mv and state != REST and state != UNKNOWN:
            self.low_ms += dt_ms
            self.low_s += self.low_ms // 1000
            self.low_ms %= 1000

    def deficit_as(self) -> int:
        """Charge taken and not yet put back [A s], 0 if more came in than went out."""
        return max(0, self.out_as - self.in_as)
