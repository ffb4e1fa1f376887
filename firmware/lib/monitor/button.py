"""The one button, read at each tick."""

from chargecore.shim import const

# A contact settles within some 20 ms (common practice, no source), so a reading is false at most
# once. Released for two ticks of 100 ms, or for one of a sleeping board's, it may be pressed anew.
_RELEASED_MS = const(200)


class Button:
    """`pin.value()` is 0 while pressed; pin None where no button is fitted."""

    def __init__(self, pin):
        self._pin = pin
        self._released_ms = 0  # held from before the start, it has not been pressed for us

    def step(self, dt_ms: int) -> bool:
        """True at the tick that first sees a press, whatever its length."""
        if self._pin is None:
            return False
        if self._pin.value():
            self._released_ms = min(self._released_ms + dt_ms, _RELEASED_MS)
            return False
        pressed = self._released_ms >= _RELEASED_MS
        self._released_ms = 0
        return pressed
