"""Runs on MicroPython: every page, at every beat, drawn on a frame that lies between two fences."""

import framebuf

from chargecore.thresholds import Thresholds
from monitor.pages import COUNT, Pages
from monitor.view import View

BYTES, FENCE = 128 * 64 // 8, 16384
memory = bytearray(b"\xa5" * (FENCE + BYTES + FENCE))
frame = framebuf.FrameBuffer(memoryview(memory)[FENCE : FENCE + BYTES], 128, 64, framebuf.MONO_VLSB)
view = View()
pages = Pages(frame, view, Thresholds().discharging_mv)
lit = 0
for view.bus_mv, view.clamp_ma, view.warnings in ((14200, 5000, 0), (9999, -200000, 255), (-1, 0, 1)):
    for page in range(COUNT):
        for beat in range(16):
            frame.fill(1)
            pages.draw(page, beat)
            lit += sum(memory[FENCE : FENCE + BYTES])
before, after = set(memory[:FENCE]), set(memory[FENCE + BYTES :])
print("before", before == {0xA5}, "after", after == {0xA5}, "drew", lit > 0)
