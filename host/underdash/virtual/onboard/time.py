"""`time` of the virtual board: MicroPython's names over the board's own clock."""

import pace
import utime

_MASK = pace.TICKS_PERIOD - 1
_HALF = pace.TICKS_PERIOD // 2

gmtime = utime.gmtime
localtime = utime.localtime
mktime = utime.mktime


def ticks_us():
    return pace.now_us() & _MASK


def ticks_ms():
    return pace.now_us() // 1000 & _MASK


ticks_cpu = ticks_us


def ticks_add(ticks, delta):
    return ticks + delta & _MASK


def ticks_diff(end, start):
    return (end - start + _HALF & _MASK) - _HALF


def sleep_us(us):
    pace.sleep_us(us)


def sleep_ms(ms):
    pace.sleep_us(ms * 1000)


def sleep(seconds):
    pace.sleep_us(int(seconds * 1000000))


def time():
    return pace.now_us() // 1000000  # a board without a clock battery counts from its start


def time_ns():
    return pace.now_us() * 1000
