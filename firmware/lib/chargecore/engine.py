"""The charge-state engine: rows of volts and amps in, one verdict a row out.

A row is one second (or a tenth of one, around a crank): lowest, mean and highest bus volts and
mean battery current. The board steps the engine once for each row it journals, so that the desk,
stepping the same engine over the same rows, must arrive at the very same verdicts.

How it decides
* Every verdict but crank and rest needs its condition to hold for a dwell time, and is left
  through a hysteresis band and a dwell of its own.
* With a clamp, the sign of the current decides discharging. Without one, low volts do, once the
  engine is known to run.
* A running car is never still: ripple, ignition and regulator move the volts all the time. A
  parked one is. So stillness below charging volts is rest, and low volts count towards a verdict
  only while they move. (A volts-only board has nothing else that tells a parked car from a dead
  alternator.)
* An ignition sense, where one is wired, says more: with the key on a car is never at rest, and
  low volts count even while they are still; with the key off no engine runs.
* Volts and amps that contradict each other count towards nothing; after a minute of it the
  sensors are under suspicion, and the verdict is withdrawn.
"""

from chargecore.shim import const
from chargecore.units import ABSENT, TICKS_MASK

# States. The numbers are in every journal: never renumber.
UNKNOWN = const(0)
REST = const(1)
CRANK = const(2)
CHARGING = const(3)
MARGINAL = const(4)
DISCHARGING = const(5)
OVERCHARGE = const(6)
STATE_NAMES = ("no verdict", "rest", "crank", "charging", "marginal", "discharging", "overcharge")

# Warnings, a bit each. Also in every journal.
WARN_DISCHARGING = const(1)
WARN_OVERCHARGE = const(2)
WARN_MARGINAL = const(4)
WARN_SENSOR = const(8)
WARN_WEAK_CRANK = const(16)
WARN_LOW_REST = const(32)
WARNING_NAMES = ("discharging", "overcharge", "marginal", "sensor", "weak crank", "low at rest")

_GAP_MS = const(10000)  # a longer hole in the rows and nothing learnt before it still holds
_REST_GAP_MS = const(65535)  # but at rest, where a row is a minute: what a row's period can hold
_ALIVE_MS = const(3000)  # volts that moved this recently belong to a running engine
_CRANK_CLEAR_MS = const(300)
_CRANK_LONGEST_MS = const(30000)  # no starter runs longer: the battery is flat
_STARTED_MS = const(10000)  # alive this long after a crank: the engine runs, whatever the volts
_RUNNING_MS = const(60000)  # the same with no crank seen, as after a restart on the road
_LOW_REST_MS = const(60000)
_SAME_LEVEL_MV = const(30)  # volts this near the row before are what they were
_TIMER_TOP = const(1 << 24)


class Dwell:
    """How long a condition has held, and since when."""

    def __init__(self):
        self.ms = 0
        self.since_ms = 0

    def run(self, holds, t_ms: int, dt_ms: int):
        if not holds:
            self.ms = 0
        else:
            if self.ms == 0:
                self.since_ms = (t_ms - dt_ms) & TICKS_MASK
            if self.ms < _TIMER_TOP:
                self.ms += dt_ms


