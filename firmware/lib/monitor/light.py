"""How bright the panel is: hidden or seen, dimmed by time or by the panel lamps' feed."""

from chargecore.shim import const

DARK = const(-1)
_IDLE_TOP_MS = const(36000000)  # the longest dim_after_s
# A feed that is chopped by a dimmer is low at many a reading: so long low, and the lamps are out.
_FEED_HOLD_MS = const(2000)


class Light:
    """`asleep` may be set: then the panel is dark as if hidden. `held` tells whether a press of
    less than `show_s` ago keeps it lit. `feed.value()` is 1 while the panel lamps are lit; feed
    None where it is not wired."""

    def __init__(self, options, feed):
        self._options = options
        self._feed = feed if options.dim_feed else None
        self._feed_ms = 0
        self._idle_ms = 0
        self._shown_ms = 0
        self.asleep = False
        self.held = False

    def wait(self, dt_ms: int):
        """Time passes."""
        self._idle_ms = min(self._idle_ms + dt_ms, _IDLE_TOP_MS)
        self._shown_ms = max(self._shown_ms - dt_ms, 0)
        self.held = self._shown_ms > 0
        if self._feed is not None:
            self._feed_ms = _FEED_HOLD_MS if self._feed.value() else max(self._feed_ms - dt_ms, 0)

    def press(self) -> bool:
        """The button was pressed. True if the panel had been lit, so that the press may turn the page."""
        was_lit = self.level() != DARK
        self._idle_ms = 0
        self._shown_ms = self._options.show_s * 1000
        self.held = True
        return was_lit

    def level(self) -> int:
        """DARK, or the contrast."""
        options = self._options
        if (options.hidden or self.asleep) and not self.held:
            return DARK
        if self._feed_ms or 0 < options.dim_after_s * 1000 <= self._idle_ms:
            return options.dim_contrast
        return options.contrast
