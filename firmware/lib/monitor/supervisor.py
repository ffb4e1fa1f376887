"""Starts the monitor, keeps it alive, and gets out of the way when asked.

Start window first: a held button, or a host that says `stop`, leaves the board at its prompt
before the watchdog is armed; a host that says `hello` in it gets a few seconds more to say so.
An unhandled error is recorded and the monitor is made anew; after three that came too soon, or
three starts that the watchdog ended, a plain voltmeter takes over. Ctrl-C always ends in the prompt.
"""

import time

from chargecore.shim import const
from chargecore.units import TICKS_MASK
from monitor import errors
from monitor.console import Console
from monitor.sampler import SAMPLE_MS

START_WINDOW_MS = const(2000)
_HEARD_WINDOW_MS = const(5000)
_POLL_MS = const(20)
_LATE_MS = const(1000)  # so late, and the missed samples are skipped, not made up for
_FAILURES = const(3)
_GOOD_MS = const(60000)  # a monitor that has run for so long has started well
_ATTENDED_MS = const(60000)  # a host that has spoken is taken to be there for this long


def run(board):
    """Run until a host or the keyboard asks for the prompt."""
    console = Console(board.board_id(), board.why_started())
    watchdog = None
    failures = board.count_start() - 1
    try:
        if _button_held(board) or not _start_window(console):
            return
        watchdog = board.watchdog()
        while not console.stop and failures < _FAILURES:
            began = time.ticks_ms()
            try:
                _monitor(board, console, watchdog)
            except Exception as error:
                errors.record(error, _since_start_ms() // 1000)
                failures = 1 if time.ticks_diff(time.ticks_ms(), began) > _GOOD_MS else failures + 1
                watchdog.feed()
                time.sleep_ms(1000)
                watchdog.feed()
        if not console.stop:
            from monitor import voltmeter

            voltmeter.run(board, console, watchdog)
    except KeyboardInterrupt:
        pass
    finally:
        board.good_start()  # whoever stops it sits before it: the next start is a new one
        if watchdog:
            board.feed_in_background(watchdog)


def _button_held(board) -> bool:
    """Whatever is wrong with the settings, this must not keep the board from starting."""
    try:
        from monitor import settings

        return not board.Pins(settings.load().pins).button().value()
    except Exception as error:
        errors.record(error, _since_start_ms() // 1000)
        return False


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
    # Not at the top: a damaged file on the flash must count as a failed start, not end them all.
    from monitor import settings
    from monitor.monitor import Monitor

    began = time.ticks_ms()
    kept = settings.load()
    monitor = Monitor(board.Pins(kept.pins), kept, board.board_id(), _since_start_ms())
    interval_ms = monitor.interval_ms()
    due = time.ticks_add(began, interval_ms)
    good_ms = attended_ms = 0
    console.monitor = monitor
    console.reload = False
    try:
        while not (console.stop or console.reload):
            wait_ms = time.ticks_diff(due, time.ticks_ms())
            if wait_ms > 0:
                if not console.poll():
                    if interval_ms > SAMPLE_MS:
                        board.nap(wait_ms)
                    else:
                        time.sleep_ms(min(wait_ms, _POLL_MS))
                continue
            dt_ms = interval_ms
            if wait_ms < -_LATE_MS:
                skipped_ms = -wait_ms // SAMPLE_MS * SAMPLE_MS
                dt_ms += skipped_ms
                due = time.ticks_add(due, skipped_ms)
                monitor.view.skipped += skipped_ms // SAMPLE_MS
            monitor.view.late_ms = max(monitor.view.late_ms, -wait_ms)
            if console.heard:
                console.heard = False
                attended_ms = _ATTENDED_MS
            elif attended_ms > 0:
                attended_ms -= dt_ms
            monitor.attended = attended_ms > 0
            monitor.tick(dt_ms)
            monitor.settle()
            watchdog.feed()
            console.tell_live(dt_ms)
            interval_ms = monitor.interval_ms()
            due = time.ticks_add(due, interval_ms)
            if good_ms <= _GOOD_MS:
                good_ms += dt_ms
                if good_ms > _GOOD_MS:
                    board.good_start()
    finally:
        console.monitor = None
        monitor.close()
