"""The comparison as a picture: a sweep as curves, else the drives that change, with each set's warnings in lanes.

Nothing rests on colour alone: each lane and each curve bears its name, hatches and markers differ.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from chargecore.units import ABSENT
from underdash.review.clock import counted
from underdash.review.plots import envelope
from underdash.review.what_if import Outcome, totals
from underdash.review.what_if.text import beside_the_sweep, changes, kinds_warned_of
from underdash.review.what_if.warned import KINDS, Warned
from underdash.settings.catalogue import FIELDS
from underdash.svg import BLUE, GREY, INK, ORANGE, PURPLE, RED, SKY, STYLE

# Colour, hatch of a lane, marker of a curve.
_LOOKS = {
    "discharging": (RED, "////", "o"),
    "overcharge": (PURPLE, "xxxx", "s"),
    "marginal": (ORANGE, "\\\\\\\\", "^"),
    "sensor": (GREY, "++++", "D"),
    "weak crank": (BLUE, "||||", "v"),
    "low at rest": (SKY, "----", "P"),
}
_LINES = (
    "overcharge_mv",
    "marginal_mv",
    "discharging_mv",
    "low_rest_mv",
)  # the thresholds that a picture of volts shows
_MOST_WINDOWS = 4
_LEAST_VOLTS = 11.5  # a crank's dip must not squash the rest
_AROUND_MS = 60_000  # of what is drawn of a parked car
_STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14_400, 28_800, 86_400)


@dataclass(frozen=True)
class _Window:
    """Rows of one stretch that are drawn, by their first and one past their last."""

    name: str
    first: int
    stop: int
    changed_ms: int


def png(source: str, outcome: Outcome) -> bytes:
    """The picture as a PNG file's content."""
    with rc_context(STYLE):
        out = io.BytesIO()
        figure(source, outcome).savefig(out, format="png", dpi=150, facecolor="white")
    return out.getvalue()


def figure(source: str, outcome: Outcome) -> Figure:
    """The picture."""
    with rc_context(STYLE):
        return _sweep(source, outcome) if outcome.sweep else _timeline(source, outcome)


# -- a sweep ----------------------------------------------------------------------------------


def _sweep(source: str, outcome: Outcome) -> Figure:
    assert outcome.sweep
    name, values = outcome.sweep.name, outcome.sweep.values
    present = getattr(outcome.rows.thresholds, name)
    found = [totals(one.warned) for one in outcome.sets]
    drawn = Figure(figsize=(7.2, 4.6))
    upper, lower = drawn.subplots(2, 1, sharex=True)
    drawn.subplots_adjust(left=0.1, right=0.85, top=0.92, bottom=0.11, hspace=0.12)
    for axes, part, unit in ((upper, 0, "warnings"), (lower, 1, "in all [min]")):
        ends: list[tuple[float, str]] = []
        for kind in kinds_warned_of(outcome):
            colour, _, marker = _LOOKS[kind]
            heights = [each[kind][part] / (60 if part else 1) for each in found]
            axes.plot(values, heights, color=colour, marker=marker, markersize=4, linewidth=1.1)
            ends.append((heights[-1], kind))
        axes.set_ylim(0, max(1.0, axes.get_ylim()[1]))
        axes.set_ylabel(unit)
        axes.yaxis.set_major_locator(MaxNLocator(6, integer=not part))
        axes.axvline(present, color=INK, linestyle="dotted", linewidth=0.9)
        axes.grid(axis="y", color=GREY, alpha=0.25, linewidth=0.5)
        axes.spines[["top", "right"]].set_visible(False)
        _names_at_the_right(axes, ends)
    upper.annotate(
        f"now {present}", (present, 1), (3, 1), xycoords=upper.get_xaxis_transform(), textcoords="offset points",
        fontsize=6.5,
    )  # fmt: skip
    lower.set_xlabel(f"{name} [{FIELDS['thresholds'][name].unit}]")
    lower.xaxis.set_major_locator(MaxNLocator(9, integer=True))
    head = f"{source}: warnings under each value"
    drawn.text(0.02, 0.98, head, va="top", fontsize=9, fontweight="bold")
    drawn.text(0.98, 0.98, beside_the_sweep(outcome), va="top", ha="right", fontsize=7.5)
    return drawn


def _names_at_the_right(axes: Axes, ends: Sequence[tuple[float, str]]) -> None:
    """Each curve's name beside its end; names that would touch are pushed apart, upwards."""
    bottom, top = axes.get_ylim()
    free = -np.inf
    for height, kind in sorted(ends):
        free = max(height, free + 0.085 * (top - bottom))
        axes.text(1.02, free, kind, transform=axes.get_yaxis_transform(), va="center", fontsize=7, color=INK)
        axes.plot(
            [1.012], [free], transform=axes.get_yaxis_transform(), color=_LOOKS[kind][0], marker=_LOOKS[kind][2],
            markersize=3.5, clip_on=False,
        )  # fmt: skip


