"""The same drives under other thresholds: which warnings appear, vanish or change.

Both the set in force and every other one are judged by an engine that begins anew at the same rows, so that like is
compared with like; nothing is taken from what the board said, but the drives' numbers.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from chargecore.thresholds import Thresholds
from underdash.review.what_if.judged import Rows, judge
from underdash.review.what_if.matching import SAME, Match, length_ms, match
from underdash.review.what_if.sets import Sweep, ThresholdSet
from underdash.review.what_if.warned import KINDS, Warned, warned

__all__ = ["Compared", "Outcome", "Totals", "as_dict", "compare"]

Totals = dict[str, tuple[int, float]]  # kind: how many, for how long together [s]


@dataclass(frozen=True)
class Compared:
    """Another set, what it warns of, and how that stands to what the set in force warns of."""

    chosen: ThresholdSet
    warned: list[Warned]
    matches: list[Match]

    @property
    def differences(self) -> list[Match]:
        """The matches that are not the same under both."""
        return [one for one in self.matches if one.effects != (SAME,)]

    @property
    def same(self) -> int:
        """How many are."""
        return len(self.matches) - len(self.differences)


@dataclass(frozen=True)
class Outcome:
    """`warned`: of the set in force, `rows.thresholds`. unlike: rows on which that set, judged like this, says other
    than what was said at the time: after a hole, before the archive's first row, under thresholds since changed."""

    rows: Rows
    warned: list[Warned]
    sets: list[Compared]
    sweep: Sweep | None
    unlike: int


def compare(
    rows: Rows, sets: Sequence[ThresholdSet], sweep: Sweep | None = None,
    show: Callable[[int, int], None] = lambda done, total: None,
) -> Outcome:  # fmt: skip
    """Judge the rows under the set in force and under each of `sets`. show: told (rows judged, rows to judge)."""
    total = (len(sets) + 1) * len(rows)

    def judged(number: int, limits: Thresholds) -> tuple[list[Warned], int]:
        verdicts = judge(rows, limits, lambda done, of: show(number * of + done, total))
        unlike = (verdicts.state != rows.state) | (verdicts.warnings != rows.warnings)
        return warned(rows, verdicts, limits), int(np.count_nonzero(unlike))

    now, unlike = judged(0, rows.thresholds)
    compared = []
    for number, chosen in enumerate(sets, 1):
        then, _ = judged(number, chosen.thresholds)
        compared.append(Compared(chosen, then, match(now, then)))
    return Outcome(rows, now, compared, sweep, unlike)


def totals(warnings: Sequence[Warned]) -> Totals:
    """How many warnings of each kind, and for how long."""
    of = {kind: [one for one in warnings if one.kind == kind] for kind in KINDS}
    return {kind: (len(found), length_ms(found) / 1000) for kind, found in of.items()}


def as_dict(source: str, outcome: Outcome) -> dict[str, Any]:
    """The comparison as plain data, as docs/what-if.md describes it."""
    rows = outcome.rows
    return {
        "source": source,
        "board": rows.board,
        "rows": len(rows),
        "drives": len(rows.drives),
        "lost_rows": rows.lost_rows,
        "key_known": rows.key_known,
        "unlike": outcome.unlike,
        "sweep": {"name": outcome.sweep.name, "values": list(outcome.sweep.values)} if outcome.sweep else None,
        "now": {"thresholds": dict(vars(rows.thresholds)), "warnings": _totals(outcome.warned)},
        "sets": [
            {
                "name": one.chosen.name,
                "changes": {
                    name: [getattr(rows.thresholds, name), value] for name, value in one.chosen.changes.items()
                },
                "thresholds": dict(vars(one.chosen.thresholds)),
                "warnings": _totals(one.warned),
                "same": one.same,
                "differences": [_match(rows, each) for each in one.differences],
            }
            for one in outcome.sets
        ],
    }


def _totals(warnings: Sequence[Warned]) -> dict[str, dict[str, Any]]:
    return {kind: {"count": count, "seconds": round(s, 3)} for kind, (count, s) in totals(warnings).items()}


def _match(rows: Rows, one: Match) -> dict[str, Any]:
    return {
        "effects": list(one.effects),
        "kind": one.first.kind,
        "boot": one.first.boot,
        "drive": one.first.drive,
        "dated": rows.moment(one.first.boot, one.first.start_ms)["dated"],
        "now": [_warned(each) for each in one.now],
        "then": [_warned(each) for each in one.then],
    }


def _warned(one: Warned) -> dict[str, Any]:
    return {
        "start_s": one.start_ms / 1000,
        "shown_s": one.shown_ms / 1000,
        "end_s": one.end_ms / 1000,
        "length_s": one.length_ms / 1000,
        "worst_volts": None if one.worst_mv is None else one.worst_mv / 1000,
        "depth_volts": None if one.depth_mv is None else one.depth_mv / 1000,
        "first_row": one.first_row,
        "last_row": one.last_row,
    }
