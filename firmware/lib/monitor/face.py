"""What the driver sees and hears: the panel, its one button, the lamp, the buzzer.

Face owns them all and reads the rest from the view. Nothing here allocates once the display has
been found; a display that is lost or missing stops nothing.
"""

from chargecore.shim import const
from monitor import signals
from monitor.button import Button
from monitor.light import DARK, Light
from monitor.pages import COUNT, Pages
from monitor.ssd1306 import Display

_DRAW_MS = const(500)
_TICK_MS = const(100)
_RETRY_MS = const(10000)
_BEATS = const(1024)


class Face:
    """`make_display_bus()` gives an I2C bus, and may be called again. The pins have `value()` and
    `value(level)`: button 0 while pressed, lamp and buzzer driven by 1, dim 1 while the panel
    lamps are lit; each is None where it is not fitted. `awake_wanted` is True while a press keeps
    the panel lit."""

    def __init__(self, view, thresholds, options, make_display_bus, button, lamp, buzzer, dim):
        self._view = view
        self._make_bus = make_display_bus
        self._display = Display()
        self._pages = Pages(self._display.frame, view, thresholds.discharging_mv)
        self._button = Button(button)
        self._light = Light(options, dim)
        self._lamp = signals.Lamp(lamp if options.lamp else None)
        self._buzzer = signals.Buzzer(buzzer if options.buzzer else None)
        self._found = False
        self._retry_ms = 0  # until the display is looked for again
        self._draw_ms = 0  # until it is drawn anew
        self._waited = False  # for a tick with less to do
        self._beat = 1
        self._level = DARK
        self.page = 0
        self.awake_wanted = False

    def tick(self, dt_ms: int):
        """`dt_ms` have passed since the last call."""
        light = self._light
        light.wait(dt_ms)
        if self._button.step(dt_ms):
            if light.press() and self._found:
                self.page = (self.page + 1) % COUNT
            else:
                self._retry_ms = 0  # somebody wants to look
            self._draw_ms = 0
        self.awake_wanted = light.held
        self._signal(dt_ms)
        self._retry_ms = max(self._retry_ms - dt_ms, 0)
        self._draw_ms -= dt_ms
        level = light.level()
        if self._draw_ms <= 0 or level != self._level:
            self._level = level
            self._waited = False
            self._draw_ms = max(self._draw_ms + _DRAW_MS, dt_ms)
            self._show(level)

    def is_due(self, dt_ms: int) -> bool:
        """Whether the next tick draws, if nothing puts it off."""
        return self._draw_ms <= dt_ms

    def second(self, bus_mv: int):
        """A second has passed with these mean volts: move the trace on."""
        self._pages.trace.push(bus_mv)

    def busy(self):
        """A row is decided and packed in this tick: what would be drawn in it waits for the next; but
        no longer, for around a crank there is a row in each."""
        if self._draw_ms <= _TICK_MS and not self._waited:
            self._draw_ms = _TICK_MS + 1
            self._waited = True

    def asleep(self, flag: bool):
        """Parked and sleeping, or awake again."""
        self._light.asleep = bool(flag)

    def close(self):
        """Leave nothing standing that would soon be untrue."""
        self._lamp.step(signals.NOTHING, 0)
        self._buzzer.silence()
        if self._found:
            try:
                self._display.dark()
            except OSError:
                self._found = False

    def _signal(self, dt_ms):
        view = self._view
        if not self._light.asleep:
            self._lamp.step(signals.rhythm(view.state, view.warnings), dt_ms)
        elif view.saving:
            self._lamp.step(signals.NOTHING, dt_ms)
        else:
            self._lamp.step(signals.ASLEEP, dt_ms)
        self._buzzer.step(view.warnings, dt_ms)

    def _show(self, level):
        if not self._found and level != DARK and self._retry_ms == 0:
            self._find()
        if not self._found:
            return
        try:
            if level == DARK:
                self._display.dark()
            else:
                self._beat = (self._beat + 1) % _BEATS
                self._pages.draw(self.page, self._beat)
                self._display.show()
                self._display.light(level)
        except OSError:
            self._found = False
            self._retry_ms = _RETRY_MS

    def _find(self):
        self._retry_ms = _RETRY_MS
        try:
            self._display.begin(self._make_bus())
            self._found = True
        except OSError:
            pass  # none fitted, or a loose plug: the rest goes on
