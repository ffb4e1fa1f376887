"""One drive as one picture: volts, amps where there is a clamp, and the verdict in lanes beneath.

Nothing in the picture rests on colour alone: episodes and cranks carry numbers, each state has a
lane with its name, the thresholds differ in line style and are named at the right edge.
"""

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MultipleLocator
from numpy.typing import NDArray

from chargecore.engine import STATE_NAMES
from underdash.review.clock import clock, local
from underdash.review.stretches import LONGEST_JUDGED_S
from underdash.svg import BLUE, GREEN, GREY, INK, ORANGE, PURPLE, RED, SKY, STYLE, inline

# State: colour, hatch. From the top lane down, which is also what wins where several share a pixel.
LANES = {
    "overcharge": (PURPLE, "xxxx"),
    "discharging": (RED, "////"),
    "marginal": (ORANGE, "\\\\\\\\"),
    "crank": (BLUE, "||||"),
    "charging": (GREEN, ""),
    "rest": (SKY, "----"),
    "no verdict": (GREY, "++++"),
}
LINES: tuple[tuple[str, str, Any], ...] = (
    ("overcharge", PURPLE, "dashdot"),
    ("marginal", ORANGE, "dashed"),
    ("discharging", RED, "solid"),
)
_BUCKETS = 500  # two points of each: about one a pixel
_STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400)

Floats = NDArray[np.float64]


class RowsLike(Protocol):
    """Equally long arrays, one entry a journal row; volts [V], amps [A], nan where unmeasured."""

    @property
    def boot(self) -> NDArray[Any]: ...
    @property
    def t_s(self) -> NDArray[Any]: ...
    @property
    def low(self) -> NDArray[Any]: ...
    @property
    def volts(self) -> NDArray[Any]: ...
    @property
    def high(self) -> NDArray[Any]: ...
    @property
    def amps(self) -> NDArray[Any]: ...
    @property
    def state(self) -> NDArray[Any]: ...
    @property
    def warnings(self) -> NDArray[Any]: ...


@dataclass(frozen=True)
class Trace:
    """Lowest, mean and highest of one quantity over time [s], nan where the line must break."""

    t_s: Floats
    low: Floats
    mean: Floats
    high: Floats


def envelope(t_s: Floats, low: Floats, mean: Floats, high: Floats) -> Trace:
    """Thin rows out to about a thousand points that keep every extreme and every gap.

    t_s: times, rising [s]; low, mean, high: the quantity, in any one unit, nan if unmeasured.
    """
    holes = np.flatnonzero(np.diff(t_s) > LONGEST_JUDGED_S) + 1
    t_s = np.insert(t_s, holes, t_s[holes - 1])
    low, mean, high = (np.insert(each, holes, np.nan) for each in (low, mean, high))
    if len(t_s) <= 2 * _BUCKETS:
        return Trace(t_s, low, mean, high)
    edges = np.searchsorted(t_s, np.linspace(t_s[0], t_s[-1], _BUCKETS + 1)[1:-1])
    keep: list[int] = []
    low, high, blank = low.copy(), high.copy(), np.isnan(mean)
    for first, last in zip([0, *edges.tolist()], [*edges.tolist(), len(t_s)], strict=True):
        if first == last:
            continue
        known = np.flatnonzero(~blank[first:last]) + first
        if len(known) < last - first:
            keep.append(first + int(np.argmax(blank[first:last])))
        if len(known):
            ends = {int(known[np.argmin(mean[known])]), int(known[np.argmax(mean[known])])}
            bottom, top = np.fmin.reduce(low[first:last]), np.fmax.reduce(high[first:last])
            for index in ends:
                low[index], high[index] = bottom, top
            keep.extend(ends)
    chosen = np.array(sorted(keep), dtype=int)
    return Trace(t_s[chosen], low[chosen], mean[chosen], high[chosen])


def lanes(t_s: Floats, state: NDArray[Any]) -> dict[str, list[tuple[float, float]]]:
    """Stretches (start [s], length [s]) of each state, worst first; short ones keep a visible width."""
    if not len(t_s):
        return {}
    span = max(float(t_s[-1] - t_s[0]), 1.0)
    steps = np.minimum(np.diff(t_s, prepend=t_s[0] - 1.0), LONGEST_JUDGED_S)
    found: dict[str, list[tuple[float, float]]] = {}
    for name in LANES:
        stretches: list[tuple[float, float]] = []
        for index in np.flatnonzero(state == STATE_NAMES.index(name)):
            start, end = max(float(t_s[index] - steps[index]), float(t_s[0]) - 1.0), float(t_s[index])
            if stretches and start - sum(stretches[-1]) <= span / _BUCKETS:
                stretches[-1] = (stretches[-1][0], end - stretches[-1][0])
            else:
                stretches.append((start, end - start))
        if stretches:
            found[name] = [(start, max(length, span / 400)) for start, length in stretches]
    return found