# -- before and after -------------------------------------------------------------------------


def _timeline(source: str, outcome: Outcome) -> Figure:
    windows, left_out = _windows(outcome)
    sides = [("now", outcome.warned), *((one.chosen.name, one.warned) for one in outcome.sets)]
    shown = [_kinds_in(window, sides) for window in windows]
    heights = [height for kinds in shown for height in (1.5, 0.16 * max(len(kinds) * len(sides), 1) + 0.1, 0.5)][:-1]
    head = 0.5 + 0.16 * len(outcome.sets)
    tall = sum(heights, head + 0.45) if windows else head + 0.45
    drawn = Figure(figsize=(9.6, tall))
    _headline(drawn, tall, source, outcome, len(windows), left_out)
    if not windows:
        return drawn
    grid = drawn.add_gridspec(
        len(heights),
        1,
        height_ratios=heights,
        left=0.16,
        right=0.86,
        top=1 - head / tall,
        bottom=0.42 / tall,
        hspace=0.0,
    )
    for number, (window, kinds) in enumerate(zip(windows, shown, strict=True)):
        upper = drawn.add_subplot(grid[3 * number])
        lanes = drawn.add_subplot(grid[3 * number + 1], sharex=upper)
        _volts(upper, outcome, window)
        _lanes(lanes, window, kinds, sides, outcome)
        span_s = upper.get_xlim()[1] - upper.get_xlim()[0]
        lanes.xaxis.set_major_locator(MultipleLocator(next((s for s in _STEPS_S if span_s / s <= 9), 172_800)))
        lanes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: counted(value) if value >= 0 else ""))
        if number == len(windows) - 1:
            lanes.set_xlabel("since the board's start [h:mm:ss]; a line until it is shown, then a bar")
    return drawn


def _headline(into: Figure, tall: float, source: str, outcome: Outcome, drawn: int, left_out: int) -> None:
    changed = sum(len(one.differences) for one in outcome.sets)
    told = "no warning changes" if not changed else f"{changed} change{'' if changed == 1 else 's'}"
    more = f"; the {drawn} stretches that change most, of {drawn + left_out}" if left_out else ""
    lines = [f"{source}: {told}{more}", *(f"{one.chosen.name}: {changes(one, outcome)}" for one in outcome.sets)]
    for number, line in enumerate(lines):
        into.text(
            0.02, 1 - (0.1 + 0.17 * number) / tall, line, va="top", fontsize=9 if not number else 7.5,
            fontweight="bold" if not number else "normal",
        )  # fmt: skip


def _windows(outcome: Outcome) -> tuple[list[_Window], int]:
    """What is drawn, in order of time, and how many more change: the drives, and stretches of a parked car, that change
    most; where nothing changes, those with the longest warnings."""
    matches = [each for one in outcome.sets for each in one.differences]
    groups = [(each.now, each.then) for each in matches] or [((one,), ()) for one in outcome.warned]
    spans = []
    for now, then in groups:
        both = now + then
        name = "parked" if both[0].drive is None else f"drive {both[0].drive}"
        spans.append(_Window(name, *_around(outcome, both), sum(one.length_ms or 1 for one in both)))
    windows: list[_Window] = []
    for one in sorted(spans, key=lambda span: (span.name, span.first)):
        if windows and windows[-1].name == one.name and one.first < windows[-1].stop:
            last = windows.pop()
            one = _Window(one.name, last.first, max(last.stop, one.stop), last.changed_ms + one.changed_ms)
        windows.append(one)
    ranked = sorted(windows, key=lambda window: -window.changed_ms)
    kept = sorted(ranked[:_MOST_WINDOWS], key=lambda window: window.first)
    return kept, len(ranked) - len(kept)


def _around(outcome: Outcome, warnings: Sequence[Warned]) -> tuple[int, int]:
    """The rows of the drive that they are in; of a parked car those from a while before to a while after."""
    rows, first = outcome.rows, warnings[0]
    if first.drive is not None:
        return rows.drives[first.drive - 1]
    begins = [*rows.begins, len(rows)]
    start, stop = begins[first.part], begins[first.part + 1]
    ends_ms = (min(one.start_ms for one in warnings) - _AROUND_MS, max(one.end_ms for one in warnings) + _AROUND_MS)
    inside = np.searchsorted(rows.t_ms[start:stop], ends_ms)
    return start + int(inside[0]), start + int(inside[1])


