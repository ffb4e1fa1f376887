"""What the display shows: volts readable at arm's length, amps, the verdict, the last minute.

+---------------------------+
|  13.8 V        +12 A      |   seven-segment figures, 32 pixels high
|  CHARGING                 |   white on black; black on white and blinking as a warning
|  ~~~~~~~~~\\____/~~~~~~~   |   a second a step, 12 to 15 V; dotted at the discharging limit
+---------------------------+
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
from chargecore.shim import const
from chargecore.units import ABSENT

# Bits: top, upper right, lower right, bottom, lower left, upper left, middle.
_SEGMENTS = b"\x3f\x06\x5b\x4f\x66\x6d\x7d\x07\x7f\x6f"
_DIGITS = ("0", "1", "2", "3", "4", "5", "6", "7", "8", "9")
_STATE_WORDS = tuple([name.upper() for name in STATE_NAMES])

# The gravest first: the panel has room for one.
_WARNINGS = (
    (WARN_OVERCHARGE, "OVERCHARGE"),
    (WARN_DISCHARGING, "DISCHARGING"),
    (WARN_SENSOR, "CHECK SENSORS"),
    (WARN_WEAK_CRANK, "WEAK CRANK"),
    (WARN_LOW_REST, "BATTERY LOW"),
    (WARN_MARGINAL, "MARGINAL"),
)

_TRACE_X = const(4)
_TRACE_Y = const(45)
_TRACE_HEIGHT = const(18)
_TRACE_SECONDS = const(60)
_TRACE_LOW_MV = const(12000)
_TRACE_HIGH_MV = const(15000)
_NO_POINT = const(255)


class Panel:
    """Draws on a framebuffer of 128x64; knows nothing of how it reaches the glass."""

    def __init__(self, frame, discharging_mv: int):
        self._frame = frame
        self._limit_y = self._trace_y(discharging_mv)
        self._trace = bytearray([_NO_POINT] * _TRACE_SECONDS)
        self._newest = 0
        self.notice = ""  # shown in place of the verdict while there is no warning

    def push(self, bus_mv: int):
        """A second has passed: move the trace on."""
        self._newest = (self._newest + 1) % _TRACE_SECONDS
        self._trace[self._newest] = _NO_POINT if bus_mv == ABSENT else self._trace_y(bus_mv)

    def draw(self, bus_mv: int, clamp_ma: int, state: int, warnings: int, blink: bool):
        """Draw everything; `blink` alternates to make a warning stand out."""
        frame = self._frame
        frame.fill(0)
        self._draw_volts(bus_mv)
        if clamp_ma != ABSENT:
            self._draw_amps(clamp_ma)
        word = self.notice or _STATE_WORDS[state]
        for bit, text in _WARNINGS:
            if warnings & bit:
                word = text
                break
        if warnings and blink:
            frame.fill_rect(0, 34, 128, 10, 1)
        frame.text(word, 64 - 4 * len(word), 35, 0 if warnings and blink else 1)
        self._draw_trace()

    def _draw_volts(self, bus_mv):
        if bus_mv == ABSENT:
            self._frame.text("NO VOLTS", 2, 12, 1)
            return
        tenths = (max(bus_mv, 0) + 50) // 100
        if tenths >= 100:
            self._digit(tenths // 100, 0)
        self._digit(tenths // 10 % 10, 22)
        self._frame.fill_rect(44, 28, 4, 4, 1)
        self._digit(tenths % 10, 52)
        self._frame.text("V", 73, 24, 1)

    def _digit(self, value, x):
        lit = _SEGMENTS[value]
        bar = self._frame.fill_rect
        if lit & 1:
            bar(x + 2, 0, 14, 4, 1)
        if lit & 2:
            bar(x + 14, 2, 4, 14, 1)
        if lit & 4:
            bar(x + 14, 16, 4, 14, 1)
        if lit & 8:
            bar(x + 2, 28, 14, 4, 1)
        if lit & 16:
            bar(x, 16, 4, 14, 1)
        if lit & 32:
            bar(x, 2, 4, 14, 1)
        if lit & 64:
            bar(x + 2, 14, 14, 4, 1)

    def _draw_amps(self, clamp_ma):
        frame = self._frame
        amps = (abs(clamp_ma) + 500) // 1000
        x = 111
        frame.text("A", 120, 6, 1)
        while True:
            x -= 8
            frame.text(_DIGITS[amps % 10], x + 8, 6, 1)
            amps //= 10
            if not amps:
                break
        frame.text("-" if clamp_ma <= -500 else "+" if clamp_ma >= 500 else " ", x, 6, 1)
        self._arrow(clamp_ma)

    def _arrow(self, clamp_ma):
        """Into the battery, or out of it: shape, not sign alone."""
        if -500 < clamp_ma < 500:
            return
        self._frame.rect(92, 19, 12, 10, 1)
        self._frame.fill_rect(94, 17, 2, 2, 1)
        self._frame.fill_rect(100, 17, 2, 2, 1)
        self._frame.hline(108, 24, 14, 1)
        tip, back = (108, 1) if clamp_ma > 0 else (121, -1)
        for step in range(1, 4):
            self._frame.vline(tip + back * step, 24 - step, 2 * step + 1, 1)

    @staticmethod
    def _trace_y(bus_mv) -> int:
        clipped = min(max(bus_mv, _TRACE_LOW_MV), _TRACE_HIGH_MV)
        span = _TRACE_HIGH_MV - _TRACE_LOW_MV
        return _TRACE_Y + _TRACE_HEIGHT - (clipped - _TRACE_LOW_MV) * _TRACE_HEIGHT // span

    def _draw_trace(self):
        frame = self._frame
        for x in range(0, 128, 6):
            frame.pixel(x, self._limit_y, 1)
        last = _NO_POINT
        for index in range(_TRACE_SECONDS):
            y = self._trace[(self._newest + 1 + index) % _TRACE_SECONDS]
            x = _TRACE_X + 2 * index
            if y != _NO_POINT:
                frame.line(x - 2 if last != _NO_POINT else x, last if last != _NO_POINT else y, x, y, 1)
            last = y
