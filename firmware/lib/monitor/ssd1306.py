"""A 128x64 monochrome display behind an I2C controller of the SSD1306 kind."""

import framebuf

from chargecore.shim import const

WIDTH = const(128)
HEIGHT = const(64)
_ADDRESS = const(0x3C)

# Off, clock, multiplex 64, no offset, start line 0, charge pump, horizontal addressing, both
# axes mirrored (cable at the top), pin layout, contrast, precharge, deselect level, show RAM,
# not inverted, on.
_START = b"\x00\xae\xd5\x80\xa8\x3f\xd3\x00\x40\x8d\x14\x20\x00\xa1\xc8\xda\x12\x81\xcf\xd9\xf1\xdb\x40\xa4\xa6\xaf"
_WHOLE = b"\x00\x21\x00\x7f\x22\x00\x07"  # columns 0 to 127, pages 0 to 7


class Display:
    """`frame` is the framebuf to draw on; `show` sends it. OSError if nothing answers."""

    def __init__(self, i2c):
        self._i2c = i2c
        # One control byte in front, so that the frame goes out in a single transfer.
        self._message = bytearray(1 + WIDTH * HEIGHT // 8)
        self._message[0] = 0x40
        self.frame = framebuf.FrameBuffer(memoryview(self._message)[1:], WIDTH, HEIGHT, framebuf.MONO_VLSB)
        i2c.writeto(_ADDRESS, _START)

    def show(self):
        self._i2c.writeto(_ADDRESS, _WHOLE)
        self._i2c.writeto(_ADDRESS, self._message)