def _line(axes: Axes, trace: Trace, colour: str) -> None:
    axes.plot(trace.t_s, trace.mean, color=colour, linewidth=0.9)
    blank = np.concatenate(([True], np.isnan(trace.mean), [True]))
    alone = ~blank[1:-1] & blank[:-2] & blank[2:]
    axes.plot(trace.t_s[alone], trace.mean[alone], color=colour, linestyle="none", marker="o", markersize=3)


def _limits(bottom: float, top: float, *parts: Floats) -> tuple[float, float]:
    seen = np.concatenate(parts)
    seen = seen[np.isfinite(seen)]
    if len(seen):
        bottom, top = min(bottom, float(seen.min())), max(top, float(seen.max()))
    margin = 0.07 * (top - bottom)
    return bottom - margin, top + margin


def _threshold_lines(axes: Axes, thresholds: dict[str, Any]) -> None:
    """Each limit as a line, named at the right edge; names that would touch are pushed apart."""
    bottom, top = axes.get_ylim()
    apart, free = (top - bottom) * 0.062, float("inf")
    for name, colour, style in LINES:
        if f"{name}_mv" not in thresholds:
            continue
        volts = thresholds[f"{name}_mv"] / 1000
        axes.axhline(volts, color=colour, linestyle=style, linewidth=0.9)
        free = min(volts, free - apart)
        side = "above" if name == "overcharge" else "below"
        axes.text(
            1.01, free, f"{name} {side} {volts:.2f} V", transform=axes.get_yaxis_transform(), va="center", fontsize=6.5
        )


def _marks(axes: Axes, drive: dict[str, Any], span: float) -> None:
    """Number the episodes along the top and the cranks along the bottom of the volts panel."""
    across = axes.get_xaxis_transform()
    taken = [-np.inf] * 3
    for number, episode in enumerate(drive["episodes"], 1):
        middle = episode["start_s"] + episode["length_s"] / 2
        for level in range(3):
            if middle - taken[level] > span / 45:
                taken[level] = middle
                axes.text(
                    middle,
                    0.985 - 0.085 * level,
                    str(number),
                    transform=across,
                    ha="center",
                    va="top",
                    fontsize=7.5,
                    fontweight="bold",
                )
                break
    last = -np.inf
    for number, crank in enumerate(drive["cranks"], 1):
        axes.plot([crank["start_s"]], [0.035], transform=across, color=INK, marker="v", markersize=5)
        if crank["start_s"] - last > span / 8:
            last = crank["start_s"]
            late = crank["start_s"] > axes.get_xlim()[0] + 0.85 * span
            lowest = crank["lowest_volts"]
            told = f"crank {number}" if lowest is None else f"crank {number}: {lowest:.2f} V"
            axes.annotate(
                told,
                (crank["start_s"], 0.035),
                (-5 if late else 5, 4),
                xycoords=across,
                textcoords="offset points",
                va="bottom",
                ha="right" if late else "left",
                fontsize=6.5,
            )


def places(drive: dict[str, Any], rows: RowsLike, around_s: float = 1.0) -> NDArray[Any]:
    """Positions in `rows` of a drive's rows and of those up to `around_s` [s] before and after it, in order of time."""
    start, end = float(drive["start_s"]), float(drive["start_s"] + drive["length_s"])
    mine = np.flatnonzero((rows.boot == drive["boot"]) & (rows.t_s >= start - around_s) & (rows.t_s <= end + around_s))
    return mine[np.argsort(rows.t_s[mine], kind="stable")]


def _times(axes: Axes, drive: dict[str, Any], span: float, since: str) -> None:
    """Ticks at round times, of the local clock where the drive is dated."""
    step = next((s for s in _STEPS_S if span / s <= 9), 172800)
    axes.xaxis.set_major_locator(MultipleLocator(step, zero_s(drive)))

    def told(value: float, _: Any) -> str:
        if value < 0 and not drive.get("dated"):
            return ""
        return "\n".join(reversed(clock(drive, value).split(" ")))  # of another day the date, below

    axes.xaxis.set_major_formatter(FuncFormatter(told))
    axes.set_xlabel(f"local time, {drive['dated'][:10]}" if drive.get("dated") else f"h:mm:ss, {since}")


def zero_s(drive: dict[str, Any]) -> float:
    """A time [s] at which the clock that a drive's times are told by shows 0:00:00."""
    if not drive.get("dated"):
        return 0.0
    began = local(drive, drive["start_s"])
    return float(drive["start_s"] - (began.hour * 3600 + began.minute * 60 + began.second))


