"""The comparison as text for a terminal."""

from collections.abc import Callable, Sequence

from underdash.review.clock import clock
from underdash.review.what_if import Compared, Outcome, totals
from underdash.review.what_if.matching import Match, length_ms
from underdash.review.what_if.warned import KINDS, Warned
from underdash.review.words import duration
from underdash.settings.catalogue import FIELDS

_MOST_LINES = 40  # of one set's differences; --json has all


def text(source: str, outcome: Outcome) -> str:
    """What each set warns of, and, unless they are a sweep's, what becomes of each warning."""
    rows = outcome.rows
    many = len(rows.drives)
    lines = [f"{source}: {len(rows)} rows, {many} drive{'' if many == 1 else 's'}", ""]
    lines += _table(outcome)
    if not outcome.sweep:
        for one in outcome.sets:
            lines += ["", *_differences(one, outcome)]
    trust = _trust(outcome)
    return "\n".join([*lines, *([""] if trust else []), *trust])


def kinds_warned_of(outcome: Outcome) -> list[str]:
    """The warnings that any of the sets shows, and discharging, which matters even where there is none."""
    shown = {each.kind for warnings in (outcome.warned, *(one.warned for one in outcome.sets)) for each in warnings}
    return [kind for kind in KINDS if kind in shown or kind == "discharging"]


def changes(one: Compared, outcome: Outcome) -> str:
    """What a set has otherwise, such as `discharging_mv 13000 -> 12900`."""
    told = [f"{name} {_change(outcome, name, one)}" for name in one.chosen.changes]
    return ", ".join(told) or "the same as now"


def beside_the_sweep(outcome: Outcome) -> str:
    """What every set of a sweep has otherwise, besides the swept threshold; may be nothing."""
    swept = outcome.sweep.name if outcome.sweep else ""
    first = outcome.sets[0]
    told = [f"{name} {_change(outcome, name, first)}" for name in first.chosen.changes if name != swept]
    return f"each with {', '.join(told)}" if told else ""


def _change(outcome: Outcome, name: str, one: Compared) -> str:
    return f"{getattr(outcome.rows.thresholds, name)} -> {one.chosen.changes[name]}"


def _table(outcome: Outcome) -> list[str]:
    """A line for each set: of each warning how many, and for how long together."""
    kinds = kinds_warned_of(outcome)
    heads = [_sweep_head(outcome) if outcome.sweep else "set", *kinds]
    entries = [("now", totals(outcome.warned)), *((one.chosen.name, totals(one.warned)) for one in outcome.sets)]
    table = [[name, *(_amount(*found[kind]) for kind in kinds)] for name, found in entries]
    if outcome.sweep:
        table[0][0] = f"now, {getattr(outcome.rows.thresholds, outcome.sweep.name)}"
        beside = beside_the_sweep(outcome)
        return [*_aligned([heads, *table]), *(["", beside] if beside else [])]
    return _aligned([heads, *table])


def _sweep_head(outcome: Outcome) -> str:
    assert outcome.sweep
    return f"{outcome.sweep.name} [{FIELDS['thresholds'][outcome.sweep.name].unit}]"


def _amount(count: int, seconds: float) -> str:
    return f"{count}, {duration(seconds)}" if count else "-"


def _differences(one: Compared, outcome: Outcome) -> list[str]:
    lines = [f"{one.chosen.name}: {changes(one, outcome)}"]
    found = one.differences
    if found:
        heads = ["", "warning", "what becomes of it", "where", "from", "shown", "length", "volts"]
        table = _aligned([heads, *(["", *_difference(each, outcome)] for each in found[:_MOST_LINES])])
        lines += table
    if len(found) > _MOST_LINES:
        lines.append(f"  and {len(found) - _MOST_LINES} more, all in --json")
    if one.same or not found:
        same = f"{one.same or 'no'} warning{'' if one.same == 1 else 's'} as now"
        lines.append(f"  {same}" + ("" if found else "; nothing changes"))
    return lines


def _difference(one: Match, outcome: Outcome) -> list[str]:
    first = one.first
    at = outcome.rows.moment(first.boot, first.start_ms)
    day = f"{at['dated'][:10]} " if at["dated"] else ""
    where = "parked" if first.drive is None else f"drive {first.drive}"
    return [
        first.kind,
        ", ".join(one.effects),
        where,
        day + _both(one, lambda several: clock(at, several[0].start_ms / 1000)),
        _both(one, lambda several: clock(at, several[0].shown_ms / 1000)),
        _both(one, _length),
        _both(one, _volts),
    ]


def _both(one: Match, say: Callable[[Sequence[Warned]], str]) -> str:
    """What is to be said of both sides, once if it is the same."""
    said = [say(several) for several in (one.now, one.then) if several]
    return " -> ".join(dict.fromkeys(said))


def _length(several: Sequence[Warned]) -> str:
    return (f"{len(several)} x, " if len(several) > 1 else "") + duration(length_ms(several) / 1000)


def _volts(several: Sequence[Warned]) -> str:
    """The furthest that it went."""
    known = [(each.depth_mv, each.worst_mv) for each in several if each.depth_mv is not None]
    return f"{(max(known)[1] or 0) / 1000:.2f}" if known else "-"


def _trust(outcome: Outcome) -> list[str]:
    rows = outcome.rows
    lines = []
    if outcome.unlike:
        lines.append(
            f"On {outcome.unlike} rows the set in force, judged alike, says other than the board did: after a hole, at "
            "the archive's beginning, or under thresholds since changed."
        )
    if rows.lost_rows:
        lines.append(f"{rows.lost_rows} rows are lost; no warning in them is known.")
    if rows.board is None and not rows.key_known:
        lines.append("The log tells of no key and no speed: judged as on a board without the ignition sense.")
    if any({"crank_mv", "hysteresis_mv"} & one.chosen.changes.keys() for one in outcome.sets):
        lines.append(
            "The rows are as they were recorded; with another crank_mv or hysteresis_mv a board would write others "
            "around a crank."
        )
    return lines


def _aligned(table: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[column]) for row in table) for column in range(len(table[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in table]
