"""Starts the monitor, keeps it alive, and gets out of the way when asked.

Start window first: a held button, or a host that says `stop`, leaves the board at its prompt
before the watchdog is armed; a host that says `hello` in it gets a few seconds more to say so.
An unhandled error is recorded and the monitor is made anew. Ctrl-C always ends in the prompt.
"""

import time

from chargecore.shim import const
from chargecore.units import TICKS_MASK
from monitor import errors
from monitor.console import Console
from monitor.monitor import Monitor
from monitor.sampler import SAMPLE_MS

START_WINDOW_MS = const(2000)
_HEARD_WINDOW_MS = const(5000)
_POLL_MS = const(20)
_LATE_MS = const(1000)  # so late, and the missed samples are skipped, not made up for


def run(board):
    """Run until a host or the keyboard asks for the prompt."""
    console = Console(board.board_id())
    watchdog = None
    try:
        if board.button_held() or not _start_window(console):
            return
        watchdog = board.watchdog()
        while not console.stop:
            try:
                _monitor(board, console, watchdog)
            except Exception as error:
                errors.record(error, _since_start_ms() // 1000)
                watchdog.feed()
                time.sleep_ms(1000)
                watchdog.feed()
    except KeyboardInterrupt:
        pass
    finally:
        if watchdog:
            board.feed_in_background(watchdog)


def _start_window(console) -> bool:
    """Wait for a host; False if it wants the prompt."""
    began = time.ticks_ms()
    while time.ticks_diff(time.ticks_ms(), began) < (_HEARD_WINDOW_MS if console.heard else START_WINDOW_MS):
        console.poll()
        if console.stop:
            return False
        time.sleep_ms(_POLL_MS)
    return True


def _since_start_ms() -> int:
    return time.ticks_diff(time.ticks_ms(), 0) & TICKS_MASK


def _monitor(board, console, watchdog):
    """Tick on schedule until asked to stop or to begin anew with other settings."""
    began = time.ticks_ms()
    monitor = Monitor(board.bus_adc(), board.clamp_adc(), board.display_bus, board.board_id(), _since_start_ms())
    due = time.ticks_add(began, SAMPLE_MS)
    console.monitor = monitor
    console.reload = False
    try:
        while not (console.stop or console.reload):
            wait_ms = time.ticks_diff(due, time.ticks_ms())
            if wait_ms > 0:
                if not console.poll():
                    time.sleep_ms(min(wait_ms, _POLL_MS))
                continue
            dt_ms = SAMPLE_MS
            if wait_ms < -_LATE_MS:
                dt_ms -= wait_ms // SAMPLE_MS * SAMPLE_MS
            due = time.ticks_add(due, dt_ms)
            monitor.tick(dt_ms)
            watchdog.feed()
            console.tell_live(dt_ms)
    finally:
        console.monitor = None
        monitor.close()
