"""The monitor: what happens ten times a second between the pins and the journal.

`tick` samples, builds rows, decides, packs and shows; it never touches flash and allocates
nothing. `settle`, called after each tick, commits what has to be committed.
"""

import gc
import os

from chargecore import engine
from chargecore.frames import Header
from chargecore.ledger import Ledger
from chargecore.units import ABSENT, TICKS_MASK, elapsed_ms
from monitor import errors, settings
from monitor.face import Face
from monitor.journal import Journal
from monitor.rest import Rest
from monitor.sampler import REST_SAMPLE_MS, SAMPLE_MS, SAVING_SAMPLE_MS, RowBuilder, Sampler
from monitor.view import View


class Monitor:
    """`pins` makes the peripherals (board.Pins); `kept` are the Settings in force; `now_ms` is
    the age of this boot on the board's clock."""

    def __init__(self, pins, kept: "settings.Settings", board_id: bytes, now_ms: int):
        self.settings = kept
        self.calibration = kept.calibration
        self.thresholds = limits = kept.thresholds
        options = kept.options
        self.engine = engine.Engine(limits)
        self.ledger = Ledger()
        self.view = View()
        self.view.notice = kept.notice
        self.sampler = Sampler(
            pins.bus_adc(), pins.clamp_adc(), pins.supply_adc(), kept.calibration, options.clamp_supply
        )
        self._rows = RowBuilder(self._take_row, limits.crank_mv, limits.crank_mv + limits.hysteresis_mv)
        header = Header()
        header.board_id = (board_id + bytes(8))[:8]
        header.calibration = kept.calibration
        header.thresholds = limits
        self.journal = Journal("/journal", header)
        self.journal.start(self.engine.snapshot())
        self._ignition = pins.ignition() if options.ignition else None
        self.face = Face(
            self.view, limits, options, pins.display_bus, pins.button(),
            pins.lamp() if options.lamp else None,
            pins.buzzer() if options.buzzer else None,
            pins.dim() if options.dim_feed else None)  # fmt: skip
        self.rest = Rest(limits, options)
        self.attended = False  # a host is talking to the board: rows come every second
        self.seconds, self.millis = now_ms // 1000, now_ms % 1000
        self._t_ms = now_ms & TICKS_MASK
        self._row_t_ms = self._t_ms
        self._row_seconds, self._row_millis = self.seconds, self.millis
        self._second_ms = 0
        self._supply_low = False
        self._length_ms = self._deficit_ms = 0
        self.rows = 0
        self._note_health()
        self._read_key()
        self.engine.key = self.journal.key = self.view.key

    def tick(self, dt_ms: int = SAMPLE_MS):
        """One sample, `dt_ms` after the one before."""
        self._t_ms = (self._t_ms + dt_ms) & TICKS_MASK
        self.millis += dt_ms
        if self.millis >= 1000:
            self.seconds += self.millis // 1000
            self.millis %= 1000
        sampler, view, rest = self.sampler, self.view, self.rest
        sampler.sample(not self.face.is_due(dt_ms))
        bus_mv, clamp_ma = sampler.bus_mv, sampler.clamp_ma
        view.bus_mv, view.clamp_ma = bus_mv, clamp_ma
        view.seconds = self.seconds
        rows = self.rows
        self._read_key()
        watched = self.attended or self.face.awake_wanted
        was_saving = rest.saving
        rest.follow(dt_ms, bus_mv, clamp_ma, self.engine.state, view.key, watched)
        if rest.saving:
            if not was_saving:
                self._rows.close()
                self.journal.want()
        else:
            if was_saving:
                self._skip_to_now(dt_ms)
            if rest.sleeping:
                self._rows.rest(self._t_ms, bus_mv, clamp_ma)
            else:
                self._rows.push(self._t_ms, bus_mv, clamp_ma)
        view.saving = rest.saving
        self._watch_supply(bus_mv)
        if self.rows != rows:
            self.face.busy()
        self._show(dt_ms, bus_mv)

    def interval_ms(self) -> int:
        """How long until the next sample is due."""
        if not self.rest.sleeping:
            return SAMPLE_MS
        return SAVING_SAMPLE_MS if self.rest.saving else REST_SAMPLE_MS

    def settle(self):
        """Commit if it is time; everything that may allocate or wait for the flash happens here."""
        if self.view.key != self.engine.key:
            self.journal.want()  # a frame's rows were all decided under one key
        if self.journal.is_due():
            self.commit()

    def commit(self):
        """Write every row so far."""
        self.journal.commit(self.engine.snapshot())
        self.engine.key = self.journal.key = self.view.key
        self._note_health()

    def close(self):
        """Commit everything; the board is about to do something else."""
        self.face.close()
        self._rows.close()
        self.journal.close()

    # -- inside -------------------------------------------------------------------------------

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
        self.journal.append(
            dt_ms, self._row_seconds, self._row_millis, low_mv, bus_mv, high_mv, clamp_ma, state, warnings
        )
        # A changed verdict is worth an erase, but not while the starter holds the supply down.
        if (state != before or warnings != warned) and state != engine.CRANK:
            self.journal.want()
        self.rows += 1
        self._keep_ledger(dt_ms, bus_mv, clamp_ma, before, state)
        self.view.state, self.view.warnings = state, warnings
        self.view.rows += 1

    def _keep_ledger(self, dt_ms, bus_mv, clamp_ma, before, state):
        view, ledger = self.view, self.ledger
        if state == engine.CRANK and before != engine.CRANK:
            if before == engine.REST or view.drive.length_s == 0:
                self._begin_drive()
            ledger.reset()
        ledger.add(dt_ms, bus_mv, clamp_ma, state, self.thresholds.discharging_mv)
        view.out_as, view.in_as, view.low_s = ledger.out_as, ledger.in_as, ledger.low_s
        view.deficit_as = ledger.deficit_as()
        if state == engine.REST or state == engine.UNKNOWN:
            return
        worst = view.drive
        self._length_ms += dt_ms
        worst.length_s = self._length_ms // 1000
        if state == engine.CRANK:
            worst.crank_mv = self.engine.crank_held_mv
            return
        if bus_mv != ABSENT and (worst.low_mv == ABSENT or bus_mv < worst.low_mv):
            worst.low_mv = bus_mv
        worst.deficit_as = max(worst.deficit_as, view.deficit_as)
        if state == engine.DISCHARGING:
            self._deficit_ms += dt_ms
            worst.deficit_s = self._deficit_ms // 1000

    def _begin_drive(self):
        view = self.view
        drive = view.last
        view.last = view.drive
        view.drive = drive
        drive.reset()
        self._length_ms = self._deficit_ms = 0

    def _skip_to_now(self, dt_ms):
        """Rows begin again: the first one starts now, not where the last one ended."""
        self._row_t_ms = (self._t_ms - dt_ms) & TICKS_MASK
        self._row_seconds, self._row_millis = self.seconds, self.millis
        self._row_millis -= dt_ms
        while self._row_millis < 0:
            self._row_millis += 1000
            self._row_seconds -= 1

    def _read_key(self):
        if self._ignition is not None:
            self.view.key = self._ignition.value()

    def _watch_supply(self, bus_mv):
        """Falling below what the board itself needs: commit while there is time."""
        limit_mv = self.settings.options.supply_mv
        if bus_mv == ABSENT or bus_mv >= limit_mv:
            if bus_mv == ABSENT or bus_mv > limit_mv + 1000:
                self._supply_low = False
        elif not self._supply_low:
            self._supply_low = True
            self.journal.want()

    def _show(self, dt_ms, bus_mv):
        self._second_ms += dt_ms
        if self._second_ms >= 1000:
            self._second_ms %= 1000
            self.face.second(bus_mv)
        self.face.asleep(self.rest.sleeping == 1)
        self.face.tick(dt_ms)

    def _note_health(self):
        gc.collect()  # here, where it may take its time, and not in the middle of a tick
        view, header = self.view, self.journal.header
        view.boot, view.rows_dropped = header.boot, header.rows_dropped
        view.heap_free = gc.mem_free()
        view.errors = errors.count()
        status = os.statvfs("/")
        view.free_kib = status[0] * status[3] // 1024

    def status(self) -> dict:
        """What the console tells of the present moment."""
        view = self.view
        return {
            "t_s": self.seconds, "bus_mv": _or_none(view.bus_mv), "clamp_ma": _or_none(view.clamp_ma),
            "bus_code": self.sampler.bus_code, "clamp_code": self.sampler.clamp_code,
            "supply_code": self.sampler.supply_code,
            "state": engine.STATE_NAMES[view.state], "warnings": view.warnings,
            "rows": self.rows, "boot": view.boot, "notice": view.notice,
            "deficit_as": view.deficit_as, "out_as": view.out_as, "in_as": view.in_as, "low_s": view.low_s,
            "key": _or_none(view.key), "sleeping": bool(self.rest.sleeping), "saving": bool(view.saving),
        }  # fmt: skip


def _or_none(value):
    return None if value == ABSENT else value
