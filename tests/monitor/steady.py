"""Runs on MicroPython: the whole monitor over fake pins and a real littlefs in RAM.

    steady.py locked TICKS      ticks with the heap locked: one allocation and it ends in MemoryError
    steady.py soak HOURS        driving and parking; free heap before and after
    steady.py timed TICKS       microseconds of each part of a tick

The first two print one line of `name value` pairs, the last a line a part: how often, mean, worst.
"""

import gc
import sys
import time

import micropython
import vfs

from chargecore import engine, options
from chargecore.units import TICKS_MASK
from monitor import settings, voltmeter  # noqa: F401  (all that is imported late must be here before "/" goes)
from monitor.monitor import Monitor
from monitor.sampler import SAMPLE_MS

BLOCKS = 352
BLOCK = 4096


class Flash:
    """As many blocks as a board has, erased to ones; counts what it is asked to do."""

    def __init__(self):
        self._bytes = bytearray(b"\xff" * (BLOCK * BLOCKS))
        self.erases = self.programs = 0

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK + offset
        buffer[:] = memoryview(self._bytes)[at : at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        self.programs += 1
        at = block * BLOCK + offset
        self._bytes[at : at + len(buffer)] = buffer

    def ioctl(self, request, argument):
        if request == 6:
            self.erases += 1
        return BLOCKS if request == 4 else BLOCK if request == 5 else 0


class Adc:
    """Holds a level of `read_u16`. No noise of its own: `follow` moves it, and is not timed."""

    def __init__(self):
        self.level = 0

    def read_u16(self):
        return self.level


class Pin:
    def __init__(self, level):
        self.level = level

    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level


class Bus:
    def writeto(self, address, data, stop=True):
        return len(data)


class Pins:
    def __init__(self):
        self.bus = Adc()
        self.clamp = Adc()
        self.press = Pin(1)
        self.key = Pin(0)

    def bus_adc(self):
        return self.bus

    def supply_adc(self):
        found = Adc()
        found.level = SUPPLY << 4
        return found

    def clamp_adc(self):
        return self.clamp

    def display_bus(self):
        return Bus()

    def button(self):
        return self.press

    def lamp(self):
        return Pin(0)

    def buzzer(self):
        return Pin(0)

    def ignition(self):
        return self.key

    def dim(self):
        return Pin(0)


def code(millivolts):
    return millivolts * 4096 // 18200


NO_AMPS = 1902  # steps of the converter, nominally
SUPPLY = 1944


# A cycle: until which second, bus [mV], clamp [steps from zero], moving. A crank, a fan's inrush, a
# deficit, an overcharge; then parked.
DRIVE_S = 3600
PLAN = (
    (20, 12600, 0, 0), (22, 10200, -700, 1), (600, 14050, 40, 1), (601, 12900, -60, 1), (1500, 13950, 20, 1),
    (1740, 12400, -120, 1), (3000, 13900, 60, 1), (3030, 15400, 60, 1), (DRIVE_S, 14000, 10, 1),
    (1 << 30, 12620, 0, 0),
)  # fmt: skip


def follow(pins, second, tick):
    """Set the pins for this second of the cycle."""
    at = 0
    while second >= PLAN[at][0]:
        at += 1
    _, millivolts, amps, moving = PLAN[at]
    pins.bus.level = code(millivolts) + (tick % 7 * 3 if moving else 0) << 4
    pins.clamp.level = NO_AMPS + amps << 4
    pins.press.level = 0 if moving and tick % 137 == 5 else 1


def make(now_ms):
    flash = Flash()
    vfs.VfsLfs2.mkfs(flash, progsize=256)
    vfs.umount("/")
    vfs.mount(vfs.VfsLfs2(flash, progsize=256), "/")
    kept = settings.load()
    kept.calibration.clamp_fitted = 1
    for name in ("buzzer", "dim_feed", "ignition"):
        setattr(kept.options, name, 1)
    kept.options.dim_after_s = 60
    kept.options.clamp_supply = SUPPLY << 4
    pins = Pins()
    return pins, Monitor(pins, kept, b"\x00" * 7 + b"\x01", now_ms), flash


def locked(ticks):
    """The steady state: everything but the commit, with the heap locked."""
    pins, monitor, _ = make(TICKS_MASK - 1800000)
    seen = 0
    for tick in range(ticks):
        follow(pins, tick // 10 % (DRIVE_S + 400), tick)
        pins.key.level = tick // 10 % (DRIVE_S + 400) < DRIVE_S
        if tick > 200:  # the display has been found by then
            micropython.heap_lock()
        monitor.tick(SAMPLE_MS)
        if tick > 200:
            micropython.heap_unlock()
        seen |= 1 << monitor.engine.state
        monitor.settle()
    print("ticks", ticks, "rows", monitor.rows, "states", seen, "segment", monitor.journal.header.segment)


def soak(hours):
    """An hour of driving, three of parking, over and over."""
    pins, monitor, flash = make(TICKS_MASK - 1800000)
    tick = 0
    free = None
    began_s = monitor.seconds
    slept = 0
    while monitor.seconds - began_s < hours * 3600:
        second = (monitor.seconds - began_s) % (4 * DRIVE_S)
        follow(pins, second, tick)
        pins.key.level = 1 if second < DRIVE_S else 0
        interval_ms = monitor.interval_ms()
        slept += interval_ms > SAMPLE_MS
        monitor.tick(interval_ms)
        monitor.settle()
        tick += 1
        if free is None and monitor.seconds - began_s > 4 * DRIVE_S and monitor.engine.state == engine.REST:
            gc.collect()
            free = gc.mem_free()
    while monitor.engine.state != engine.REST:
        follow(pins, 4 * DRIVE_S - 1, 0)
        monitor.tick(monitor.interval_ms())
        monitor.settle()
    gc.collect()
    print(
        "ticks", tick, "asleep", slept, "rows", monitor.rows, "segment", monitor.journal.header.segment,
        "dropped", monitor.journal.header.rows_dropped, "erases", flash.erases,
        "wraps", monitor.seconds * 1000 // (TICKS_MASK + 1), "before", free, "after", gc.mem_free(),
    )  # fmt: skip


def timed(ticks):
    """Where a tick's time goes. A clock around a part costs about 1 us, and what calls it more."""
    pins, monitor, _ = make(0)
    count, total, worst = {}, {}, {}

    def clock(owner, name, label):
        inner = getattr(owner, name)
        count[label] = total[label] = worst[label] = 0

        def call(*values):
            began = time.ticks_us()
            result = inner(*values)
            taken = time.ticks_diff(time.ticks_us(), began)
            count[label] += 1
            total[label] += taken
            worst[label] = max(worst[label], taken)
            return result

        setattr(owner, name, call)

    face = monitor.face
    for owner, name, label in (
        (monitor.sampler, "sample", "sample+calibrate"), (monitor.engine, "step", "decide"),
        (monitor.ledger, "add", "ledger"), (monitor.journal, "append", "append"), (face._pages, "draw", "draw"),
        (face, "tick", "face"), (monitor.rest, "follow", "rest"), (monitor, "tick", "tick"),
        (monitor, "commit", "commit"),
    ):  # fmt: skip
        clock(owner, name, label)
    for tick in range(ticks):
        follow(pins, tick // 10, tick)
        monitor.tick(SAMPLE_MS)
        monitor.settle()
    for label in count:
        print(label, count[label], total[label] // max(count[label], 1), worst[label])


if __name__ == "__main__":
    assert options.FIELDS
    {"locked": locked, "soak": soak, "timed": timed}[sys.argv[1]](int(sys.argv[2]))
