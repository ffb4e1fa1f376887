"""The engine's verdicts over many rows at once: the very same as stepping it, in a fraction of the time.

`chargecore.engine.Engine` decides. While its state stays, though, it is no more than a set of timers,
each driven by conditions on the row alone: the timers are sums of row lengths, the row at which one runs
out is looked up, and all rows before it are passed at once. Wherever the state may change, and wherever
this module does not know for certain that it cannot, the engine itself takes the row.

How it goes
1. Each condition of the engine is worked out for every row of a block (`_Block`). Neighbouring rows in
   which all are alike make a run: from here on there are runs, not rows.
2. For a state (and key, running, flat) the timers are added up over the runs (`_Bank`): for each one the
   runs that count, those that zero it, those that leave it be.
3. From a row on, `_Block.until` finds the first row that might do more than move timers. A stretch before
   it is passed by writing the engine's fields as they stand after its last row; that row is stepped.

What each field does in a stretch of rows e to x-1 that is passed (`_Block.go`)
* state, since_ms, warnings: stay. A row that could change one of them ends the stretch.
* _last_ms, _seen, _previous_mv, _before_mv: from the last two rows.
* _over, _discharge, _marginal, _good, _clear: timers; `since_ms` is where the last count from zero began.
  A clamp's first row of discharge that begins inside the row before it counts towards nothing, and low
  volts that do not move neither count nor zero, as in the engine. At rest all are forgotten (ms and since).
* _partial: with a clamp, 0 unless the last rows discharge; then whether the first of them began inside.
* _alive_ms: a timer that nothing zeroes, while the engine is not known to run. _started: stays; with the
  key off both are 0.
* _running: stays; with the key off only charging that has held its dwell sets it.
* _quiet_ms: the time since the volts moved last. Where what a block assumed of it (each gap forgets,
  or none does) does not fit the engine's own, rows are stepped until it makes no difference.
* _blind_ms: 0. _agreed_mv: the last row's volts. _contra_ms: runs down to 0; ends before it lets the
  warning go. Rows whose volts and amps may contradict each other are never in such a stretch.
* _low_rest_ms: a timer at rest, elsewhere 0; ends before it changes the warning.
* _flat: stays; while set, the row that clears it ends the stretch, otherwise the row that may be a crank.
* crank_low_mv, crank_held_mv: stay, at rest they are forgotten. _crank_last_mv, _crank_before_mv,
  _crank_ms, _crank_clear_ms: stay. A crank is stepped.
Two more kinds of stretch: rows without volts once there is no verdict (`_blind`), and rows that contradict
themselves (`_contradiction`); both freeze everything but the timers named there.
"""

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from chargecore import engine
from chargecore.engine import CHARGING, CRANK, DISCHARGING, MARGINAL, OVERCHARGE, REST, UNKNOWN, Engine
from chargecore.units import ABSENT, TICKS_MASK

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Finish = Callable[[Engine, int, int], None]

_BLOCK = 1 << 15  # rows whose conditions are worked out at once
_SHORT = 12  # rows that are sooner stepped than passed
_PATIENCE = 64  # rows stepped at most before the next look ahead, where nothing could be passed

_DWELLS = ("_over", "_discharge", "_marginal", "_good", "_clear")
_OVER, _DISCHARGE, _MARGINAL, _GOOD, _CLEAR, _ALIVE, _LOW_REST = range(7)  # timers of a bank
_TIMERS = np.arange(7)
_FAR = 1 << 60


def stride(
    judge: Engine, t_ms: Ints, low_mv: Ints, bus_mv: Ints, high_mv: Ints, clamp_ma: Ints
) -> tuple[Ints, Ints, Ints]:
    """(state, warnings, since_ms) after each row, as `judge.step` would leave them, and `judge` likewise.

    The arrays are int64 and equally long, a row each, as the arguments of `Engine.step`; `t_ms` may be on
    the wrapping clock or unwrapped (it is taken through TICKS_MASK), `since_ms` is on the wrapping one.
    `judge.key` is in force for all of them. However the rows are cut into calls, the result is the same;
    but a call has its price, so that many rows should come in one. ValueError if the lengths differ.
    """
    columns = [np.asarray(column, dtype=np.int64) for column in (t_ms, low_mv, bus_mv, high_mv, clamp_ma)]
    if len({column.shape for column in columns}) != 1 or columns[0].ndim != 1:
        raise ValueError(f"columns of different lengths: {', '.join(str(column.shape) for column in columns)}")
    columns[0] = columns[0] & TICKS_MASK
    verdicts = np.empty((3, len(columns[0])), dtype=np.int64)
    for first in range(0, verdicts.shape[1], _BLOCK):
        part = slice(first, first + _BLOCK)
        _judge(judge, [column[part] for column in columns], verdicts[:, part])
    return verdicts[0], verdicts[1], verdicts[2]