def _figure(drive: dict[str, Any], rows: RowsLike, thresholds: dict[str, Any], since: str) -> Figure:
    start, span = float(drive["start_s"]), max(float(drive["length_s"]), 1.0)
    mine = places(drive, rows)
    t_s, low, volts, high, amps = (
        np.asarray(each[mine], dtype=np.float64) for each in (rows.t_s, rows.low, rows.volts, rows.high, rows.amps)
    )
    found = lanes(t_s, rows.state[mine])
    clamp = bool(np.isfinite(amps).any())
    heights = [2.5, *([1.3] if clamp else []), 0.17 * max(len(found), 1) + 0.06]
    foot = 0.48 + (0.13 if " " in clock(drive, start) + clock(drive, start + span) else 0.0)  # a date below the time
    tall = sum(heights) + 0.1 * (len(heights) - 1) + foot + 0.12
    figure = Figure(figsize=(9.6, tall))
    panels = figure.subplots(len(heights), 1, sharex=True, height_ratios=heights)
    figure.subplots_adjust(
        left=0.085, right=0.845, top=1 - 0.12 / tall, bottom=foot / tall, hspace=0.1 / (sum(heights) / len(heights))
    )
    calm = np.ones(len(t_s), dtype=bool)  # a crank's dip is told in words; it must not squash the rest
    for crank in drive["cranks"]:
        calm &= (t_s < crank["start_s"] - 1) | (t_s > crank["start_s"] + crank["length_s"] + 2)

    upper = panels[0]
    upper.set_xlim(start - 0.005 * span, start + 1.005 * span)
    upper.set_ylim(*_limits(12.0, 15.2, low[calm], volts[calm], high[calm]))
    upper.set_ylabel("bus [V]")
    trace = envelope(t_s, low, volts, high)
    upper.fill_between(trace.t_s, trace.low, trace.high, color=BLUE, alpha=0.28, linewidth=0)
    _line(upper, trace, BLUE)
    _threshold_lines(upper, thresholds)
    _marks(upper, drive, span)
    if clamp:
        middle = panels[1]
        middle.set_ylim(*_limits(-5.0, 5.0, amps[calm]))
        middle.set_ylabel("battery [A]")
        trace = envelope(t_s, amps, amps, amps)
        middle.fill_between(trace.t_s, 0, np.minimum(trace.mean, 0), color=RED, alpha=0.3, linewidth=0)
        middle.fill_between(trace.t_s, 0, np.maximum(trace.mean, 0), color=GREEN, alpha=0.3, linewidth=0)
        _line(middle, trace, BLUE)
        middle.axhline(0, color=INK, linewidth=0.8)
        bottom, top = middle.get_ylim()
        for level, words in ((top / 2, "into the battery"), (bottom / 2, "out of the battery")):
            middle.text(1.01, level, words, transform=middle.get_yaxis_transform(), va="center", fontsize=6.5)
    for axes in panels[:-1]:
        axes.grid(axis="y", color=GREY, alpha=0.25, linewidth=0.5)
        for episode in drive["episodes"]:
            axes.axvspan(
                episode["start_s"],
                episode["start_s"] + max(episode["length_s"], span / 400),
                color=RED,
                alpha=0.13,
                linewidth=0,
            )

    strip = panels[-1]
    for lane, (name, stretches) in enumerate(found.items()):
        colour, hatch = LANES[name]
        strip.broken_barh(stretches, (lane - 0.4, 0.8), facecolor=colour, hatch=hatch, linewidth=0)
    strip.set_ylim(max(len(found), 1) - 0.4, -0.6)
    strip.set_yticks(range(len(found)), list(found), fontsize=6.5)
    strip.tick_params(axis="y", length=0)
    _times(strip, drive, span, since)
    for axes in panels:
        axes.patch.set_visible(False)
        axes.spines[["top", "right"]].set_visible(False)
    return figure


class Picture:
    """One drive, drawn once, to be had as an inline `<svg>` and as a PNG.

    drive: one entry of the report's `drives` (times [s]); rows: rows that include that drive's;
    thresholds: the report's, in [mV]; since: what an undated drive's times count from.
    """

    def __init__(
        self, drive: dict[str, Any], rows: RowsLike, thresholds: dict[str, Any], since: str = "since the board's start"
    ) -> None:
        self._drive = drive
        with rc_context(STYLE):
            self._figure = _figure(drive, rows, thresholds, since)

    def svg(self) -> str:
        """For the page; its ids are its own, its ink the page's."""
        start = self._drive["start_s"]
        return inline(self._figure, f"b{int(self._drive['boot'])}s{round(start * 1000)}-", label(self._drive))

    def png(self) -> bytes:
        """The same, on white."""
        out = io.BytesIO()
        with rc_context(STYLE):
            self._figure.savefig(out, format="png", dpi=150, facecolor="white", pil_kwargs={"compress_level": 3})
        return out.getvalue()


def label(drive: dict[str, Any]) -> str:
    """A drive's picture in words."""
    start = drive["start_s"]
    return f"Bus volts and verdicts from {clock(drive, start)} to {clock(drive, start + drive['length_s'])}"


def drive_svg(drive: dict[str, Any], rows: RowsLike, thresholds: dict[str, Any]) -> str:
    """`Picture.svg`; arguments as for it."""
    return Picture(drive, rows, thresholds).svg()


def drive_png(drive: dict[str, Any], rows: RowsLike, thresholds: dict[str, Any], path: Path) -> None:
    """Write `Picture.png` to `path`."""
    path.write_bytes(Picture(drive, rows, thresholds).png())
