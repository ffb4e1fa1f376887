"""What was understood of a foreign log, in words: the dry run."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT
from underdash.problems import DataError, UnderdashError, UsageError
from underdash.review.foreign import gather, layout, meaning, reading
from underdash.review.foreign.covered import Covered
from underdash.review.foreign.options import COLUMNS, Options
from underdash.review.foreign.times import Begun, moment
from underdash.review.rows import GAP_MS
from underdash.review.words import count, duration

_FIRST_ROWS = 5
_ORDERS = {"ymd": "year, month, day", "dmy": "day, month, year", "mdy": "month, day, year"}


@dataclass(frozen=True)
class Understood:
    """text: what was understood. refused: why the log cannot be reviewed so, None if it can. options: those under
    which it is always read so, for a column map. covered: when it was recorded, None if it was not read."""

    text: str
    refused: UnderdashError | None
    options: Options
    covered: Covered | None = None


def understand(path: Path, options: Options) -> Understood:
    """Read a log without judging it. UsageError, DataError where not even its layout is plain."""
    table = layout.find(path, options)
    meant = meaning.find(path, table, options)
    lines = [str(path), *_layout_lines(table), *_meaning_lines(table, meant)]
    settled = replace(
        options,
        separator=table.separator,
        encoding=table.encoding,
        decimal=meant.decimal[0],
        date_order=meant.order[0] if meant.order else options.date_order,
        units={ours: unit for ours, (unit, _) in meant.units.items() if unit},
        positive=meant.positive[0] if meant.positive else options.positive,
    )
    if meant.reading is None:
        lines += [_line("open", question) for question in meant.questions]
        lines += ["", *(f"  {' | '.join(cells)[:110]}" for _, cells in table.preview[:_FIRST_ROWS])]
        return Understood("\n".join(lines), UsageError(f"{path}: {'; '.join(meant.questions)}"), settled)
    found = reading.read(path, table, meant.reading, options.time_back, every_problem=True)
    refused: UnderdashError | None = found.problems[0] if found.problems else None
    if not len(found):
        refused = refused or DataError(f"{path}: no rows below the header; name a log that has some")
    else:
        lines += [*_time_lines(found, options), *_value_lines(found), "", *_first_rows(found)]
    if found.problems:
        lines += ["", *(f"  refused: {str(problem).removeprefix(str(path))[2:]}" for problem in found.problems)]
        if found.refused > len(found.problems):
            lines.append(f"  refused: {count(found.refused - len(found.problems), 'more line')}")
    elif len(found) and (why := gather.too_far_apart(found, options.hold_s)):
        refused = UsageError(f"{path}: {why}")
    return Understood("\n".join(lines), refused, settled, Covered.of(path, Begun.of(found), found.t_s))


def _line(name: str, text: str) -> str:
    return f"  {name:11} {text}"


def _layout_lines(table: layout.Layout) -> Iterator[str]:
    yield _line("encoding", f"{table.encoding.removesuffix('-sig')} ({table.encoding_by})")
    yield _line("separator", f"{table.separator} ({table.separator_by})")
    yield _line("names", f"in line {table.head_line}" if table.head_line else "none; columns by their numbers")


def _meaning_lines(table: layout.Layout, meant: meaning.Meaning) -> Iterator[str]:
    yield _line("decimal", _known(meant.decimal))
    for ours in COLUMNS:
        if ours not in table.places:
            continue
        told = []
        if ours == "t_s" and meant.kind == "stamp" and meant.order:
            order, why = meant.order
            told.append(f"dates: {_ORDERS[order]} ({why})" if order else "dates: in which order?")
        elif ours == "t_s" and meant.kind == "hours":
            told.append("hours, minutes, seconds")
        else:
            told.append(f"in {_known(meant.units[ours])}")
        if ours == "amps" and meant.positive:
            told.append(f"positive = {_known(meant.positive)}")
        columns = " + ".join(f"column {place + 1} '{table.head[place]}'" for place in table.places[ours])
        yield _line(ours.removesuffix("_c"), f"{columns}, {', '.join(told)}")
    used = {place for at in table.places.values() for place in at}
    if rest := [name for place, name in enumerate(table.head) if place not in used and name]:
        yield _line("not used", ", ".join(rest[:12]) + (", …" if len(rest) > 12 else ""))


def _known(told: tuple[str | None, str]) -> str:
    return f"{told[0]} ({told[1]})" if told[0] else f"? ({told[1]})"


def _time_lines(found: reading.Samples, options: Options) -> Iterator[str]:
    first, last = float(found.t_s[0]), float(found.t_s[-1])
    span_s = float(sum(np.ptp(found.t_s[found.boot == boot]) for boot in np.unique(found.boot)))
    yield _line("time", f"{_when(found, first)} to {_when(found, last)}: {_length(span_s)}")
    restarts = int(found.boot[-1]) - 1
    if found.backs:
        done = {"sort": "put in order", "restart": f"{count(restarts, 'restart')} of the recorder"}.get(
            options.time_back or "", "refused"
        )
        twice = f"; {count(found.twice, 'row')} written twice, taken once" if found.twice else ""
        yield _line("goes back", f"at {count(found.backs, 'place')}: {done}{twice}")
    steps = np.where(np.diff(found.boot) == 0, np.diff(found.t_s), 0.0)
    moving = steps[steps > 0]
    rate = f", a new time each {_length(float(np.median(moving)))} (median)" if len(moving) else ""
    at_once = int((steps == 0).sum()) - restarts
    yield _line("rows", f"{len(found)}{rate}" + (f"; {at_once} at the time of the row before" if at_once else ""))
    aside = []
    if found.elsewhere:
        aside.append(f"{count(found.elsewhere, 'row')} without volts or amps, but with other columns' values")
    if found.heads:
        aside.append(f"{count(found.heads, 'row')} that repeat{'s' if found.heads == 1 else ''} the names")
    if found.cut_line:
        aside.append(f"the last row, which ends too early (line {found.cut_line})")
    if aside:
        yield _line("left out", "; ".join(aside))
    gaps = np.flatnonzero(steps * 1000 > GAP_MS)
    if len(gaps):
        longest = gaps[int(np.argmax(steps[gaps]))]
        held = f"; values stand for up to {options.hold_s:g} s of each" if options.hold_s else ""
        yield _line(
            "gaps",
            f"{len(gaps)} longer than {GAP_MS // 1000} s, the longest {_length(float(steps[longest]))} "
            f"before line {found.line[longest + 1]}{held}",
        )
    else:
        yield _line("gaps", f"none longer than {GAP_MS // 1000} s")


def _value_lines(found: reading.Samples) -> Iterator[str]:
    for name, values, unit in (("volts", found.bus_mv, "V"), ("amps", found.clamp_ma, "A")):
        known = values[values != ABSENT] / 1000
        empty = len(values) - len(known)
        if len(known):
            span = f"{known.min():g} to {known.max():g} {unit}, median {np.median(known):g}"
            yield _line(f"{name} are", span + (f"; {count(empty, 'row')} without" if empty else ""))
        elif name == "volts":
            yield _line("volts are", "in no row")
    for ours, (name, unit) in {"temperature_c": ("degrees are", "C"), "rpm": ("rpm are", "rpm")}.items():
        if ours in found.beside:
            beside = found.beside[ours].values
            if len(beside):
                span = f"{beside.min():g} to {beside.max():g} {unit}, median {np.median(beside):g}"
                yield _line(name, f"{span}; in {count(len(beside), 'row')}")
            else:
                yield _line(name, "in no row")
    if found.repeated:
        yield _line("duplicates", f"{count(found.repeated, 'row')} the same as the row before in every column")
    known = np.flatnonzero(found.bus_mv != ABSENT)
    steps = np.abs(np.diff(found.bus_mv[known]))
    same = int((steps == 0).sum())
    if not same or len(known) < 2:
        return
    # Stretches of equal volts, within one boot: how long the longest stands.
    new = np.flatnonzero(np.concatenate([[True], (steps > 0) | (np.diff(found.boot[known]) != 0)]))
    ends = np.concatenate([new[1:], [len(known)]]) - 1
    longest_s = float((found.t_s[known[ends]] - found.t_s[known[new]]).max())
    text = f"{same / len(steps):.0%} of the rows repeat the volts before them, at most for {_length(longest_s)}"
    least = gather.step_mv(found)
    if least is not None:
        text += f"; they move by {least / 1000:g} V at least"
    yield _line("held", text)
    th = Thresholds()
    if least is not None and least > th.still_mv and "rpm" not in found.beside:
        yield _line(
            "", f"steps above {th.still_mv / 1000:g} V: below {th.marginal_mv / 1000:g} V, a running engine whose "
            f"volts stay on one step for {th.rest_ms // 1000} s counts as rest, and a parked car whose volts jump as "
            "running; name the column of the engine's speed if there is one: --column rpm=NAME",
        )  # fmt: skip


def _first_rows(found: reading.Samples) -> Iterator[str]:
    yield f"  {'line':>8} {'t_s':>12} {'volts':>8} {'amps':>9}"
    for row in range(min(_FIRST_ROWS, len(found))):
        volts, amps = (
            "-" if values[row] == ABSENT else f"{values[row] / 1000:.3f}" for values in (found.bus_mv, found.clamp_ma)
        )
        yield f"  {found.line[row]:>8} {found.t_s[row]:>12.3f} {volts:>8} {amps:>9}"


def _when(found: reading.Samples, t_s: float) -> str:
    if found.origin_s is None:
        return f"{t_s:g} s"
    zone = " UTC" if found.zoned else ""
    return f"{moment(found.origin_s + t_s):%Y-%m-%d %H:%M:%S}{zone}"


def _length(seconds: float) -> str:
    """As `duration`, but with what a second is cut into, and in days what is long."""
    if seconds < 120:
        return f"{round(seconds, 3):g} s"
    days, rest = divmod(round(seconds), 86400)
    return f"{days} d {rest // 3600} h" if days else duration(seconds)