class Engine:
    """Charge-state engine. `state`, `warnings`, `since_ms` are the verdict after each `step`.

    `since_ms` is when the condition behind the present state began, which is earlier than when
    its dwell let it be said. `crank_low_mv` is the lowest row of the latest crank, and
    `crank_held_mv` the highest of the three rows in succession that were lowest together: what
    the battery held once the starter turned.
    """

    def __init__(self, thresholds):
        self.thresholds = thresholds
        self.key = ABSENT  # input, in force for the rows that follow: 1 on, 0 off, ABSENT unknown
        self._over = Dwell()
        self._discharge = Dwell()
        self._marginal = Dwell()
        self._good = Dwell()
        self._clear = Dwell()
        self._dwells = (self._over, self._discharge, self._marginal, self._good, self._clear)
        self.reset()

    def reset(self):
        """Forget everything, as at power-on."""
        self.state = UNKNOWN
        self.warnings = 0
        self.since_ms = 0
        self.crank_low_mv = self.crank_held_mv = ABSENT
        self._crank_last_mv = self._crank_before_mv = ABSENT
        self._seen = self._last_ms = 0
        self._previous_mv = self._before_mv = self._agreed_mv = ABSENT
        self._running = self._started = self._flat = 0
        self._quiet_ms = self._alive_ms = self._blind_ms = self._contra_ms = 0
        self._crank_ms = self._crank_clear_ms = self._low_rest_ms = 0
        self._partial = 0
        self._forget_dwells()

    # -- the row ------------------------------------------------------------------------------

    def step(self, t_ms: int, low_mv: int, bus_mv: int, high_mv: int, clamp_ma: int) -> int:
        """Take the row that ended at `t_ms` and return the state.

        t_ms: end of the row on the wrapping 2**30 ms clock; low_mv, bus_mv, high_mv: lowest,
        mean and highest bus volts [mV], bus_mv ABSENT if unmeasured; clamp_ma: mean battery
        current [mA], positive when charging, or ABSENT.
        """
        dt_ms = (t_ms - self._last_ms) & TICKS_MASK if self._seen else 0
        if dt_ms > (_REST_GAP_MS if self.state == REST else _GAP_MS):
            self.reset()
            dt_ms = 0
        self._last_ms = t_ms
        self._seen = 1
        if bus_mv == ABSENT:
            self._blind(t_ms, dt_ms)
        else:
            self._watch_stillness(low_mv, bus_mv, high_mv, dt_ms)
            if not self._crank(t_ms, low_mv, high_mv, dt_ms):
                if self._contradict(bus_mv, clamp_ma, dt_ms):
                    if self._contra_ms >= self.thresholds.sensor_ms:
                        self._forget_dwells()
                        self._become(UNKNOWN, t_ms)
                else:
                    self._judge(t_ms, low_mv, bus_mv, high_mv, clamp_ma, dt_ms)
            self._before_mv = self._previous_mv
            self._previous_mv = bus_mv
        self._warn(bus_mv, dt_ms)
        return self.state

    def _blind(self, t_ms, dt_ms):
        """No volts, no verdict."""
        self._blind_ms = min(self._blind_ms + dt_ms, _TIMER_TOP)
        self._forget_dwells()
        self._become(UNKNOWN, t_ms)
        self._previous_mv = self._before_mv = ABSENT

    def _watch_stillness(self, low_mv, bus_mv, high_mv, dt_ms):
        self._blind_ms = 0
        still_mv = self.thresholds.still_mv
        previous_mv = self._previous_mv
        if high_mv - low_mv > still_mv or (previous_mv != ABSENT and not -still_mv <= bus_mv - previous_mv <= still_mv):
            self._quiet_ms = 0
        elif self._quiet_ms < _TIMER_TOP:
            self._quiet_ms += dt_ms

    def _crank(self, t_ms, low_mv, high_mv, dt_ms) -> bool:
        """Follow the starter; True while it turns."""
        th = self.thresholds
        if self.state != CRANK:
            if self._flat:  # volts that stay down after a crank are a flat battery, not a second crank
                if low_mv >= th.crank_mv + th.hysteresis_mv:
                    self._flat = 0
                return False
            reference_mv = max(self._previous_mv, self._before_mv, high_mv)
            if low_mv >= th.crank_mv or reference_mv - low_mv < th.crank_drop_mv:
                return False
            self._become(CRANK, (t_ms - dt_ms) & TICKS_MASK)
            self._forget_dwells()
            self.crank_low_mv = low_mv
            self.crank_held_mv = self._crank_last_mv = self._crank_before_mv = ABSENT
            self._crank_ms = self._crank_clear_ms = 0
            self._running = self._started = self._alive_ms = 0
        self._crank_ms += dt_ms
        if low_mv < th.crank_mv + th.hysteresis_mv:
            self._crank_clear_ms = 0
            self._follow_held(low_mv)
        else:
            self._crank_clear_ms += dt_ms
        if self._crank_clear_ms >= _CRANK_CLEAR_MS:
            self._started = 1
            self._become(UNKNOWN, t_ms)
        elif self._crank_ms > _CRANK_LONGEST_MS:
            self._flat = 1
            self._become(UNKNOWN, t_ms)
        return True

    def _follow_held(self, low_mv):
        """Three rows in succession: a starter's first inrush passes, what holds is the battery."""
        self.crank_low_mv = min(self.crank_low_mv, low_mv)
        if self._crank_before_mv != ABSENT:
            held_mv = max(low_mv, self._crank_last_mv, self._crank_before_mv)
            if self.crank_held_mv == ABSENT or held_mv < self.crank_held_mv:
                self.crank_held_mv = held_mv
        self._crank_before_mv = self._crank_last_mv
        self._crank_last_mv = low_mv

    def _contradict(self, bus_mv, clamp_ma, dt_ms) -> bool:
        """True if volts and amps cannot both be right.

        Current out of the battery while the volts stand at a charging level is impossible, but
        for the seconds in which a new deficit drains the surface charge: then the volts have
        just dropped from where the two last agreed.
        """
        th = self.thresholds
        wrong = clamp_ma != ABSENT and (
            (clamp_ma < -th.clamp_dead_ma and bus_mv >= th.healthy_mv and bus_mv > self._agreed_mv - 100)
            or (clamp_ma > th.clamp_dead_ma and bus_mv < th.empty_mv)
        )
        if wrong:
            self._contra_ms = min(self._contra_ms + dt_ms, 2 * th.sensor_ms)
        else:
            self._contra_ms = max(self._contra_ms - dt_ms, 0)
            self._agreed_mv = bus_mv
        return wrong

    def _judge(self, t_ms, low_mv, bus_mv, high_mv, clamp_ma, dt_ms):
        th = self.thresholds
        state = self.state
        band_mv = th.hysteresis_mv
        has_clamp = clamp_ma != ABSENT
        key = self.key
        alive = self._quiet_ms < _ALIVE_MS
        if key == 0:
            self._running = self._started = self._alive_ms = 0
        else:
            self._infer_running(state, alive, dt_ms)
        running = self._running
        alive = alive or key == 1

        over_mv = th.overcharge_mv - (band_mv if state == OVERCHARGE else 0)
        over = bus_mv > over_mv and low_mv > over_mv - band_mv
        if has_clamp:
            dead_ma = th.clamp_dead_ma
            discharge = clamp_ma < -(dead_ma // 2 if state == DISCHARGING else dead_ma)
            counts = not (discharge and self._begins_inside(high_mv))
            if not discharge:
                self._partial = 0
        else:
            limit_mv = th.discharging_mv + (band_mv if state == DISCHARGING else 0)
            # The highest sample too: a second that merely contains a dip is no low second.
            discharge = running and bus_mv < limit_mv and high_mv < limit_mv + band_mv
            counts = alive or not discharge
        limit_mv = th.marginal_mv + (band_mv if state == MARGINAL or state == DISCHARGING else 0)
        low = bus_mv < limit_mv
        good = not (over or discharge or low)

        self._over.run(over, t_ms, dt_ms)
        # Low volts that do not move may be a parked car: they neither add to a dwell nor end it.
        if counts:
            self._discharge.run(discharge, t_ms, dt_ms)
        if alive or not low:
            self._marginal.run(running and low, t_ms, dt_ms)
        self._good.run(good, t_ms, dt_ms)
        self._clear.run(not (over if state == OVERCHARGE else discharge), t_ms, dt_ms)

        if (
            key != 1
            and self._quiet_ms >= (_ALIVE_MS if key == 0 else th.rest_ms)
            and bus_mv < th.marginal_mv
            and (not has_clamp or -th.clamp_dead_ma <= clamp_ma <= th.clamp_dead_ma)
        ):
            self._running = self._started = self._alive_ms = 0
            self._become(REST, (t_ms - self._quiet_ms) & TICKS_MASK)
            self._forget_dwells()
        elif self._over.ms >= th.overcharge_ms:
            self._become(OVERCHARGE, self._over.since_ms)
        elif self._discharge.ms >= th.discharging_ms:
            self._become(DISCHARGING, self._discharge.since_ms)
        elif state == DISCHARGING or state == OVERCHARGE:
            if self._clear.ms >= th.clear_ms:
                after = CHARGING if not low else MARGINAL if running else UNKNOWN
                self._become(after, self._clear.since_ms)
        elif self._marginal.ms >= th.marginal_ms:
            self._become(MARGINAL, self._marginal.since_ms)
        elif self._good.ms >= (th.clear_ms if state == MARGINAL else th.charging_ms):
            self._running = 1
            self._become(CHARGING, self._good.since_ms)
        elif (key == 1 and state == REST) or (key == 0 and low and state != REST):
            self._become(UNKNOWN, t_ms)

    def _begins_inside(self, high_mv) -> bool:
        """True for a first row of discharge that still holds a sample of the volts before it: the
        mean current of a second says nothing of how much of that second was discharge."""
        if self._discharge.ms or self._partial or self._previous_mv == ABSENT:
            return False
        self._partial = 1 if high_mv > self._previous_mv - _SAME_LEVEL_MV else 0
        return bool(self._partial)

    def _infer_running(self, state, alive, dt_ms):
        """Charging volts prove a running engine; so does one that stays alive after a crank."""
        if self._running or state == REST or not alive:
            return
        self._alive_ms += dt_ms
        if self._alive_ms >= (_STARTED_MS if self._started else _RUNNING_MS):
            self._running = 1

    # -- the verdict --------------------------------------------------------------------------

    def _become(self, state, since_ms):
        if state != self.state:
            self.state = state
            self.since_ms = since_ms

    def _forget_dwells(self):
        for dwell in self._dwells:
            dwell.ms = 0
            dwell.since_ms = 0

    def _warn(self, bus_mv, dt_ms):
        th = self.thresholds
        state = self.state
        warnings = 0
        if state == DISCHARGING:
            warnings |= WARN_DISCHARGING
        elif state == OVERCHARGE:
            warnings |= WARN_OVERCHARGE
        elif state == MARGINAL:
            warnings |= WARN_MARGINAL
        if self._contra_ms >= th.sensor_ms or self._blind_ms >= th.sensor_ms:
            warnings |= WARN_SENSOR
        # Said from the crank until the car is parked again.
        if state != REST and self.crank_held_mv != ABSENT and self.crank_held_mv < th.weak_crank_mv:
            warnings |= WARN_WEAK_CRANK
        if state == REST and bus_mv < th.low_rest_mv:
            self._low_rest_ms = min(self._low_rest_ms + dt_ms, _TIMER_TOP)
        else:
            self._low_rest_ms = 0
        if self._low_rest_ms >= _LOW_REST_MS:
            warnings |= WARN_LOW_REST
        if state == REST:
            self.crank_low_mv = self.crank_held_mv = ABSENT
        self.warnings = warnings

    # -- carrying the engine across segments --------------------------------------------------

    def snapshot(self) -> tuple:
        """Everything the next step depends on, as integers in the order of FIELDS."""
        return tuple([self._get(name) for name in FIELDS])

    def restore(self, snapshot):
        """Take up where the engine that gave `snapshot` stood."""
        for name, value in zip(FIELDS, snapshot):
            self._set(name, value)

    def _get(self, name):
        if "." in name:
            dwell, name = name.split(".")
            return getattr(getattr(self, dwell), name)
        return getattr(self, name)

    def _set(self, name, value):
        if "." in name:
            dwell, name = name.split(".")
            setattr(getattr(self, dwell), name, value)
        else:
            setattr(self, name, value)


# In the journal's header in this order: only ever append.
FIELDS = (
    "state", "warnings", "since_ms", "crank_low_mv", "crank_held_mv",
    "_crank_last_mv", "_crank_before_mv",
    "_seen", "_last_ms", "_previous_mv", "_before_mv", "_agreed_mv",
    "_running", "_started", "_flat", "_quiet_ms", "_alive_ms", "_blind_ms", "_contra_ms",
    "_crank_ms", "_crank_clear_ms", "_low_rest_ms", "_partial",
    "_over.ms", "_over.since_ms", "_discharge.ms", "_discharge.since_ms",
    "_marginal.ms", "_marginal.since_ms", "_good.ms", "_good.since_ms",
    "_clear.ms", "_clear.since_ms",
)  # fmt: skip
