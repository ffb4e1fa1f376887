"""The monitor's tick: sample, build rows, decide, journal, show."""

from chargecore import engine, options
from chargecore.frames import Header
from chargecore.ledger import Ledger
from chargecore.units import ABSENT, TICKS_MASK, elapsed_ms
from monitor import settings
from monitor.face import Face
from monitor.journal import Journal
from monitor.sampler import SAMPLE_MS, RowBuilder, Sampler
from monitor.view import View


class Monitor:
    """Everything between the pins and the journal. The hardware is handed in; `now_ms` is the
    age of this boot on the board's clock. `live` holds the newest row for whoever listens."""

    def __init__(self, bus_adc, clamp_adc, make_bus, board_id: bytes, now_ms: int):
        self.calibration, self.thresholds, self.notice = settings.load()
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
        self.view = View()
        self.view.notice = self.notice[:16].upper()
        self.view.boot = self.journal.header.boot
        self.face = Face(self.view, limits, options.Options(), make_bus, None, None, None, None)
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
        self._update_view()
        self.face.tick(dt_ms)

    def close(self):
        self.face.close()
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
        if dt_ms >= 1000:
            self.face.second(bus_mv)
        self.rows += 1
        self.live = row

    def _update_view(self):
        view, ledger = self.view, self.ledger
        view.bus_mv, view.clamp_ma = self.sampler.bus_mv, self.sampler.clamp_ma
        view.state, view.warnings = self.engine.state, self.engine.warnings
        view.out_as, view.in_as, view.low_s = ledger.out_as, ledger.in_as, ledger.low_s
        view.deficit_as = ledger.deficit_as()
        view.seconds, view.rows = self.seconds, self.rows

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
