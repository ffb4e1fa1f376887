"""The last minute of volts, a second a point."""

from array import array

from chargecore.shim import const
from chargecore.units import ABSENT

SECONDS = const(60)
LOW_MV = const(12000)  # the scale's ends: what lies beyond is drawn on them
HIGH_MV = const(15000)
_TOP_MV = const(32000)
_NO_POINT = const(-1)


class Trace:
    def __init__(self):
        self._points = array("h", [_NO_POINT] * SECONDS)
        self._newest = 0

    def push(self, bus_mv: int):
        """A second has passed."""
        self._newest = (self._newest + 1) % SECONDS
        self._points[self._newest] = _NO_POINT if bus_mv == ABSENT else min(max(bus_mv, 0), _TOP_MV)

    def lowest_mv(self) -> int:
        """ABSENT if nothing was measured."""
        lowest = ABSENT
        for value in self._points:
            if value != _NO_POINT and (lowest == ABSENT or value < lowest):
                lowest = value
        return lowest

    def highest_mv(self) -> int:
        """ABSENT if nothing was measured."""
        highest = max(self._points)
        return ABSENT if highest == _NO_POINT else highest

    def draw(self, frame, x: int, y: int, width: int, height: int):
        """Draw into a box, the newest second at its right edge."""
        points, at = self._points, self._newest
        across, down = width - 1, height - 1
        last_x = last_y = _NO_POINT
        for index in range(SECONDS):
            at += 1
            if at == SECONDS:
                at = 0
            value = points[at]
            if value == _NO_POINT:
                last_y = _NO_POINT
                continue
            at_x = x + index * across // (SECONDS - 1)
            # As `row`, which a call for each point would make twice as slow.
            if value >= HIGH_MV:
                at_y = y
            elif value <= LOW_MV:
                at_y = y + down
            else:
                at_y = y + (HIGH_MV - value) * down // (HIGH_MV - LOW_MV)
            if last_y == _NO_POINT:
                frame.pixel(at_x, at_y, 1)
            else:
                frame.line(last_x, last_y, at_x, at_y, 1)
            last_x, last_y = at_x, at_y


def row(bus_mv: int, y: int, height: int) -> int:
    """Where these volts lie in a box that begins at `y`."""
    clipped = min(max(bus_mv, LOW_MV), HIGH_MV)
    return y + (HIGH_MV - clipped) * (height - 1) // (HIGH_MV - LOW_MV)
