"""The panel's five pages.

+----------------------+
|  the page's own      |   44 rows
|       .  _  .  .  .  |   which page this is
|  VERDICT             |   18 rows, the same on every page: in a box and blinking as a warning,
+----------------------+   in half its height where there is something else to say
"""

from chargecore.engine import REST
from chargecore.shim import const
from chargecore.units import ABSENT
from monitor import verdict
from monitor.figures import (
    DASH,
    HIGHEST_A,
    LARGE,
    LONGEST_S,
    MEDIUM,
    WHOLE,
    Tall,
    amps,
    battery,
    charge,
    figure,
    minutes,
    number,
    tenths,
    volts,
)
from monitor.trace import Trace, row

COUNT = const(5)
_WIDTH = const(128)
_HEIGHT = const(64)
_MARK_Y = const(45)
_STRIP_Y = const(46)
_STRIP_HEIGHT = const(18)
_OTHERS = ("", " +1", " +2", " +3", " +4", " +5")
_NOT_WRITING = "NOTHING WRITTEN"


class Pages:
    """Draws on a framebuffer of 128x64; knows nothing of how it reaches the glass."""

    def __init__(self, frame, view, discharging_mv: int):
        self._frame = frame
        # Older MicroPythons tell a framebuf's length as if each of its pixels were a byte.
        self._pixels = memoryview(frame)[: _WIDTH * _HEIGHT // 8]
        self._dark = bytes(_WIDTH * _HEIGHT // 8)
        self._view = view
        self._limit_mv = discharging_mv
        self._tall = Tall(frame)
        self.trace = Trace()

    def draw(self, page: int, beat: int):
        """Draw page 0 to 4. `beat` counts the drawings, two a second: it makes a warning blink
        and what shares a place take turns."""
        self._pixels[WHOLE] = self._dark  # a copy, where fill(0) takes the chip 0.8 ms
        if page == 0:
            self._present()
        elif page == 1:
            self._amps()
        elif page == 2:
            self._minute()
        elif page == 3:
            self._worst(beat)
        else:
            self._board()
        self._mark(page)
        self._strip(beat)

    # -- the pages ----------------------------------------------------------------------------

    def _present(self):
        """Volts in large figures, amps, the last minute."""
        frame, view = self._frame, self._view
        if view.bus_mv == ABSENT:
            figure(frame, DASH, 0, 0, LARGE)
            figure(frame, DASH, 22, 0, LARGE)
            figure(frame, DASH, 52, 0, LARGE)
        else:
            shown = tenths(view.bus_mv)
            if shown >= 100:
                figure(frame, shown // 100, 0, 0, LARGE)
            figure(frame, shown // 10 % 10, 22, 0, LARGE)
            figure(frame, shown % 10, 52, 0, LARGE)
        frame.fill_rect(44, 28, 4, 4, 1)
        frame.text("V", 74, 25, 1)
        line = self._tall.line
        line.text("A", 120, 0, 1)
        self._tall.put(0, amps(line, view.clamp_ma, 120, 0))
        battery(frame, view.clamp_ma, 97, 18)
        # So low a trace would run into a line: its limit is marked beside it.
        limit_y = row(self._limit_mv, 34, 10)
        frame.hline(0, limit_y, 3, 1)
        frame.hline(125, limit_y, 3, 1)
        self.trace.draw(frame, 4, 34, 120, 10)

    def _amps(self):
        """Amps in figures, and the drive's ledger; without amps, how long the volts were low."""
        frame, view = self._frame, self._view
        if view.clamp_ma == ABSENT and not (view.out_as or view.in_as):
            self._time_low()
            return
        self._amps_in_figures(view.clamp_ma)
        frame.text("A", 88, 17, 1)
        battery(frame, view.clamp_ma, 98, 0)
        frame.text("OUT", 0, 27, 1)
        charge(frame, view.out_as, 60, 27)
        frame.text("IN", 72, 27, 1)
        charge(frame, view.in_as, 128, 27)
        frame.text("DEFICIT", 0, 36, 1)
        charge(frame, view.deficit_as, 104, 36)
        frame.text("Ah", 112, 36, 1)

    def _amps_in_figures(self, clamp_ma):
        """With tenths below 100 A, and a sign."""
        frame, x = self._frame, 71
        if clamp_ma == ABSENT:
            figure(frame, DASH, 71, 0, MEDIUM)
            figure(frame, DASH, 54, 0, MEDIUM)
            return
        shown = tenths(abs(clamp_ma))
        if shown < 1000:
            figure(frame, shown % 10, x, 0, MEDIUM)
            frame.fill_rect(x - 5, 21, 3, 3, 1)
            x -= 22
            shown //= 10
        else:
            shown = min((abs(clamp_ma) + 500) // 1000, HIGHEST_A)
        x = self._whole(shown, x, 0)
        if clamp_ma <= -50 or clamp_ma >= 50:
            frame.fill_rect(x + 2, 11, 9, 3, 1)
            if clamp_ma > 0:
                frame.fill_rect(x + 5, 8, 3, 9, 1)

    def _time_low(self):
        frame = self._frame
        frame.text("NO CLAMP READING", 0, 0, 1)
        seconds = min(self._view.low_s, LONGEST_S)
        figure(frame, seconds % 10, 88, 10, MEDIUM)
        figure(frame, seconds // 10 % 6, 71, 10, MEDIUM)
        frame.fill_rect(65, 17, 3, 3, 1)
        frame.fill_rect(65, 24, 3, 3, 1)
        self._whole(seconds // 60, 48, 10)
        frame.text("min below", 0, 36, 1)
        volts(frame, self._limit_mv, 112, 36)
        frame.text("V", 120, 36, 1)

    def _whole(self, value, x, y) -> int:
        """Figures, the last of them at x. Returns where the next would be."""
        while True:
            figure(self._frame, value % 10, x, y, MEDIUM)
            x -= 17
            value //= 10
            if not value:
                return x

    def _minute(self):
        """The trace, with its highest and lowest second in figures."""
        frame, tall = self._frame, self._tall
        frame.vline(0, 0, 43, 1)
        for volt in range(4):
            frame.hline(1, volt * 14, 2, 1)
        for x in range(4, 88, 6):
            frame.pixel(x, row(self._limit_mv, 0, 43), 1)
        self.trace.draw(frame, 4, 0, 84, 43)
        volts(tall.line, self.trace.highest_mv(), _WIDTH, 0)
        tall.put(0)
        frame.text("V 60s", 88, 18, 1)
        volts(tall.line, self.trace.lowest_mv(), _WIDTH, 0)
        tall.put(30)

    def _worst(self, beat):
        """The worst of the drive. While one goes on, it and the one before it take turns."""
        frame, view, line = self._frame, self._view, self._tall.line
        parked = view.state == REST or view.key == 0
        before = not parked and beat & 8
        worst = view.last if before else view.drive
        volts(line, worst.low_mv, 92, 0)
        self._tall.put(0)
        volts(line, worst.crank_mv, 92, 0)
        self._tall.put(15)
        frame.text("RUN V", 0, 4, 1)
        frame.text("CRANK V", 0, 19, 1)
        if view.clamp_ma == ABSENT and not worst.deficit_as:
            frame.text("LOW", 0, 34, 1)
            frame.text("min", 104, 34, 1)
            minutes(line, worst.deficit_s if worst.length_s else ABSENT, 92, 0)
        else:
            frame.text("DEFICIT", 0, 34, 1)
            frame.text("Ah", 104, 34, 1)
            charge(line, worst.deficit_as if worst.length_s else ABSENT, 92, 0)
        self._tall.put(30)
        if parked or before:
            frame.text("LAST", 96, 4, 1)
        else:
            frame.text("NOW", 104, 4, 1)

    def _board(self):
        """The board's own health."""
        frame, view = self._frame, self._view
        frame.text("UP", 0, 0, 1)
        self._age(view.seconds)
        frame.text("#", number(frame, min(view.boot, 99999), _WIDTH, 0) - 8, 0, 1)
        frame.text("ROWS", 0, 9, 1)
        number(frame, view.rows, _WIDTH, 9)
        frame.text("DROPPED", 0, 18, 1)
        number(frame, view.rows_dropped, _WIDTH, 18)
        frame.text("FREE", 0, 27, 1)
        number(frame, view.free_kib, 72, 27)
        frame.text("K", 72, 27, 1)
        frame.text("KEY", 86, 27, 1)
        number(frame, view.key, _WIDTH, 27)
        frame.text("HEAP", 0, 36, 1)
        number(frame, view.heap_free if view.heap_free == ABSENT else view.heap_free >> 10, 72, 36)
        frame.text("K", 72, 36, 1)
        frame.text("ERR", 86, 36, 1)
        number(frame, min(view.errors, 99), _WIDTH - 2, 36)
        if view.errors:
            frame.rect(84, 34, 44, 10, 1)

    def _age(self, seconds):
        """Days and hours, or hours and minutes."""
        frame = self._frame
        if seconds >= 86400:
            number(frame, min(seconds // 86400, 999), 48, 0)
            frame.text("d", 48, 0, 1)
            number(frame, seconds // 3600 % 24, 72, 0)
            frame.text("h", 72, 0, 1)
        else:
            number(frame, seconds // 3600, 40, 0)
            frame.text("h", 40, 0, 1)
            number(frame, seconds // 60 % 60, 64, 0)
            frame.text("min", 64, 0, 1)

    # -- what several share -------------------------------------------------------------------

    def _mark(self, page):
        """A dot for each page, the present one's drawn out."""
        for place in range(COUNT):
            self._frame.hline(44 + 9 * place, _MARK_Y, 5 if place == page else 1, 1)

    def _strip(self, beat):
        frame, view = self._frame, self._view
        word = verdict.word(view.state, view.warnings)
        others = _OTHERS[verdict.others(view.warnings)]
        inverted = bool(view.warnings) and beat & 1 == 0
        message = view.notice
        if view.saving and (not message or beat & 4):
            message = _NOT_WRITING
        x = 64 - 4 * (len(word) + len(others))
        if message:
            if view.warnings:
                frame.rect(0, _STRIP_Y, _WIDTH, 9, 1, inverted)
            frame.text(word, x, _STRIP_Y + 1, 0 if inverted else 1)
            frame.text(others, x + 8 * len(word), _STRIP_Y + 1, 0 if inverted else 1)
            frame.text(message, 64 - 4 * len(message), 56, 1)
            return
        self._tall.line.text(word, x, 0, 1)
        self._tall.line.text(others, x + 8 * len(word), 0, 1)
        if inverted:
            frame.fill_rect(0, _STRIP_Y, _WIDTH, _STRIP_HEIGHT, 1)
        self._tall.put(_STRIP_Y + 2, x, _WIDTH - x)
        if view.warnings and x:
            frame.rect(0, _STRIP_Y, _WIDTH, _STRIP_HEIGHT, 1)
        elif view.warnings:  # the longest words reach the sides
            frame.hline(0, _STRIP_Y, _WIDTH, 1)
            frame.hline(0, _STRIP_Y + _STRIP_HEIGHT - 1, _WIDTH, 1)
