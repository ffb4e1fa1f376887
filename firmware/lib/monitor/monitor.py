"""The monitor's tick: sample, build rows, decide, journal, show."""

from chargecore import engine
from chargecore.frames import Header
from chargecore.ledger import Ledger
from chargecore.shim import const
from chargecore.units import ABSENT, TICKS_MASK, elapsed_ms
from monitor import settings, ssd1306
from monitor.journal import Journal
from monitor.panel import Panel
from monitor.sampler import SAMPLE_MS, RowBuilder, Sampler

_SHOW_TICKS = const(5)
_RETRY_DISPLAY_TICKS = const(100)
_NOTICE_TICKS = const(100)  # what settings.load had to say is shown this long after the start


class Monitor:
    """Everything between the pins and the journal. The hardware is handed in; `now_ms` is the
    age of this boot on the board's clock. `live` holds the newest row for whoever listens."""

    def __init__(self, bus_adc, clamp_adc, make_bus, board_id: bytes, now_ms: int):
        self.settings = settings.load()
        self.calibration, self.thresholds = self.settings.calibration, self.settings.thresholds
        self.notice = self.settings.notice
        self.engine = engine.Engine(self.thresholds)
        self.ledger = Ledger()
        self.sampler = Sampler(bus_adc, clamp_adc, self.calibration)
        limits = self.thresholds
        self._rows = RowBuilder(self._take_row, limits.crank_mv, limits.crank_mv + limits.hysteresis_mv)
        header = Header()
        header.board_id = (board_id + bytes(8))[:8]
        header.calibration = self.calibration
        header.thresholds = limits
        self.journal = Journal("/journal", header)
        self.journal.start(self.engine.snapshot())
        self.seconds, self.millis = now_ms // 1000, now_ms % 1000
        self._t_ms = now_ms & TICKS_MASK
        self._row_t_ms = self._t_ms
        self._row_seconds, self._row_millis = self.seconds, self.millis
        self._ticks = 0
        self._make_bus = make_bus
        self._display: "ssd1306.Display" = None
        self.panel: "Panel" = None
        self._flush_wanted = False
        self.rows = 0
        self.live: "tuple" = None

    def tick(self, dt_ms: int = SAMPLE_MS):
        """One sample, `dt_ms` after the one before."""
        self._t_ms = (self._t_ms + dt_ms) & TICKS_MASK
        self.millis += dt_ms
        if self.millis >= 1000:
            self.seconds += self.millis // 1000
            self.millis %= 1000
        self.sampler.sample()
        self._rows.push(self._t_ms, self.sampler.bus_mv, self.sampler.clamp_ma)
        if self._flush_wanted or self.journal.is_due():
            self._flush_wanted = False
            self.journal.flush()
            self.journal.rotate_if_full(self.engine.snapshot())
        self._ticks += 1
        if self._ticks % _SHOW_TICKS == 0:
            self._show()

    def close(self):
        self.journal.close()

    def _take_row(self, t_ms, low_mv, bus_mv, high_mv, clamp_ma):
        dt_ms = elapsed_ms(t_ms, self._row_t_ms)
        self._row_t_ms = t_ms
        self._row_millis += dt_ms
        if self._row_millis >= 1000:
            self._row_seconds += self._row_millis // 1000
            self._row_millis %= 1000
        before, warned = self.engine.state, self.engine.warnings
        state = self.engine.step(t_ms, low_mv, bus_mv, high_mv, clamp_ma)
        warnings = self.engine.warnings
        if state == engine.CRANK and before != engine.CRANK:
            self.ledger.reset()
        self.ledger.add(dt_ms, bus_mv, clamp_ma, state, self.thresholds.discharging_mv)
        row = (low_mv, bus_mv, high_mv, clamp_ma)
        self.journal.append(dt_ms, self._row_seconds, self._row_millis, row, state, warnings)
        # A changed verdict is worth an erase, but not while the starter holds the supply down.
        if (state != before or warnings != warned) and state != engine.CRANK:
            self._flush_wanted = True
        if self.panel and dt_ms >= 1000:
            self.panel.push(bus_mv)
        self.rows += 1
        self.live = row

    def _show(self):
        if self.panel is None:
            if self._ticks % _RETRY_DISPLAY_TICKS == _SHOW_TICKS:
                self._find_display()
            return
        sampler = self.sampler
        if self._ticks > _NOTICE_TICKS:
            self.panel.notice = ""
        self.panel.draw(
            sampler.bus_mv, sampler.clamp_ma, self.engine.state, self.engine.warnings,
            self._ticks // _SHOW_TICKS % 2 == 0)  # fmt: skip
        try:
            self._display.show()
        except OSError:
            self.panel = None

    def _find_display(self):
        try:
            self._display = ssd1306.Display(self._make_bus())
        except OSError:
            return
        self.panel = Panel(self._display.frame, self.thresholds.discharging_mv)
        self.panel.notice = self.notice.upper()

    def status(self) -> dict:
        """What the console tells of the present moment."""
        ledger = self.ledger
        return {
            "t_s": self.seconds, "bus_mv": None if self.sampler.bus_mv == ABSENT else self.sampler.bus_mv,
            "clamp_ma": None if self.sampler.clamp_ma == ABSENT else self.sampler.clamp_ma,
            "bus_code": self.sampler.bus_code, "clamp_code": self.sampler.clamp_code,
            "state": engine.STATE_NAMES[self.engine.state], "warnings": self.engine.warnings,
            "rows": self.rows, "boot": self.journal.header.boot, "notice": self.notice,
            "deficit_as": ledger.deficit_as(), "out_as": ledger.out_as, "in_as": ledger.in_as,
            "low_s": ledger.low_s,
        }  # fmt: skip
