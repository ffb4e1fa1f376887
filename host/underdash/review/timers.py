"""The engine's timers while it stays in one state: when one runs out, and where they stand after a stretch.

See `underdash.review.stride` for how it is used, and what each of the engine's fields does meanwhile.
"""

from collections.abc import Iterator

import numpy as np

from chargecore import engine
from chargecore.engine import CHARGING, DISCHARGING, MARGINAL, OVERCHARGE, REST, UNKNOWN, Engine
from underdash.review.conditions import Conditions, Ints

# In the order of Engine._dwells, then _alive_ms and _low_rest_ms.
_OVER, _DISCHARGE, _MARGINAL, _GOOD, _CLEAR, _OTHER = range(6)
_DWELLS = slice(0, 5)
_FAR = 1 << 60

SPAN = 1024  # runs that are added up at once


class Timers:
    """Six timers over runs of a block, SPAN of them from `first` on: the five dwells, and `_alive_ms`, at rest
    `_low_rest_ms` instead.

    In a run a timer counts, is zeroed, or is left as it is. `_facts[:, :, k]` holds, for each timer, about run
    `first` + k: whether it counts; what was counted before, never zeroed [ms]; that same count when it was last
    zeroed; the last run up to k that zeroed it; the next one from k on; and the last up to k in which it began
    to count from zero (-1, -1 and the number of runs where there is none).
    """

    def __init__(self, rows: Conditions, first: int, state: int, running: int, flat: int) -> None:
        self.rows, self.first, self.state = rows, first, state
        self.begins, lasts = rows.begins[first : first + SPAN], rows.lasts[first : first + SPAN]
        run = {name: holds[first : first + SPAN] for name, holds in rows.run.items()}
        key, count, resting = rows.key, len(lasts), state == REST
        low = run["low banded" if state in (MARGINAL, DISCHARGING) else "low"]
        over = run["over banded" if state == OVERCHARGE else "over"]
        band = " banded" if state == DISCHARGING else ""
        discharge = run["discharge" + band] & (run["clamp"] | bool(running))
        self._inside = run["inside" + band]
        self._by_clamp = discharge & run["clamp"]
        moving = run["alive"] | (key == 1)
        good = ~(over | discharge | low)
        clear = ~(over if state == OVERCHARGE else discharge)
        self.infers = not resting and not running and key != 0

        counts = np.array([
            over, discharge & ~self._inside & (run["clamp"] | moving), low & moving & bool(running), good, clear,
            run["low at rest"] if resting else run["alive"] & self.infers,
        ])  # fmt: skip
        zeroes = np.array([
            ~over, ~discharge, ~low if running else ~low | moving, ~good, ~clear,
            ~run["low at rest"] if resting else np.full(count, key == 0),
        ])  # fmt: skip
        stops = run["odd"] | run["suspect"] | run["blind"] | run["lifted" if flat else "crank"]
        parked = run["parked"] & ~run["wrong"] & resting
        counts[_DWELLS] &= ~parked
        zeroes[_DWELLS] |= parked
        if not resting:
            stops = stops | run["gap"]
            if key != 1:
                stops |= run["parks"]
            if key == 0 and state in (CHARGING, MARGINAL):
                stops |= low
        judged = slice(0, _OTHER if resting else _OTHER + 1)
        counts[judged] &= ~run["wrong"]
        zeroes[judged] &= ~run["wrong"]
        runs = np.arange(count)
        self._stops = np.append(np.flatnonzero(stops), count)
        self._forgotten = np.maximum.accumulate(np.where(parked, runs, -1))

        self._counts = counts
        self._counted = counted = np.zeros((6, count + 1), dtype=np.int64)
        np.cumsum(counts * lasts, axis=1, out=counted[:, 1:])
        self._facts = np.empty((6, 6, count), dtype=np.int64)
        is_counting, before, at_zero, zeroed, next_zero, began = self._facts
        is_counting[:], before[:] = counts, counted[:, :-1]
        np.maximum.accumulate(np.where(zeroes, runs, -1), axis=1, out=zeroed)
        np.minimum.accumulate(np.where(zeroes, runs, count)[:, ::-1], axis=1, out=next_zero[:, ::-1])
        at_zero[:] = np.take_along_axis(counted, zeroed + 1, axis=1)
        np.maximum.accumulate(np.where(counts & (before == at_zero), runs, -1), axis=1, out=began)
        self._limits: list[tuple[int, int, Ints, Ints]] = []
        for timer, limit_ms in self._limited(bool(running)):
            # The runs in which it reaches its limit, counted from a zero among these runs, and the rows.
            stands = before[timer] - at_zero[timer]
            found = np.flatnonzero((stands < limit_ms) & (counted[timer, 1:] - at_zero[timer] >= limit_ms))
            reached = rows.clock.searchsorted(self.begins[found] + limit_ms - stands[found]) - 1
            self._limits.append((timer, limit_ms, found, reached))

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
            yield _OTHER, engine._LOW_REST_MS

    def knows(self, judge: Engine, here: int) -> bool:
        """False in a clamp's discharge whose first row the block may have missed."""
        k = here - self.first
        return not self._by_clamp[k] or bool((judge._discharge.ms or judge._partial) and not self._inside[k])

    def until(self, judge: Engine, at: int, here: int) -> int:
        """The first row from `at`, in run `here`, on that may do more than move timers, or is of a later span."""
        rows, k = self.rows, here - self.first
        stop = rows.start(self.first + int(self._stops[self._stops.searchsorted(k)]))
        if stop <= at:
            return at
        counts, before, _, _, next_zero, _ = self._facts[:, :, k].tolist()
        into_ms = int(rows.clock[at] - self.begins[k])
        for timer, limit_ms, runs, reached in self._limits:
            zero = next_zero[timer]
            left_ms = limit_ms - (judge._low_rest_ms if timer == _OTHER else judge._dwells[timer].ms)
            if timer == _OTHER and left_ms <= 0:  # said already: what matters is when it no longer is
                stop = min(stop, rows.start(self.first + zero))
                continue
            if zero > k:
                stop = min(stop, self._row(timer, before[timer] + counts[timer] * into_ms, left_ms, zero, at))
            if len(runs):
                later = int(runs.searchsorted(zero))
                stop = min(stop, int(reached[later]) if later < len(runs) else stop)
        if self.infers:
            left_ms = (engine._STARTED_MS if judge._started else engine._RUNNING_MS) - judge._alive_ms
            stop = min(stop, self._row(_OTHER, before[_OTHER] + counts[_OTHER] * into_ms, left_ms, SPAN, at))
        return max(stop, at)

    def _row(self, timer: int, counted_ms: int, left_ms: int, before_run: int, at: int) -> int:
        """The row in which the timer has counted so much more; `at` if it need not, far away if not before
        that run."""
        if left_ms <= 0:
            return at
        run = int(self._counted[timer].searchsorted(counted_ms + left_ms)) - 1
        if run >= min(before_run, len(self.begins)):
            return _FAR
        into_ms = counted_ms + left_ms - int(self._counted[timer, run])
        return self.rows.row_ending(int(self.begins[run]) + into_ms)

    def go(self, judge: Engine, at: int, stop: int, here: int) -> None:
        """Pass rows `at` (in run `here`) to `stop` - 1: the engine's fields as stepping would leave them."""
        rows = self.rows
        k, last = here - self.first, rows.run_of(stop - 1) - self.first
        into_ms = int(rows.clock[at] - self.begins[k])
        into_last_ms = int(rows.clock[stop] - self.begins[last])
        counts, before, _, _, next_zero, _ = self._facts[:, :, k].tolist()
        counts_last, before_last, at_zero, zeroed, _, began = self._facts[:, :, last].tolist()
        forgotten = int(self._forgotten[last])
        stood = [dwell.ms for dwell in judge._dwells] + [judge._low_rest_ms if self.state == REST else judge._alive_ms]
        # What `_counted` would be where the timer was last zero, were it so before `at`; and so its reading.
        zero = [
            at_zero[timer] if zeroed[timer] >= k else before[timer] + counts[timer] * into_ms - stood[timer]
            for timer in range(6)
        ]
        reads = [before_last[timer] + counts_last[timer] * into_last_ms - zero[timer] for timer in range(6)]
        for timer, dwell in enumerate(judge._dwells):
            if began[timer] > max(next_zero[timer], forgotten):
                dwell.since_ms = int(rows.t_ms[rows.start(self.first + began[timer])])
            elif forgotten >= k:
                dwell.since_ms = 0
            elif stood[timer] == 0 and next_zero[timer] > k:
                counting = self._counts[timer, k : min(next_zero[timer], last + 1)]
                if counting.any():
                    dwell.since_ms = int(rows.t_ms[max(rows.start(here + int(counting.argmax())), at)])
            if reads[timer] < engine._TIMER_TOP:
                dwell.ms = reads[timer]
            elif zeroed[timer] >= k or stood[timer] < engine._TIMER_TOP:  # from its top on it grows no more
                row = self._row(timer, zero[timer], engine._TIMER_TOP, last + 1, at)
                run = rows.run_of(row) - self.first
                dwell.ms = int(self._counted[timer, run] + rows.clock[row + 1] - self.begins[run]) - zero[timer]
        if self.state == REST:
            judge._low_rest_ms = min(reads[_OTHER], engine._TIMER_TOP)
        else:
            judge._alive_ms = reads[_OTHER]
        if rows.run["clamp"][here] and zeroed[_DISCHARGE] >= k:
            judge._partial = int(self._inside[zeroed[_DISCHARGE] + 1 : last + 1].any())
        if rows.key == 0 and self.state != REST:
            judge._started = 0
            judge._running = int(self.state == CHARGING and judge._good.ms >= rows.thresholds.charging_ms)
        judge._contra_ms = rows.contradicted(judge._contra_ms, at, stop, here, self.first + last)
        rows.pass_rows(judge, at, stop)
        judge._agreed_mv = int(rows.bus[rows.judged[stop - 1]])
        judge._warn(judge._previous_mv, 0)
