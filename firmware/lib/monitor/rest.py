"""When a parked board may sleep between samples, and when it must stop writing to spare the battery.

A board that watches a parked car is a drain itself. It sleeps once the car has been at rest and
still for a while; whatever stirs (a door's lamp, a starter, a charger, the key, a finger on the
button) wakes it with the very sample that shows it.
"""

from chargecore.engine import REST
from chargecore.shim import const
from chargecore.units import ABSENT

_STILL_MS = const(30000)  # awake so long after the last stir
_CUTOFF_MS = const(60000)
_RECOVERED_MV = const(300)  # so far above the cut-off a battery is being charged


class Rest:
    """After `follow`: `sleeping`, and `saving` where the battery is below its cut-off too."""

    def __init__(self, thresholds, options):
        self._thresholds = thresholds
        self._options = options
        self.sleeping = 0
        self.saving = 0
        self._last_mv = ABSENT
        self._still_ms = self._low_ms = 0

    def follow(self, dt_ms: int, bus_mv: int, clamp_ma: int, state: int, key: int, watched: bool):
        """Take a sample, `dt_ms` after the one before it. `watched`: somebody looks at the panel,
        or a host talks; that keeps a board awake, but is no reason to write."""
        stirred = state != REST or key == 1 or self._stirs(bus_mv, clamp_ma)
        self._last_mv = bus_mv
        if stirred or watched:
            self._still_ms = 0
            self.sleeping = 0
        elif self._still_ms < _STILL_MS:
            self._still_ms += dt_ms
        else:
            self.sleeping = 1
        cutoff_mv = self._options.cutoff_mv
        if state != REST or bus_mv == ABSENT or bus_mv >= cutoff_mv:
            self._low_ms = 0
        elif self._low_ms < _CUTOFF_MS:
            self._low_ms += dt_ms
        if stirred or bus_mv == ABSENT or bus_mv >= cutoff_mv + _RECOVERED_MV:
            self.saving = 0
        elif self.sleeping and self._low_ms >= _CUTOFF_MS:
            self.saving = 1

    def _stirs(self, bus_mv, clamp_ma) -> bool:
        th = self._thresholds
        last_mv = self._last_mv
        if bus_mv == ABSENT or last_mv == ABSENT:
            return bus_mv != last_mv
        if clamp_ma != ABSENT and not -th.clamp_dead_ma <= clamp_ma <= th.clamp_dead_ma:
            return True
        return bus_mv >= th.marginal_mv or not -th.still_mv <= bus_mv - last_mv <= th.still_mv
