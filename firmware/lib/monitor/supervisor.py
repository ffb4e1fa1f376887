"""Starts the monitor, keeps it alive, and gets out of the way when asked.

Start window first: a held button, or a host that says `stop`, leaves the board at its prompt
before the watchdog is armed; a host that says `hello` in it gets a few seconds more to say so.
An unhandled error is recorded and the monitor is made anew; after three that came too soon, or
three starts that the watchdog ended, a plain voltmeter takes over. Ctrl-C always ends in the prompt.
"""

import time

from chargecore.shim import const
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


class Life:
    """What outlives a monitor: how long the board has been up, across wraps of its clock, and how
    many monitors in succession have failed too soon."""

    def __init__(self, failures: int):
        self.failures = failures
        self._at_ms = time.ticks_ms()
        self._known_ms = time.ticks_diff(self._at_ms, 0)  # the clock began with the board

    def age_ms(self) -> int:
        """Milliseconds since power-up. A monitor keeps the count while it runs (`note`)."""
        return self._known_ms + time.ticks_diff(time.ticks_ms(), self._at_ms)

    def note(self, age_ms: int):
        """So old is the board now."""
        self._known_ms = age_ms
        self._at_ms = time.ticks_ms()


def run(board):
    """Run until a host or the keyboard asks for the prompt."""
    console = Console(board.board_id(), board.why_started())
    watchdog = None
    life = Life(board.count_start() - 1)
    try:
        if _button_held(board) or not _start_window(console):
            return
        watchdog = board.watchdog()
        while not console.stop and life.failures < _FAILURES:
            try:
                _monitor(board, console, watchdog, life)
            except Exception as error:
                errors.record(error, life.age_ms() // 1000)
                life.failures += 1
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
        errors.record(error, 0)
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


def _monitor(board, console, watchdog, life):
    """Tick on schedule until asked to stop or to begin anew with other settings."""
    # Not at the top: a damaged file on the flash must count as a failed start, not end them all.
    from monitor import settings
    from monitor.monitor import Monitor

    began = time.ticks_ms()
    kept = settings.load()
    monitor = Monitor(board.Pins(kept.pins), kept, board.board_id(), life.age_ms())
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
                    life.failures = 0
    finally:
        life.note(monitor.seconds * 1000 + monitor.millis)
        console.monitor = None
        monitor.close()
