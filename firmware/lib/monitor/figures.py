"""Letters and figures in three sizes, drawn digit by digit: no string is ever made.

The framebuffer's own 8x8 font; the same at twice its height; seven-segment figures. A quantity
that is ABSENT is drawn as dashes.
"""

from array import array

import framebuf

from chargecore.shim import const
from chargecore.units import ABSENT

HIGHEST_A = const(9999)
LONGEST_S = const(59999)  # 999:59
LETTER = const(8)  # width of a letter and of a digit of the font [pixels]
_WIDTH = const(128)
_DIGITS = ("0", "1", "2", "3", "4", "5", "6", "7", "8", "9")

# A column of eight pixels, each made two.
_STRETCHED = array("H", [sum([3 << 2 * bit for bit in range(8) if column >> bit & 1]) for column in range(256)])

# Bits: top, upper right, lower right, bottom, lower left, upper left, middle. The last is a dash.
_SEGMENTS = b"\x3f\x06\x5b\x4f\x66\x6d\x7d\x07\x7f\x6f\x40"
DASH = const(10)

# Sizes of figures: (width, height, thickness of a segment) [pixels].
LARGE = (18, 32, 4)
MEDIUM = (14, 24, 3)


def number(frame, value: int, right: int, y: int, places: int = 0) -> int:
    """Draw `value`, not negative, with its last `places` digits behind the point, to the left of
    x = `right`. Returns the x at which it begins."""
    if value == ABSENT:
        frame.text("--", right - 2 * LETTER, y, 1)
        return right - 2 * LETTER
    while value or places >= 0:
        right -= LETTER
        frame.text(_DIGITS[value % 10], right, y, 1)
        value //= 10
        places -= 1
        if places == 0:
            right -= LETTER
            frame.text(".", right, y, 1)
    return right


def volts(frame, bus_mv: int, right: int, y: int) -> int:
    """Draw volts with tenths; as `number`."""
    if bus_mv == ABSENT:
        return number(frame, ABSENT, right, y)
    return number(frame, tenths(bus_mv), right, y, 1)


def amps(frame, clamp_ma: int, right: int, y: int) -> int:
    """Draw whole amps with a sign; as `number`."""
    if clamp_ma == ABSENT:
        return number(frame, ABSENT, right, y)
    x = number(frame, min((abs(clamp_ma) + 500) // 1000, HIGHEST_A), right, y)
    if clamp_ma <= -500 or clamp_ma >= 500:
        x -= LETTER
        frame.text("-" if clamp_ma < 0 else "+", x, y, 1)
    return x


def charge(frame, charge_as: int, right: int, y: int) -> int:
    """Draw a charge [A s] as ampere-hours, in at most four letters; as `number`."""
    if charge_as == ABSENT:
        return number(frame, ABSENT, right, y)
    hundredths = charge_as // 36
    if hundredths < 1000:
        return number(frame, hundredths, right, y, 2)
    if hundredths < 10000:
        return number(frame, hundredths // 10, right, y, 1)
    return number(frame, min(hundredths // 100, 9999), right, y)


def minutes(frame, seconds: int, right: int, y: int) -> int:
    """Draw a time as minutes:seconds, in at most six letters; as `number`."""
    if seconds == ABSENT:
        return number(frame, ABSENT, right, y)
    seconds = min(seconds, LONGEST_S)
    frame.text(_DIGITS[seconds % 10], right - 8, y, 1)
    frame.text(_DIGITS[seconds // 10 % 6], right - 16, y, 1)
    frame.text(":", right - 24, y, 1)
    return number(frame, seconds // 60, right - 24, y)


def tenths(thousandths: int) -> int:
    """Rounded, and never negative: a bus below its own ground shows as 0."""
    return (max(thousandths, 0) + 50) // 100


class _Whole:
    def __getitem__(self, everything):
        return everything


# `[:]`, made once: a slice made in a drawing would allocate.
WHOLE = _Whole()[:]
_DARK_LINE = bytes(_WIDTH)


class Tall:
    """A line of the font at twice its height: draw on `line`, then `put` it on `frame`."""

    def __init__(self, frame):
        self._low = bytearray(_WIDTH)
        self.line = framebuf.FrameBuffer(self._low, _WIDTH, 8, framebuf.MONO_VLSB)
        self._view = memoryview(frame)

    def put(self, y: int, left: int = 0, right: int = _WIDTH):
        """Move the line's columns from `left` up to `right` to rows y to y + 15: lit where it is dark
        there, dark where it is lit."""
        # The longest loop of a drawing: names of its own, for a board looks each other one up anew, and
        # nothing done for the columns between the letters.
        low, view = self._low, self._view
        stretched, shift = _STRETCHED, y & 7
        at = (y >> 3) * _WIDTH + left
        for x in range(left, right):
            column = low[x]
            if column:
                tall = stretched[column] << shift
                view[at] ^= tall & 255
                view[at + 128] ^= tall >> 8 & 255
                if shift:
                    view[at + 256] ^= tall >> 16
            at += 1
        low[WHOLE] = _DARK_LINE


def figure(frame, value: int, x: int, y: int, size: tuple):
    """Draw one seven-segment figure, 0 to 9 or DASH, with its upper left corner at x, y."""
    width, height, thick = size
    lit = _SEGMENTS[value]
    bevel = thick // 2
    if lit & 1:
        frame.fill_rect(x + bevel, y, width - 2 * bevel, thick, 1)
    if lit & 64:
        frame.fill_rect(x + bevel, y + (height - thick) // 2, width - 2 * bevel, thick, 1)
    if lit & 8:
        frame.fill_rect(x + bevel, y + height - thick, width - 2 * bevel, thick, 1)
    half = height // 2 - bevel
    if lit & 2:
        frame.fill_rect(x + width - thick, y + bevel, thick, half, 1)
    if lit & 4:
        frame.fill_rect(x + width - thick, y + height // 2, thick, half, 1)
    if lit & 16:
        frame.fill_rect(x, y + height // 2, thick, half, 1)
    if lit & 32:
        frame.fill_rect(x, y + bevel, thick, half, 1)


def battery(frame, clamp_ma: int, x: int, y: int):
    """A battery, 12 by 12 pixels, with an arrow of 14 beside it: into it, or out of it. Shape,
    not sign alone, tells which; below half an ampere there is no arrow."""
    frame.rect(x, y + 2, 12, 10, 1)
    frame.fill_rect(x + 2, y, 2, 2, 1)
    frame.fill_rect(x + 8, y, 2, 2, 1)
    if clamp_ma == ABSENT or -500 < clamp_ma < 500:
        return
    frame.hline(x + 16, y + 7, 14, 1)
    for step in range(1, 4):
        frame.vline(x + 16 + step if clamp_ma > 0 else x + 29 - step, y + 7 - step, 2 * step + 1, 1)
