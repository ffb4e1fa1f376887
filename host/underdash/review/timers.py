"""The engine's timers while it stays in one state: when one runs out, and where they stand after a stretch.

See `underdash.review.stride` for how it is used, and what each of the engine's fields does meanwhile.
"""

from collections.abc import Iterator

import numpy as np

from chargecore import engine
from chargecore.engine import CHARGING, DISCHARGING, MARGINAL, OVERCHARGE, REST, UNKNOWN, Engine
from underdash.review.conditions import Conditions, Ints

# In the order of Engine._dwells, then _alive_ms and _low_rest_ms.
_OVER, _DISCHARGE, _MARGINAL, _GOOD, _CLEAR, _ALIVE, _LOW_REST = range(7)
_DWELLS = slice(0, 5)
_FAR = 1 << 60


class Timers:
    """Seven timers over the runs of a block: the five dwells, `_alive_ms` and `_low_rest_ms`.

    In a run a timer counts, is zeroed, or is left as it is. `_facts[k]` holds, for each timer, about run k:
    whether it counts; what was counted before, never zeroed [ms]; that same count when it was last zeroed;
    the last run up to k that zeroed it; the next one from k on; and the last up to k in which it began to
    count from zero (-1, -1 and the number of runs where there is none).
    """

    def __init__(self, rows: Conditions, state: int, running: int, flat: int) -> None:
        run, key = rows.run, rows.key
        self.rows, self.state = rows, state
        count = len(rows.starts)
        low = run["low banded" if state in (MARGINAL, DISCHARGING) else "low"]
        over = run["over banded" if state == OVERCHARGE else "over"]
        band = " banded" if state == DISCHARGING else ""
        discharge = run["discharge" + band] & (run["clamp"] | bool(running))
        self.inside = run["inside" + band]
        self.by_clamp = discharge & run["clamp"]
        moving = run["alive"] | (key == 1)
        good = ~(over | discharge | low)
        clear = ~(over if state == OVERCHARGE else discharge)
        low_at_rest = run["low at rest"] & (state == REST)
        self.infers = state != REST and not running and key != 0

        counts = np.array([
            over, discharge & ~self.inside & (run["clamp"] | moving), low & moving & bool(running), good, clear,
            run["alive"] & self.infers, low_at_rest,
        ])  # fmt: skip
        zeroes = np.array([
            ~over, ~discharge, ~low if running else ~low | moving, ~good, ~clear,
            np.full(count, key == 0), ~low_at_rest,
        ])  # fmt: skip
        stops = run["odd"] | run["suspect"] | run["blind"] | run["lifted" if flat else "crank"]
        if state == REST:
            counts[_DWELLS] &= ~run["parked"]
            zeroes[_DWELLS] |= run["parked"]
        else:
            stops = stops | run["gap"]
            if key != 1:
                stops |= run["parks"]
            if key == 0 and state in (CHARGING, MARGINAL):
                stops |= low
        judged = ~run["wrong"]
        counts[:_LOW_REST] &= judged
        zeroes[:_LOW_REST] &= judged
        runs = np.arange(count)
        self._stops = np.append(np.flatnonzero(stops), count)
        parked = run["parked"] & judged & (state == REST)
        self._forgotten = np.maximum.accumulate(np.where(parked, runs, -1))

        counted = np.zeros((7, count + 1), dtype=np.int64)
        np.cumsum(counts * rows.lasts, axis=1, out=counted[:, 1:])
        zeroed = np.maximum.accumulate(np.where(zeroes, runs, -1), axis=1)
        next_zero = np.minimum.accumulate(np.where(zeroes, runs, count)[:, ::-1], axis=1)[:, ::-1]
        at_zero = np.take_along_axis(counted, zeroed + 1, axis=1)
        stands = counted[:, :-1] - at_zero
        began = np.maximum.accumulate(np.where(counts & (stands == 0), runs, -1), axis=1)
        self._counts, self._counted = counts, counted
        self._facts = np.stack([counts, counted[:, :-1], at_zero, zeroed, next_zero, began]).transpose(2, 0, 1)
        self._limits: list[tuple[int, int, Ints, Ints]] = []
        for timer, limit_ms in self._limited(bool(running)):
            # The runs in which it reaches its limit, counted from a zero in this block, and the rows.
            found = np.flatnonzero((stands[timer] < limit_ms) & (counted[timer, 1:] - at_zero[timer] >= limit_ms))
            at = rows.clock.searchsorted(rows.begins[found] + limit_ms - stands[timer, found]) - 1
            self._limits.append((timer, limit_ms, found, at))

    def _limited(self, running: bool) -> Iterator[tuple[int, int]]:
        """The timers whose running out may change something in this state, and when they do [ms]."""
        th, state = self.rows.thresholds, self.state
        if state != OVERCHARGE:
            yield _OVER, th.overcharge_ms
        if state != DISCHARGING:
            yield _DISCHARGE, th.discharging_ms
        if state in (UNKNOWN, CHARGING):
            yield _MARGINAL, th.marginal_ms
        if state in (UNKNOWN, REST, MARGINAL) or (state == CHARGING and not running and self.rows.key != 0):
            yield _GOOD, th.clear_ms if state == MARGINAL else th.charging_ms
        if state in (DISCHARGING, OVERCHARGE):
            yield _CLEAR, th.clear_ms
        if state == REST:
            yield _LOW_REST, engine._LOW_REST_MS

    def until(self, judge: Engine, at: int, here: int) -> int:
        """The first row from `at`, in run `here`, on that may do more than move timers."""
        rows = self.rows
        stop = rows.start(int(self._stops[self._stops.searchsorted(here)]))
        if stop <= at:
            return at
        counts, counted, _, _, next_zero, _ = self._facts[here].tolist()
        into_ms = int(rows.clock[at] - rows.begins[here])
        for timer, limit_ms, runs, reached in self._limits:
            zero = next_zero[timer]
            left_ms = limit_ms - (judge._low_rest_ms if timer == _LOW_REST else judge._dwells[timer].ms)
            if timer == _LOW_REST and left_ms <= 0:  # said already: what matters is when it no longer is
                stop = min(stop, rows.start(zero))
                continue
            if zero > here:
                stop = min(stop, self._row(timer, counted[timer] + counts[timer] * into_ms, left_ms, zero, at))
            if len(runs):
                later = int(runs.searchsorted(zero))
                stop = min(stop, int(reached[later]) if later < len(runs) else stop)
        if self.infers:
            left_ms = (engine._STARTED_MS if judge._started else engine._RUNNING_MS) - judge._alive_ms
            counted_ms = counted[_ALIVE] + counts[_ALIVE] * into_ms
            stop = min(stop, self._row(_ALIVE, counted_ms, left_ms, len(rows.starts), at))
        return max(stop, at)

    def _row(self, timer: int, counted_ms: int, left_ms: int, before_run: int, at: int) -> int:
        """The row in which the timer has counted so much more; `at` if it need not, far away if not before
        that run."""
        if left_ms <= 0:
            return at
        run = int(self._counted[timer].searchsorted(counted_ms + left_ms)) - 1
        if run >= before_run:
            return _FAR
        into_ms = counted_ms + left_ms - int(self._counted[timer, run])
        return self.rows.row_ending(int(self.rows.begins[run]) + into_ms)

    def go(self, judge: Engine, at: int, stop: int, here: int) -> None:
        """Pass rows `at` (in run `here`) to `stop` - 1: the engine's fields as stepping would leave them."""
        rows = self.rows
        last = rows.run_of(stop - 1)
        into_ms = int(rows.clock[at] - rows.begins[here])
        into_last_ms = int(rows.clock[stop] - rows.begins[last])
        counts, counted, _, _, next_zero, _ = self._facts[here].tolist()
        counts_last, counted_last, at_zero, zeroed, _, began = self._facts[last].tolist()
        forgotten = int(self._forgotten[last])
        stood = [dwell.ms for dwell in judge._dwells] + [judge._alive_ms, judge._low_rest_ms]
        # What `_counted` would be where the timer was last zero, were it so before `at`; and so its reading.
        zero = [
            at_zero[timer] if zeroed[timer] >= here else counted[timer] + counts[timer] * into_ms - stood[timer]
            for timer in range(7)
        ]
        reads = [counted_last[timer] + counts_last[timer] * into_last_ms - zero[timer] for timer in range(7)]
        for timer, dwell in enumerate(judge._dwells):
            if began[timer] > max(next_zero[timer], forgotten):
                dwell.since_ms = int(rows.t_ms[rows.starts[began[timer]]])
            elif forgotten >= here:
                dwell.since_ms = 0
            elif stood[timer] == 0 and next_zero[timer] > here:
                counting = self._counts[timer, here : min(next_zero[timer], last + 1)]
                if counting.any():
                    dwell.since_ms = int(rows.t_ms[max(int(rows.starts[here + counting.argmax()]), at)])
            if reads[timer] < engine._TIMER_TOP:
                dwell.ms = reads[timer]
            elif zeroed[timer] >= here or stood[timer] < engine._TIMER_TOP:  # from its top on it grows no more
                row = self._row(timer, zero[timer], engine._TIMER_TOP, last + 1, at)
                run = rows.run_of(row)
                dwell.ms = int(self._counted[timer, run] + rows.clock[row + 1] - rows.begins[run]) - zero[timer]
        judge._alive_ms, judge._low_rest_ms = reads[_ALIVE], min(reads[_LOW_REST], engine._TIMER_TOP)
        if rows.run["clamp"][here] and zeroed[_DISCHARGE] >= here:
            judge._partial = int(self.inside[zeroed[_DISCHARGE] + 1 : last + 1].any())
        if rows.key == 0 and self.state != REST:
            judge._started = 0
            judge._running = int(self.state == CHARGING and judge._good.ms >= rows.thresholds.charging_ms)
        judge._contra_ms = rows.contradicted(judge._contra_ms, at, stop, here, last)
        rows.pass_rows(judge, at, stop)
        judge._agreed_mv = int(rows.bus[rows.judged[stop - 1]])
        judge._warn(judge._previous_mv, 0)
