"""A 128x64 monochrome display behind an I2C controller of the SSD1306 kind."""

import framebuf

from chargecore.shim import const

WIDTH = const(128)
HEIGHT = const(64)
_ADDRESS = const(0x3C)

# Off, clock, multiplex 64, no offset, start line 0, charge pump, horizontal addressing, both
# axes mirrored (cable at the top), pin layout, precharge, deselect level, show RAM, not inverted.
# It stays off: what its memory holds at power-on is not for anybody's eyes.
_START = b"\x00\xae\xd5\x80\xa8\x3f\xd3\x00\x40\x8d\x14\x20\x00\xa1\xc8\xda\x12\xd9\xf1\xdb\x40\xa4\xa6"
_WHOLE = b"\x00\x21\x00\x7f\x22\x00\x07"  # columns 0 to 127, pages 0 to 7
_ON = b"\x00\xaf"
_OFF = b"\x00\xae"
_UNSET = const(-1)


class Display:
    """`frame` is the framebuf to draw on; `show` sends it. Every method that talks to the
    controller raises OSError if nothing answers; `begin` must come first, and again after that."""

    def __init__(self):
        # One control byte in front, so that the frame goes out in a single transfer.
        self._message = bytearray(1 + WIDTH * HEIGHT // 8)
        self._message[0] = 0x40
        self.frame = framebuf.FrameBuffer(memoryview(self._message)[1:], WIDTH, HEIGHT, framebuf.MONO_VLSB)
        self._contrast_command = bytearray(b"\x00\x81\x00")
        self._i2c = None

    def begin(self, i2c):
        """Set the controller up, dark."""
        self._i2c = i2c
        self._on = False
        self._contrast = _UNSET
        i2c.writeto(_ADDRESS, _START)

    def show(self):
        """Send the frame."""
        self._i2c.writeto(_ADDRESS, _WHOLE)
        self._i2c.writeto(_ADDRESS, self._message)

    def light(self, contrast: int):
        """Lit, with `contrast` from 0 to 255. Nothing is sent if it is so already."""
        if contrast != self._contrast:
            self._contrast_command[2] = contrast
            self._i2c.writeto(_ADDRESS, self._contrast_command)
            self._contrast = contrast
        if not self._on:
            self._i2c.writeto(_ADDRESS, _ON)
            self._on = True

    def dark(self):
        """Off, which also ends the charge pump's drain. Nothing is sent if it is so already."""
        if self._on:
            self._i2c.writeto(_ADDRESS, _OFF)
            self._on = False
