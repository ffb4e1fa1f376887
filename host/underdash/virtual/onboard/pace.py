"""The virtual board's clock: as fast as it can go while its signal lasts, then real time.

Fast, time passes only in sleeps, so a drive of hours takes as long as its work takes.
"""

import utime  # the built-in module, under its older name

TICKS_PERIOD = 1 << 30  # as on the chip; the desk's own port wraps at 2**62

_us = 0  # while fast: microseconds since boot
_fast_until_us = 0
_real_base_us = 0
_real_start = 0
_watchers = []  # called after each sleep: timers, then the watchdog


def start(fast_until_ms, begin_ms):
    """Begin at `begin_ms` on the board's clock; hurry until `fast_until_ms`."""
    global _us, _fast_until_us
    _us = begin_ms * 1000
    _fast_until_us = fast_until_ms * 1000
    if _us >= _fast_until_us:
        _go_real()


def _go_real():
    global _real_base_us, _real_start, _fast_until_us
    _real_base_us = _us
    _real_start = utime.ticks_us()
    _fast_until_us = 0


def now_us():
    if _fast_until_us:
        return _us
    return _real_base_us + utime.ticks_diff(utime.ticks_us(), _real_start)


def sleep_us(us):
    global _us
    if _fast_until_us:
        _us += max(us, 0)
        if _us >= _fast_until_us:
            _go_real()
    else:
        utime.sleep_us(us)
    for watch in _watchers:
        watch()


def watch(callback, first=False):
    _watchers.insert(0 if first else len(_watchers), callback)
