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

from collections.abc import Callable

import numpy as np

from chargecore import engine
from chargecore.engine import CRANK, REST, UNKNOWN, Engine
from chargecore.units import ABSENT, TICKS_MASK
from underdash.review.conditions import Bools, Conditions, Ints
from underdash.review.timers import SPAN, Timers

_BLOCK = 1 << 16  # rows whose conditions are worked out at once
_SHORT = 8  # rows that are sooner stepped than passed
_PATIENCE = 64  # rows stepped at most before the next look ahead, where nothing could be passed


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
            stop, here, go = block.until(judge, at)
            if stop - at >= _SHORT:
                go(judge, at, stop, here)
                verdicts[0, at:stop] = judge.state
                verdicts[1, at:stop] = judge.warnings
                verdicts[2, at:stop] = judge.since_ms
                at, patience = stop, 1
        # The row that may change something; ever more of them where looking ahead does not pay.
        upto = min(count, max(stop + 1, at + patience))
        patience = min(2 * patience, _PATIENCE)
        for row in zip(*(column[at:upto].tolist() for column in columns), strict=True):
            verdicts[0, at] = judge.step(*row)
            verdicts[1, at] = judge.warnings
            verdicts[2, at] = judge.since_ms
            at += 1


class _Block:
    """A block's rows, and the stretches in them that can be passed."""

    def __init__(self, judge: Engine, *columns: Ints) -> None:
        self.rows = Conditions(judge, *columns)
        self._timers: dict[tuple[int, int, int, int], Timers] = {}
        self._stops: dict[str, Ints] = {}

    def until(self, judge: Engine, at: int) -> tuple[int, int, Callable[[Engine, int, int, int], None]]:
        """The first row from `at` on that may do more than move timers, the run that `at` is in, and what
        passes the rows between."""
        rows = self.rows
        here = rows.run_of(at)
        if rows.run["blind"][here]:
            return self._blind_until(judge, at, here), here, self._blind
        if rows.run["suspect"][here]:
            return self._contradiction_until(judge, at, here), here, self._contradiction
        first = here - here % SPAN
        name = (first, judge.state, judge._running if rows.key != 0 else 0, judge._flat)
        timers = self._timers.get(name) or self._timers.setdefault(name, Timers(rows, *name))
        if not (self._fits(judge, at, here) and timers.knows(judge, here)):
            return at, here, timers.go
        stop = timers.until(judge, at, here)
        left_ms = rows.thresholds.sensor_ms - judge._contra_ms
        if left_ms <= 0:
            stop = min(stop, rows.row_ending(int(rows.clock[at]) - left_ms + 1))
        if rows.wronged[-1] > rows.wronged[here]:  # as if none went down again: sooner than it must
            wrong = int(rows.wronged.searchsorted(rows.wronged[here] + max(left_ms, 1))) - 1
            stop = min(stop, rows.start(wrong))
        return stop, here, timers.go

    def _fits(self, judge: Engine, at: int, here: int) -> bool:
        """Whether what the block took for granted is so with this engine, before row `at`."""
        rows = self.rows
        if rows.run["settled"][here]:
            return False
        if judge.state == REST and (rows.key == 1 or judge._running or judge._started or judge._alive_ms):
            return False
        quiet = rows.quiet_at_rest if judge.state == REST else rows.quiet
        quiet_ms = int(quiet[at - 1]) if at else rows.first_quiet_ms
        return quiet_ms == judge._quiet_ms or min(quiet_ms, judge._quiet_ms) >= rows.rest_ms

    # -- rows without volts, rows that contradict themselves ------------------------------------

    def _stop(self, name: str, here: int, *, when: Callable[[], Bools]) -> int:
        """The first row of the first run, from `here` on, in which the condition holds."""
        if name not in self._stops:
            self._stops[name] = np.append(np.flatnonzero(when()), len(self.rows.starts))
        return self.rows.start(int(self._stops[name][self._stops[name].searchsorted(here)]))

    def _blind_until(self, judge: Engine, at: int, here: int) -> int:
        rows = self.rows
        if judge.state != UNKNOWN:
            return at
        stop = self._stop("blind", here, when=lambda: ~rows.run["blind"] | rows.run["gap"] | rows.run["odd"])
        left_ms = rows.thresholds.sensor_ms - judge._blind_ms
        return max(at, min(stop, rows.row_ending(int(rows.clock[at]) + left_ms)) if left_ms > 0 else stop)

    def _blind(self, judge: Engine, at: int, stop: int, here: int) -> None:
        judge._seen = 1
        judge._last_ms = int(self.rows.t_ms[stop])
        judge._previous_mv = judge._before_mv = ABSENT
        passed_ms = int(self.rows.clock[stop] - self.rows.clock[at])
        judge._blind_ms = min(judge._blind_ms + passed_ms, engine._TIMER_TOP)
        judge._forget_dwells()
        judge._warn(ABSENT, 0)

    def _contradiction_until(self, judge: Engine, at: int, here: int) -> int:
        rows = self.rows
        left_ms = rows.thresholds.sensor_ms - judge._contra_ms
        standing = any(dwell.ms or dwell.since_ms for dwell in judge._dwells)
        if judge.state == REST or (left_ms <= 0 and (judge.state != UNKNOWN or standing)):
            return at
        run, crank = rows.run, "lifted" if judge._flat else "crank"
        stop = self._stop(crank, here, when=lambda: ~run["suspect"] | run["gap"] | run["odd"] | run[crank])
        # As in Engine._contradict, where the volts that last agreed stay what they are as long as it is so.
        right = ~rows.drained[at:stop] & (rows.bus[at:stop] <= judge._agreed_mv - 100)
        stop = at + int(right.argmax()) if right.any() else stop
        return max(at, min(stop, rows.row_ending(int(rows.clock[at]) + left_ms)) if left_ms > 0 else stop)

    def _contradiction(self, judge: Engine, at: int, stop: int, here: int) -> None:
        rows = self.rows
        passed_ms = int(rows.clock[stop] - rows.clock[at])
        rows.pass_rows(judge, at, stop)
        judge._contra_ms = min(judge._contra_ms + passed_ms, 2 * rows.thresholds.sensor_ms)
        judge._warn(judge._previous_mv, 0)
