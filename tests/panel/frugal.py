"""Runs on MicroPython: the face lives through changing times with the heap locked.

`frugal.py`: 20,000 ticks with every page, warning, state and press; prints what came about.
`frugal.py spoilt`: the same with a page that makes a string, which must end in a MemoryError.
"""

import gc
import sys

import micropython

from chargecore.engine import STATE_NAMES, WARNING_NAMES
from chargecore.options import Options
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT
from monitor.face import Face
from monitor.view import View

TICKS = 20000


class Pin:
    def __init__(self, level):
        self.level = level
        self.written = 0

    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level
        self.written += 1


class Bus:
    sent = 0

    def writeto(self, address, data):
        self.sent += 1
        return len(data)


bus = Bus()
view, options = View(), Options()
options.buzzer = options.dim_feed = 1
options.hidden, options.show_s, options.dim_after_s = 1, 40, 20
button, lamp, buzzer, dim = Pin(1), Pin(0), Pin(0), Pin(0)
face = Face(view, Thresholds(), options, lambda: bus, button, lamp, buzzer, dim)
pages_seen = bytearray(5)
warnings_seen = bytearray(1 << len(WARNING_NAMES))
states_seen = bytearray(len(STATE_NAMES))
drawn_dark = 0


class Spoilt:
    def __init__(self, pages):
        self._pages = pages
        self.trace = pages.trace

    def draw(self, page, beat):
        self._pages.draw(page, beat)
        str(beat)


def worst(target, step):
    known = step % 5
    target.low_mv = ABSENT if known == 0 else 6000 + step * 37 % 9000
    target.crank_mv = ABSENT if known == 1 else 5000 + step * 41 % 6000
    target.deficit_as = step * step % 2000000 if known == 2 else 0
    target.deficit_s = step * 13 % 90000
    target.length_s = step % 7 * 1000


def live(step):
    """The view at that tick: whatever may stand beside each other, and what may not."""
    view.bus_mv = ABSENT if step % 97 < 9 else step * 53 % 66400 - 3700
    part = step // 211 % 3
    view.clamp_ma = ABSENT if part == 0 else step * 331 % 400000 - 200000 if part == 1 else step * 77 % 4000 - 2000
    view.state = step // 30 % 7
    view.warnings = step // 45 % 64
    view.saving = step // 500 % 2
    view.key = step // 300 % 3 - 1 if step // 300 % 3 else ABSENT
    view.notice = "settings: lost" if step // 700 % 2 else ""
    view.out_as = 0 if step // 800 % 2 else step * 1009 % 9000000
    view.in_as = 0 if step // 800 % 2 else step * 917 % 9000000
    view.deficit_as = step * 31 % 3000000
    view.low_s = step * 17 % 80000
    view.seconds = step * 997 % 90000000
    view.boot = step * 3
    view.rows = step * 5003
    view.rows_dropped = step * 11
    view.free_kib = ABSENT if step % 4 == 0 else step
    view.heap_free = ABSENT if step % 4 == 1 else step * 12
    view.errors = step // 400 % 3 * 60
    worst(view.drive, step)
    worst(view.last, step + 3)
    button.level = 0 if step % 61 < 3 and step // 3000 % 2 == 0 else 1
    dim.level = step // 90 % 2


def run():
    global drawn_dark
    for step in range(TICKS):
        live(step)
        if step % 1000 == 0:
            face.asleep(step // 1000 % 4 == 3)
        if step % 10 == 0:
            face.second(view.bus_mv)
        pages_seen[face.page] = 1
        warnings_seen[view.warnings] = 1
        states_seen[view.state] = 1
        before = bus.sent
        face.tick(200 if step % 1000 > 800 else 100)
        if bus.sent == before and not face.awake_wanted:
            drawn_dark += 1


live(1)
button.level = 0
face.tick(100)
button.level = 1
face.tick(100)
face.tick(100)
button.level = 0
face.tick(100)  # lit, and the display found: from here on nothing is allocated
assert bus.sent > 3
if sys.argv[1:] == ["spoilt"]:
    face._pages = Spoilt(face._pages)
gc.collect()
before = gc.mem_alloc()
micropython.heap_lock()
try:
    run()
finally:
    micropython.heap_unlock()
print("bytes", gc.mem_alloc() - before)
print("pages", sum(pages_seen), "warnings", sum(warnings_seen), "states", sum(states_seen))
print("sent", bus.sent, "lamp", lamp.written, "buzzer", buzzer.written, "dark", drawn_dark)
