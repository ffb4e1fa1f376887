"""The engine's conditions, worked out for many rows at once, and the runs of rows in which all are alike.

Each is what `chargecore.engine.Engine` asks of a row in its step, as far as the row and the two before it
tell; see `underdash.review.stride` for what it is good for.
"""

import numpy as np
from numpy.typing import NDArray

from chargecore import engine
from chargecore.engine import Engine
from chargecore.units import ABSENT, TICKS_MASK

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_SETTLED_ROWS = 16


class Conditions:
    """What holds in the rows that follow upon an engine.

    Row `i` lasts from `clock[i]` to `clock[i + 1]` [ms since the first row began] and began at `t_ms[i]` of
    the wrapping clock. `seeing` is `clock`, but it stands in rows without volts; `moved_at[i]` is when on it
    the volts moved last, up to row `i`. `quiet` and `quiet_at_rest` are what `_quiet_ms` is after each row
    if no gap finds the engine at rest, and if each does.

    Run `k` begins with row `starts[k]`, at `begins[k]` of `clock`, and lasts `lasts[k]` [ms];
    `run[name][k]` is whether a condition holds in it.
    """

    def __init__(self, judge: Engine, t_ms: Ints, low: Ints, bus: Ints, high: Ints, clamp: Ints) -> None:
        self.thresholds = th = judge.thresholds
        self.key = judge.key
        self.bus = bus
        self.t_ms = np.concatenate(([judge._last_ms & TICKS_MASK], t_ms))
        length = np.diff(self.t_ms) & TICKS_MASK
        if not judge._seen:
            length[0] = 0
        self.clock = self.seeing = _summed(length)
        blind = bus == ABSENT
        if blind.any():
            self.seeing = _summed(np.where(blind, 0, length))
        gap, hole = length > engine._GAP_MS, length > engine._REST_GAP_MS
        has_clamp = clamp != ABSENT
        earlier = np.concatenate(([judge._before_mv, judge._previous_mv], bus))
        before, previous = earlier[:-2], earlier[1:-1]

        moved = np.abs(bus - previous) > th.still_mv
        moved &= previous != ABSENT
        moved |= high - low > th.still_mv
        moved &= ~blind
        self.first_quiet_ms = judge._quiet_ms
        self.moved_at = self._latest(moved | hole)
        self.quiet = self.quiet_at_rest = self.seeing[1:] - self.moved_at
        if np.count_nonzero(gap) > np.count_nonzero(hole):
            self.quiet = self.seeing[1:] - self._latest(moved | gap)
        self.rest_ms = engine._ALIVE_MS if self.key == 0 else th.rest_ms

        dead_ma, band_mv = th.clamp_dead_ma, th.hysteresis_mv
        out = has_clamp & (clamp < -dead_ma)
        drained = (clamp > dead_ma) & (bus < th.empty_mv)
        low_volts = bus < th.marginal_mv
        may_rest = low_volts & ~out & (clamp <= dead_ma)
        crank = low < th.crank_mv
        if crank.any():
            # `before` may be more than the engine still knows: it finds no crank where one is feared here.
            crank &= np.maximum(np.maximum(previous, before), high) - low >= th.crank_drop_mv

        # Volts and amps that may contradict each other: they do unless the volts just dropped from where the
        # two last agreed. Settled row by row from the last that is beyond suspicion, but not for ever: a
        # contradiction that lasts is passed in another way.
        self.drained = drained & ~blind
        suspect = self.drained | (out & (bus >= th.healthy_mv))
        settled, wrong = np.zeros_like(suspect), np.zeros_like(suspect)
        at = np.flatnonzero(suspect & ~_after(suspect | blind, first=True))
        agreed = previous[at]
        for _ in range(_SETTLED_ROWS):
            settled[at] = True
            wrong[at] = drained[at] | (bus[at] > agreed - 100)
            agreed = np.where(wrong[at], agreed, bus[at])
            goes_on = np.append(suspect, False)[at + 1]
            at, agreed = at[goes_on] + 1, agreed[goes_on]
            if not len(at):
                break
        suspect &= ~settled
        self.judged = np.arange(len(bus))  # the last row up to each that is not wrong
        if wrong.any():
            self.judged = np.maximum.accumulate(np.where(wrong, 0, self.judged))

        def over(limit_mv: int) -> Bools:
            holds: Bools = (bus > limit_mv) & (low > limit_mv - band_mv)
            return holds

        def discharge(limit_ma: int, limit_mv: int) -> tuple[Bools, Bools]:
            """Whether a row discharges, and whether it is a clamp's first that begins inside the row before it."""
            holds: Bools = (bus < limit_mv) & (high < limit_mv + band_mv)
            if has_clamp.any():
                holds = np.where(has_clamp, clamp < -limit_ma, holds)
            first = holds & has_clamp & ~wrong & ~_after(holds[self.judged], first=True)
            return holds, first & (high > previous - engine._SAME_LEVEL_MV) & (previous != ABSENT)

        discharges, inside = discharge(dead_ma, th.discharging_mv)
        discharges_banded, inside_banded = discharge(dead_ma // 2, th.discharging_mv + band_mv)
        odd = (length == 0) | hole | (has_clamp != _after(has_clamp, first=bool(has_clamp[0])))
        holds = {
            "odd": odd, "gap": gap, "blind": blind, "suspect": suspect, "settled": settled, "wrong": wrong,
            "crank": crank, "lifted": low >= th.crank_mv + band_mv, "clamp": has_clamp,
            "over": over(th.overcharge_mv), "over banded": over(th.overcharge_mv - band_mv),
            "discharge": discharges, "discharge banded": discharges_banded,
            "inside": inside, "inside banded": inside_banded,
            "low": low_volts, "low banded": bus < th.marginal_mv + band_mv,
            "alive": self.quiet < engine._ALIVE_MS, "parks": may_rest & (self.quiet >= self.rest_ms),
            "parked": may_rest & (self.quiet_at_rest >= self.rest_ms), "low at rest": bus < th.low_rest_mv,
        }  # fmt: skip
        changes = np.zeros(len(bus), dtype=np.bool_)
        changes[0] = True
        for condition in holds.values():
            changes[1:] |= condition[1:] != condition[:-1]
        self.starts = np.flatnonzero(changes)
        self.run = {name: condition[self.starts] for name, condition in holds.items()}
        self.begins = self.clock[self.starts]
        self.lasts = np.diff(self.begins, append=self.clock[-1:])
        self.wronged = _summed(np.where(self.run["wrong"], self.lasts, 0))  # before each run [ms]

    def _latest(self, when: Bools) -> Ints:
        return np.maximum.accumulate(np.where(when, self.seeing[1:], -self.first_quiet_ms))

    def run_of(self, row: int) -> int:
        """The run that a row is part of."""
        return int(self.starts.searchsorted(row, side="right")) - 1

    def start(self, run: int) -> int:
        """The first row of a run; behind the last row where there is no such run."""
        return int(self.starts[run]) if run < len(self.starts) else len(self.bus)

    def row_ending(self, moment_ms: int) -> int:
        """The first row that ends at `moment_ms` of the clock or later."""
        return int(self.clock.searchsorted(moment_ms)) - 1

    def pass_rows(self, judge: Engine, at: int, stop: int) -> None:
        """What the rows `at` to `stop` - 1 do to an engine whatever they say, given that all have volts."""
        judge._seen = 1
        judge._last_ms = int(self.t_ms[stop])
        judge._before_mv = int(self.bus[stop - 2]) if stop - at > 1 else judge._previous_mv
        judge._previous_mv = int(self.bus[stop - 1])
        judge._blind_ms = 0
        from_ms, moved_ms, to_ms = int(self.seeing[at]), int(self.moved_at[stop - 1]), int(self.seeing[stop])
        if moved_ms > from_ms:
            judge._quiet_ms, from_ms = 0, moved_ms
        if judge._quiet_ms < engine._TIMER_TOP:  # grows no more from there on
            top_ms = from_ms + engine._TIMER_TOP - judge._quiet_ms
            if top_ms <= to_ms:
                to_ms = int(self.seeing[self.seeing.searchsorted(top_ms)])
            judge._quiet_ms += to_ms - from_ms

    def contradicted(self, contra_ms: int, at: int, stop: int, here: int, last: int) -> int:
        """`_contra_ms` after rows `at`, in run `here`, to `stop` - 1, in run `last`: up in wrong rows and down
        in others, but not below 0. (Its top is not reached in a stretch, nor is the first row wrong.)"""
        passed_ms = int(self.clock[stop] - self.clock[at])
        wrong_ms = int(self.wronged[last] - self.wronged[here])
        if self.run["wrong"][last]:
            wrong_ms += int(self.clock[stop] - self.begins[last])
        if not wrong_ms:
            return max(contra_ms - passed_ms, 0)
        between = slice(here + 1, last + 1)
        falls = self.begins[between] - self.clock[at] - 2 * (self.wronged[between] - self.wronged[here])
        ends_ms = contra_ms + 2 * wrong_ms - passed_ms
        return ends_ms - min(0, ends_ms, contra_ms - int(falls.max()))


def _after(condition: Bools, *, first: bool) -> Bools:
    """Whether the condition held in the row before; `first` for the first row, of which nothing is known."""
    return np.concatenate(([first], condition[:-1]))


def _summed(lengths: Ints) -> Ints:
    return np.concatenate(([0], np.cumsum(lengths)))