def _kinds_in(window: _Window, sides: Sequence[tuple[str, Sequence[Warned]]]) -> list[str]:
    shown = {one.kind for _, warnings in sides for one in warnings if _in(window, one)}
    return [kind for kind in KINDS if kind in shown]


def _in(window: _Window, one: Warned) -> bool:
    return one.first_row < window.stop and one.last_row >= window.first


def _volts(axes: Axes, outcome: Outcome, window: _Window) -> None:
    rows, span = outcome.rows, slice(window.first, window.stop)
    t_s = rows.t_ms[span] / 1000.0
    low, mean, high = (
        np.where(column[span] == ABSENT, np.nan, column[span] / 1000.0)
        for column in (rows.low_mv, rows.bus_mv, rows.high_mv)
    )
    trace = envelope(t_s, low, mean, high)
    axes.fill_between(trace.t_s, trace.low, trace.high, color=BLUE, alpha=0.28, linewidth=0)
    axes.plot(trace.t_s, trace.mean, color=BLUE, linewidth=0.9)
    seen = np.concatenate((low, high))
    seen = seen[np.isfinite(seen) & (seen >= _LEAST_VOLTS)]
    limits = _limits(outcome)
    around = [
        float(volts) for volts in (*(each for each, _ in limits), *((seen.min(), seen.max()) if len(seen) else ()))
    ]
    bottom, top = min(around, default=12.0), max(around, default=15.0)
    margin = 0.08 * max(top - bottom, 0.5)
    axes.set_ylim(bottom - margin, top + margin)
    free, apart = np.inf, 0.1 * (top - bottom + 2 * margin)
    for volts, name in limits:
        axes.axhline(volts, color=INK, linestyle="dotted" if name.startswith("now") else "dashed", linewidth=0.8)
        free = min(volts, free - apart)
        axes.text(1.01, free, f"{name} {volts:.2f} V", transform=axes.get_yaxis_transform(), va="center", fontsize=6.5)
    axes.set_ylabel("bus [V]")
    axes.set_title(window.name, loc="left", fontsize=8, fontweight="bold", pad=3)
    axes.set_xlim(t_s[0] - 1, t_s[-1] + 1)
    axes.tick_params(axis="x", labelbottom=False, length=0)
    axes.spines[["top", "right", "bottom"]].set_visible(False)
    axes.grid(axis="y", color=GREY, alpha=0.25, linewidth=0.5)


def _limits(outcome: Outcome) -> list[tuple[float, str]]:
    """The levels to draw, from the top: those that a set changes, now and then; else those of discharging."""
    present = outcome.rows.thresholds
    names = [name for name in _LINES if any(name in one.chosen.changes for one in outcome.sets)] or ["discharging_mv"]
    sides: dict[tuple[float, str], list[str]] = {}
    for name in names:
        word = name.removesuffix("_mv").replace("low_rest", "low at rest")
        sides[getattr(present, name) / 1000, word] = ["now"]
        for one in outcome.sets:
            if name in one.chosen.changes:
                sides.setdefault((one.chosen.changes[name] / 1000, word), []).append(one.chosen.name)
    return [(volts, f"{', '.join(of)}: {word}") for (volts, word), of in sorted(sides.items(), reverse=True)]


def _lanes(
    axes: Axes, window: _Window, kinds: Sequence[str], sides: Sequence[tuple[str, Sequence[Warned]]], outcome: Outcome
) -> None:
    rows = outcome.rows
    least_s = max((int(rows.t_ms[window.stop - 1]) - int(rows.t_ms[window.first])) / 1000 / 400, 0.1)
    names: list[str] = []
    for kind in kinds:
        colour, hatch, _ = _LOOKS[kind]
        for side, warnings in sides:
            lane = len(names)
            names.append(f"{kind}, {side}")
            for one in warnings:
                if one.kind != kind or not _in(window, one):
                    continue
                start_s, shown_s = one.start_ms / 1000, one.shown_ms / 1000
                end_s = max(one.end_ms / 1000, shown_s + least_s)
                axes.plot([start_s, shown_s], [lane, lane], color=colour, linewidth=1.5, solid_capstyle="butt")
                axes.broken_barh(
                    [(shown_s, end_s - shown_s)], (lane - 0.36, 0.72), facecolor=colour, hatch=hatch, linewidth=0
                )
    axes.set_ylim(max(len(names), 1) - 0.4, -0.7)
    axes.set_yticks(range(len(names)), names, fontsize=6.5)
    axes.tick_params(axis="y", length=0)
    for lane in range(len(sides), len(names), len(sides)):
        axes.axhline(lane - 0.5, color=GREY, linewidth=0.4)
    axes.spines[["top", "right"]].set_visible(False)