def _judge(judge: Engine, columns: list[Ints], verdicts: Ints) -> None:
    """Fill in the verdicts on one block's rows."""
    count = verdicts.shape[1]
    block = _Block(judge, *columns) if count > _PATIENCE else None
    at, patience = 0, 1
    while at < count:
        stop = at
        if block and judge.state != CRANK:
            stop, finish = block.until(judge, at)
            if stop - at >= _SHORT:
                finish(judge, at, stop)
                verdicts[:, at:stop] = [[judge.state], [judge.warnings], [judge.since_ms]]
                at, patience = stop, 1
        # The row that may change something; ever more of them where looking ahead does not pay.
        upto = min(count, max(stop + 1, at + patience))
        patience = min(2 * patience, _PATIENCE)
        rows = zip(*(column[at:upto].tolist() for column in columns), strict=True)
        for at, row in enumerate(rows, at):  # noqa: B020
            verdicts[0, at] = judge.step(*row)
            verdicts[1, at] = judge.warnings
            verdicts[2, at] = judge.since_ms
        at = upto


class _Block:
    """Rows, what holds in each, and the runs of rows in which the same holds.

    Row `i` lasts from `clock[i]` to `clock[i + 1]` [ms since the block began]; `t_ms[i]` is when it began
    on the wrapping clock. Run `k` begins with row `starts[k]`; `run[condition][k]` is whether the condition
    holds in it.
    """

    def __init__(self, judge: Engine, t_ms: Ints, low: Ints, bus: Ints, high: Ints, clamp: Ints) -> None:
        th = judge.thresholds
        self.thresholds = th
        self.key = judge.key
        self.bus = bus
        self.t_ms = np.concatenate(([judge._last_ms & TICKS_MASK], t_ms))
        length = np.diff(self.t_ms) & TICKS_MASK
        if not judge._seen:
            length[0] = 0
        self.clock = _summed(length)
        earlier = np.concatenate(([judge._before_mv, judge._previous_mv], bus))
        before, previous = earlier[:-2], earlier[1:-1]
        blind = bus == ABSENT
        gap, hole = length > engine._GAP_MS, length > engine._REST_GAP_MS
        has_clamp = clamp != ABSENT

        # Stillness: the moment at which the volts moved last, on a clock that stands in rows without volts.
        moved = (high - low > th.still_mv) | ((np.abs(bus - previous) > th.still_mv) & (previous != ABSENT))
        moved &= ~blind
        self.seeing = _summed(np.where(blind, 0, length)) if blind.any() else self.clock
        self.moved_at = self._latest(moved | hole, -judge._quiet_ms)
        self.quiet_at_rest = self.quiet = self.seeing[1:] - self.moved_at
        if (gap & ~hole).any():  # forgets everything, but not at rest
            self.quiet = self.seeing[1:] - self._latest(moved | gap, -judge._quiet_ms)
        self.first_quiet = judge._quiet_ms
        self.rest_ms = engine._ALIVE_MS if self.key == 0 else th.rest_ms

        dead_ma, band_mv = th.clamp_dead_ma, th.hysteresis_mv
        in_dead = ~has_clamp | ((clamp >= -dead_ma) & (clamp <= dead_ma))
        may_rest = (bus < th.marginal_mv) & in_dead
        crank = low < th.crank_mv
        if crank.any():
            # `before` may be more than the engine remembers: then it finds no crank where one is feared.
            crank &= np.maximum(np.maximum(previous, before), high) - low >= th.crank_drop_mv
        self.drained = (clamp > dead_ma) & (bus < th.empty_mv) & ~blind
        suspect = self.drained | (has_clamp & (clamp < -dead_ma) & (bus >= th.healthy_mv))

        def discharge(limit_ma: int, limit_mv: int) -> Bools:
            by_volts = (bus < limit_mv) & (high < limit_mv + band_mv)
            return np.where(has_clamp, clamp < -limit_ma, by_volts)

        def over(limit_mv: int) -> Bools:
            return (bus > limit_mv) & (low > limit_mv - band_mv)

        def inside(discharges: Bools) -> Bools:
            first = np.zeros_like(discharges)
            first[1:] = discharges[1:] & ~discharges[:-1]
            return first & has_clamp & (high > previous - engine._SAME_LEVEL_MV) & (previous != ABSENT)

        odd = (length == 0) | hole
        odd[1:] |= has_clamp[1:] != has_clamp[:-1]
        within, within_band = (
            discharge(dead_ma, th.discharging_mv),
            discharge(dead_ma // 2, th.discharging_mv + band_mv),
        )
        conditions = {
            "odd": odd, "gap": gap, "blind": blind, "suspect": suspect, "crank": crank,
            "lifted": low >= th.crank_mv + band_mv, "clamp": has_clamp,
            "over": over(th.overcharge_mv), "over banded": over(th.overcharge_mv - band_mv),
            "discharge": within, "discharge banded": within_band,
            "inside": inside(within), "inside banded": inside(within_band),
            "low": bus < th.marginal_mv, "low banded": bus < th.marginal_mv + band_mv,
            "alive": self.quiet < engine._ALIVE_MS, "parks": may_rest & (self.quiet >= self.rest_ms),
            "parked": may_rest & (self.quiet_at_rest >= self.rest_ms), "low at rest": bus < th.low_rest_mv,
        }  # fmt: skip
        changes = np.zeros(len(bus), dtype=np.bool_)
        changes[0] = True
        for holds in conditions.values():
            changes[1:] |= holds[1:] != holds[:-1]
        self.starts = np.flatnonzero(changes)
        self.run = {name: holds[self.starts] for name, holds in conditions.items()}
        self.begins = self.clock[self.starts]
        self.lasts = np.diff(self.begins, append=self.clock[-1:])
        self._banks: dict[tuple[int, ...], _Bank] = {}
        self._ends: dict[str, Ints] = {}

    def _latest(self, when: Bools, before_all: int) -> Ints:
        return np.maximum.accumulate(np.where(when, self.seeing[1:], before_all))

    def row_after(self, moment_ms: int) -> int:
        """The first row that ends at `moment_ms` of the clock or later."""
        return int(self.clock.searchsorted(moment_ms)) - 1

    # -- a stretch ----------------------------------------------------------------------------

    def until(self, judge: Engine, at: int) -> tuple[int, Finish]:
        """The first row from `at` on that may do more than move timers, and what passes those before it."""
        here = int(self.starts.searchsorted(at, side="right")) - 1
        if self.run["blind"][here]:
            return self._blind_until(judge, at, here), self._blind
        if self.run["suspect"][here]:
            return self._contradiction_until(judge, at, here), self._contradiction
        bank = self._bank(judge)
        stop = bank.until(judge, at, here) if self._fits(judge, bank, at, here) else at
        spare_ms = judge._contra_ms - self.thresholds.sensor_ms
        if spare_ms >= 0:
            stop = min(stop, self.row_after(int(self.clock[at]) + spare_ms + 1))
        return stop, bank.go

    def _bank(self, judge: Engine) -> "_Bank":
        running = judge._running if self.key != 0 else 0
        name = (judge.state, running, judge._started, judge._flat)
        if name not in self._banks:
            self._banks[name] = _Bank(self, *name)
        return self._banks[name]

    def _fits(self, judge: Engine, bank: "_Bank", at: int, here: int) -> bool:
        """Whether what the block took for granted holds for the engine before row `at`."""
        if judge.state == REST and (self.key == 1 or judge._running or judge._started or judge._alive_ms):
            return False
        quiet = self.quiet_at_rest if judge.state == REST else self.quiet
        quiet_ms = int(quiet[at - 1]) if at else self.first_quiet
        if quiet_ms != judge._quiet_ms and min(quiet_ms, judge._quiet_ms) < self.rest_ms:
            return False
        # In the midst of a clamp's discharge, or not in it at all: no first row of it that the block missed.
        midst = judge._discharge.ms > 0 or judge._partial
        return not (bank.by_clamp[here] and (bank.inside[here] or not midst))

    def pass_rows(self, judge: Engine, at: int, stop: int) -> None:
        """What every row with volts does to the engine."""
        judge._seen = 1
        judge._last_ms = int(self.t_ms[stop])
        judge._before_mv = int(self.bus[stop - 2]) if stop - at > 1 else judge._previous_mv
        judge._previous_mv = int(self.bus[stop - 1])
        judge._blind_ms = 0
        since_ms, moved_ms = int(self.seeing[at]), int(self.moved_at[stop - 1])
        if moved_ms > since_ms:
            judge._quiet_ms, since_ms = 0, moved_ms
        judge._quiet_ms = self._topped(self.seeing, judge._quiet_ms, since_ms, int(self.seeing[stop]))

    @staticmethod
    def _topped(clock: Ints, held_ms: int, since_ms: int, until_ms: int) -> int:
        """What a timer that stood at `held_ms` shows at `until_ms`: at its top it grows no more."""
        if held_ms < engine._TIMER_TOP <= held_ms + until_ms - since_ms:
            until_ms = int(clock[clock.searchsorted(since_ms + engine._TIMER_TOP - held_ms)])
        return held_ms if held_ms >= engine._TIMER_TOP else held_ms + until_ms - since_ms

    # -- rows without volts, rows that contradict themselves ------------------------------------

    def _end_of(self, name: str, here: int, *, ends: Callable[[], Bools]) -> int:
        """The first row, from run `here` on, of a run in which `ends` holds."""
        if name not in self._ends:
            self._ends[name] = np.append(np.flatnonzero(ends()), len(self.starts))
        run = int(self._ends[name][self._ends[name].searchsorted(here)])
        return int(self.starts[run]) if run < len(self.starts) else len(self.bus)

    def _blind_until(self, judge: Engine, at: int, here: int) -> int:
        if judge.state != UNKNOWN:
            return at
        stop = self._end_of("blind", here, ends=lambda: ~self.run["blind"] | self.run["gap"] | self.run["odd"])
        short_ms = self.thresholds.sensor_ms - judge._blind_ms
        return min(stop, self.row_after(int(self.clock[at]) + short_ms)) if short_ms > 0 else stop

    def _blind(self, judge: Engine, at: int, stop: int) -> None:
        judge._seen = 1
        judge._last_ms = int(self.t_ms[stop])
        judge._previous_mv = judge._before_mv = ABSENT
        judge._blind_ms = min(judge._blind_ms + int(self.clock[stop] - self.clock[at]), engine._TIMER_TOP)
        judge._forget_dwells()
        judge._warn(ABSENT, 0)

    def _contradiction_until(self, judge: Engine, at: int, here: int) -> int:
        short_ms = self.thresholds.sensor_ms - judge._contra_ms
        if judge.state == REST or (short_ms <= 0 and (judge.state != UNKNOWN or _standing(judge))):
            return at
        crank = "lifted" if judge._flat else "crank"
        stop = self._end_of(
            "suspect " + crank, here,
            ends=lambda: ~self.run["suspect"] | self.run["gap"] | self.run["odd"] | self.run[crank],
        )  # fmt: skip
        if stop > at:  # as `Engine._contradict` has it
            right = ~self.drained[at:stop] & (self.bus[at:stop] <= judge._agreed_mv - 100)
            stop = at + int(right.argmax()) if right.any() else stop
        return min(stop, self.row_after(int(self.clock[at]) + short_ms)) if short_ms > 0 else stop

    def _contradiction(self, judge: Engine, at: int, stop: int) -> None:
        self.pass_rows(judge, at, stop)
        passed_ms = int(self.clock[stop] - self.clock[at])
        judge._contra_ms = min(judge._contra_ms + passed_ms, 2 * self.thresholds.sensor_ms)
        judge._warn(judge._previous_mv, 0)


def _standing(judge: Engine) -> bool:
    """Whether any dwell stands, or remembers where it began."""
    return any(dwell.ms or dwell.since_ms for dwell in judge._dwells)


def _summed(lengths: Ints) -> Ints:
    return np.concatenate(([0], np.cumsum(lengths)))


class _Bank:
    """The timers of a block while the engine stays in one state: the five dwells, `_alive_ms`, `_low_rest_ms`.

    `counted[timer, k]`: what the timer would have counted before run `k` [ms], never zeroed. The last run
    up to `k` that zeroed it, and in which it began to count anew, stand in `zeroed` and `began` (-1: none);
    the next run from `k` on that zeroes it in `next_zero`.
    """

    def __init__(self, block: _Block, state: int, running: int, started: int, flat: int) -> None:
        th, run, key = block.thresholds, block.run, block.key
        self.block, self.state = block, state
        count = len(block.starts)
        low = run["low banded" if state in (MARGINAL, DISCHARGING) else "low"]
        over = run["over banded" if state == OVERCHARGE else "over"]
        band = " banded" if state == DISCHARGING else ""
        discharge = run["discharge" + band] & (run["clamp"] | bool(running))
        self.inside = run["inside" + band]
        self.by_clamp = run["clamp"] & discharge
        moving = run["alive"] | (key == 1)
        good = ~(over | discharge | low)
        clear = ~(over if state == OVERCHARGE else discharge)
        infers = state != REST and not running and key != 0

        never = np.zeros(count, dtype=np.bool_)
        counts = np.array([
            over, discharge & ~self.inside & (run["clamp"] | moving), low & moving & bool(running), good, clear,
            run["alive"] if infers else never, run["low at rest"] if state == REST else never,
        ])  # fmt: skip
        zeroes = np.array([
            ~over, ~discharge, ~low if running else ~low | moving, ~good, ~clear,
            ~never if key == 0 else never, ~run["low at rest"] if state == REST else ~never,
        ])  # fmt: skip
        odd = run["odd"] | run["suspect"] | run["blind"] | run["lifted" if flat else "crank"]
        self.forgotten = np.full(count, -1)
        if state == REST:
            counts[:5] &= ~run["parked"]
            zeroes[:5] |= run["parked"]
            self.forgotten = np.maximum.accumulate(np.where(run["parked"], np.arange(count), -1))
        else:
            odd = odd | run["gap"] | (run["parks"] & (key != 1)) | (low & (key == 0 and state in (CHARGING, MARGINAL)))
        self.odd = np.append(np.flatnonzero(odd), count)

        runs = np.arange(count)
        self.counts = counts
        self.counted = np.zeros((len(counts), count + 1), dtype=np.int64)
        np.cumsum(counts * block.lasts, axis=1, out=self.counted[:, 1:])
        self.zeroed = np.maximum.accumulate(np.where(zeroes, runs, -1), axis=1)
        self.next_zero = np.minimum.accumulate(np.where(zeroes, runs, count)[:, ::-1], axis=1)[:, ::-1]
        at_zero = np.take_along_axis(self.counted, self.zeroed + 1, axis=1)
        self.before = self.counted[:, :-1] - at_zero
        self.began = np.maximum.accumulate(np.where(counts & (self.before == 0), runs, -1), axis=1)
        self.limits = [(timer, limit_ms, *self._reached(timer, limit_ms)) for timer, limit_ms in self._limits(
            running=bool(running), infers=infers, started=bool(started))]  # fmt: skip

    def _limits(self, *, running: bool, infers: bool, started: bool) -> Iterable[tuple[int, int]]:
        """The timers whose running out may change something in this state, and when they do [ms]."""
        th, state = self.block.thresholds, self.state
        if state != OVERCHARGE:
            yield _OVER, th.overcharge_ms
        if state != DISCHARGING:
            yield _DISCHARGE, th.discharging_ms
        if state in (UNKNOWN, CHARGING):
            yield _MARGINAL, th.marginal_ms
        if state in (UNKNOWN, REST, MARGINAL) or (state == CHARGING and not running and self.block.key != 0):
            yield _GOOD, th.clear_ms if state == MARGINAL else th.charging_ms
        if state in (DISCHARGING, OVERCHARGE):
            yield _CLEAR, th.clear_ms
        if infers:
            yield _ALIVE, engine._STARTED_MS if started else engine._RUNNING_MS
        if state == REST:
            yield _LOW_REST, engine._LOW_REST_MS

    def _reached(self, timer: int, limit_ms: int) -> tuple[Ints, Ints]:
        """The runs in which the timer reaches its limit, counting from a zero in this block, and the rows."""
        block, before = self.block, self.before[timer]
        found = np.flatnonzero((before < limit_ms) & (before + self.counts[timer] * block.lasts >= limit_ms))
        return found, block.clock.searchsorted(block.begins[found] + limit_ms - before[found]) - 1

    def _stood(self, judge: Engine, at: int, here: int) -> tuple[Ints, Ints]:
        """The timers before row `at`, of run `here`: as the engine has them, and as `counted` would."""
        stood = [dwell.ms for dwell in judge._dwells] + [judge._alive_ms, judge._low_rest_ms]
        return np.array(stood), self._counted(at, here)

    def _counted(self, row: int, run: int) -> Ints:
        into_ms = self.block.clock[row] - self.block.begins[run]
        counted: Ints = self.counted[:, run] + self.counts[:, run] * into_ms
        return counted

    def until(self, judge: Engine, at: int, here: int) -> int:
        """The first row from `at`, of run `here`, on that may do more than move timers."""
        block = self.block
        odd = int(self.odd[self.odd.searchsorted(here)])
        stop = int(block.starts[odd]) if odd < len(block.starts) else len(block.bus)
        if stop <= at:
            return at
        stood, counted = self._stood(judge, at, here)
        for timer, limit_ms, runs, rows in self.limits:
            zero = int(self.next_zero[timer, here])
            left_ms = limit_ms - int(stood[timer])
            if timer == _LOW_REST and left_ms <= 0:  # said already: what matters is when it is no longer
                stop = min(stop, int(block.starts[zero]) if zero < len(block.starts) else stop)
                continue
            if zero > here:
                stop = min(stop, self._row(timer, int(counted[timer]) + left_ms, zero))
            later = int(runs.searchsorted(zero))
            if later < len(runs):
                stop = min(stop, int(rows[later]))
        return max(stop, at)

    def _row(self, timer: int, target_ms: int, before_run: int) -> int:
        """The row at whose end the timer has counted `target_ms`; far away if not before that run."""
        run = int(self.counted[timer].searchsorted(target_ms)) - 1
        if run >= before_run:
            return _FAR
        return (
            self.block.row_after(int(self.block.begins[run] + target_ms - self.counted[timer, run])) if run >= 0 else 0
        )

    def go(self, judge: Engine, at: int, stop: int) -> None:
        """Pass the rows from `at` to before `stop`: the engine's fields as stepping would leave them."""
        block = self.block
        here, last = (block.starts.searchsorted([at, stop - 1], side="right") - 1).tolist()
        stood, counted = self._stood(judge, at, here)
        zeroed = self.zeroed[:, last]
        since_zero = zeroed >= here
        base = np.where(since_zero, self.counted[_TIMERS, zeroed + 1], counted - stood)
        timers = (self._counted(stop, last) - base).tolist()
        for timer, (dwell, ms) in enumerate(zip(judge._dwells, timers, strict=False)):
            dwell.since_ms = self._since(dwell, timer, at, here, last)
            if ms < engine._TIMER_TOP:
                dwell.ms = ms
            elif since_zero[timer] or dwell.ms < engine._TIMER_TOP:  # at its top it grows no more
                row = self._row(timer, int(base[timer]) + engine._TIMER_TOP, last + 1)
                run = int(block.starts.searchsorted(row, side="right")) - 1
                dwell.ms = int(self._counted(row + 1, run)[timer] - base[timer])
        judge._alive_ms, judge._low_rest_ms = timers[_ALIVE], min(timers[_LOW_REST], engine._TIMER_TOP)
        if block.run["clamp"][here] and since_zero[_DISCHARGE]:
            judge._partial = int(self.inside[zeroed[_DISCHARGE] + 1]) if zeroed[_DISCHARGE] < last else 0
        if block.key == 0 and self.state != REST:
            judge._started = 0
            judge._running = int(self.state == CHARGING and judge._good.ms >= block.thresholds.charging_ms)
        judge._contra_ms = max(judge._contra_ms - int(block.clock[stop] - block.clock[at]), 0)
        block.pass_rows(judge, at, stop)
        judge._agreed_mv = judge._previous_mv
        judge._warn(judge._previous_mv, 0)

    def _since(self, dwell: engine.Dwell, timer: int, at: int, here: int, last: int) -> int:
        """When the dwell began to count from zero for the last time; 0 where it was forgotten since."""
        block = self.block
        began, zero, forgotten = (
            int(self.began[timer, last]),
            int(self.next_zero[timer, here]),
            int(self.forgotten[last]),
        )
        if forgotten >= here:
            return int(block.t_ms[block.starts[began]]) if began > forgotten else 0
        if began > zero:
            return int(block.t_ms[block.starts[began]])
        if dwell.ms == 0:
            counting = np.flatnonzero(self.counts[timer, here : min(zero, last + 1)])
            if len(counting):
                return int(block.t_ms[max(int(block.starts[here + counting[0]]), at)])
        return int(dwell.since_ms)
