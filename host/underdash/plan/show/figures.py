"""The plan's curves: output over engine speed against demand, and the battery's charge over a stretch of lights.

Nothing rests on colour alone: every line has its own dashes and its name beside it, a shortfall is hatched.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from underdash.plan.results import Balance, Budget
from underdash.svg import BLUE, CARD, GREY, INK, ORANGE, PURPLE, RED, SKY, STYLE, inline

Floats = NDArray[np.float64]

_LOOKS = ((ORANGE, (0, (1, 1.6))), (PURPLE, (0, (5, 2.5))), (RED, (0, (7, 2, 1.5, 2))), (GREY, "solid"))
_SHAPES = ("s", "^", "o", "D")


def output_svg(budget: Budget) -> str:
    """Output hot and cold over engine speed [rev/min], with each situation's demand [A]."""
    with rc_context(STYLE):
        figure = Figure(figsize=(9.6, 4.4))
        axes = figure.subplots()
        figure.subplots_adjust(left=0.065, right=0.79, top=0.91, bottom=0.115)
        _output(axes, budget)
    return inline(
        figure, "output-", "Alternator output over engine speed, hot and cold, with the demand of each situation"
    )


def _output(axes: Axes, budget: Budget) -> None:
    rpm, hot, cold = (np.array(each) for each in (budget.curve_rpm, budget.curve_hot_a, budget.curve_cold_a))
    situations = list(dict.fromkeys(balance.situation for balance in budget.balances))
    axes.plot(rpm, cold, color=SKY, linewidth=1.3, linestyle=(0, (4, 2)))
    axes.plot(rpm, hot, color=BLUE, linewidth=1.9)
    names = [(float(cold[-1]), "output, cold"), (float(hot[-1]), "output, hot")]
    worst = budget.shortfalls[0].balance.situation if budget.shortfalls else None
    for situation, (colour, dashes) in zip(situations, _LOOKS, strict=False):
        mine = [balance for balance in budget.balances if balance.situation == situation]
        demand = _demand(mine, rpm)
        axes.plot(rpm, demand, color=colour, linewidth=1.4, linestyle=dashes, drawstyle="steps-mid")
        names.append((float(demand[-1]), f"{situation}: {_told(mine)}"))
        if situation == worst:
            axes.fill_between(rpm, hot, demand, where=list((demand > hot) & (rpm >= mine[0].engine_rpm)), step="mid",
                              facecolor="none", edgecolor=RED, hatch="////", linewidth=0.0)  # fmt: skip
    seen = {balance.speed: balance for balance in budget.balances}
    top = 1.1 * max(float(cold.max()), *(balance.sustained_a for balance in budget.balances))
    axes.set_ylim(0.0, top)
    axes.set_xlim(float(rpm[0]), float(rpm[-1]))
    taken, level = -np.inf, 0
    for (speed, balance), shape in zip(seen.items(), _SHAPES, strict=False):
        axes.axvline(balance.engine_rpm, color=GREY, linewidth=0.6, alpha=0.6)
        axes.plot([balance.engine_rpm], [balance.hot_a], color=INK, marker=shape, markersize=6, linestyle="none")
        level = 1 - level if balance.engine_rpm - taken < 0.13 * np.ptp(rpm) else 0
        taken = balance.engine_rpm
        axes.annotate(f"{speed}, {balance.hot_a:.0f} A", (balance.engine_rpm, 1.0), (0, 4 + 11 * level),
                      xycoords=axes.get_xaxis_transform(), textcoords="offset points", ha="center")  # fmt: skip
    if budget.shortfalls:
        _shortfall(axes, budget.shortfalls[0].balance)
    _name_lines(axes, names)
    axes.set_xlabel("engine speed [rev/min]")
    axes.set_ylabel("at 13.5 V [A]")
    axes.grid(axis="y", color=GREY, alpha=0.25, linewidth=0.5)
    _plain(axes)


def _shortfall(axes: Axes, short: Balance) -> None:
    """An arrow from output to demand, and what it spans in words: below the curve, where nothing rises."""
    arrow = {"arrowstyle": "<->", "color": INK, "linewidth": 1.2, "shrinkA": 3, "shrinkB": 0}
    ends = (short.engine_rpm, short.sustained_a), (short.engine_rpm, short.hot_a)
    axes.annotate("", *ends, arrowprops=arrow)
    axes.annotate(f"{-short.margin_a:.0f} A short at {short.speed}, {short.situation}",
                  (short.engine_rpm, short.hot_a), (9, -9), textcoords="offset points", va="top", fontweight="bold",
                  bbox={"facecolor": CARD, "edgecolor": "none", "pad": 1.5})  # fmt: skip


def _demand(mine: Sequence[Balance], rpm: Floats) -> Floats:
    """Demand at each speed [A], that of the nearest of the chosen speeds."""
    at = np.array([balance.engine_rpm for balance in mine])
    nearest = np.abs(rpm[:, None] - at[None, :]).argmin(axis=1)
    demand: Floats = np.array([balance.sustained_a for balance in mine])[nearest]
    return demand


def _told(mine: Sequence[Balance]) -> str:
    amps = [f"{balance.sustained_a:.0f} A" for balance in mine]
    return amps[0] if len(set(amps)) == 1 else f"{amps[0]} idling, {amps[-1]}"


def charge_svg(budget: Budget) -> str:
    """State of charge over the simulated stretch of lights, a line for each situation; empty if there is nothing."""
    drawn = [cycling for cycling in budget.cycling if len(cycling.t_s) > 1]
    if not drawn:
        return ""
    with rc_context(STYLE):
        figure = Figure(figsize=(9.6, 2.6))
        axes = figure.subplots()
        figure.subplots_adjust(left=0.065, right=0.79, top=0.95, bottom=0.185)
        names = []
        for cycling, (colour, dashes) in zip(drawn, _LOOKS, strict=False):
            minutes, per_cent = np.array(cycling.t_s) / 60.0, 100.0 * np.array(cycling.charge)
            axes.plot(minutes, per_cent, color=colour, linewidth=1.4, linestyle=dashes)
            names.append((float(per_cent[-1]), cycling.situation))
        axes.margins(x=0.0, y=0.1)
        _name_lines(axes, names)
        axes.set_xlabel("driving and standing at lights in turn [min]")
        axes.set_ylabel("charge [%]")
        axes.grid(axis="y", color=GREY, alpha=0.25, linewidth=0.5)
        _plain(axes)
    return inline(figure, "charge-", "State of charge over a stretch of traffic lights, for each situation")


def _name_lines(axes: Axes, names: Sequence[tuple[float, str]]) -> None:
    """Each line's name at the right edge, pushed apart where they would touch."""
    bottom, top = axes.get_ylim()
    height = axes.get_position().height * axes.get_figure(root=True).get_figheight()  # type: ignore[union-attr]
    apart = (top - bottom) * 0.155 / height
    spots = sorted(names)
    levels = [min(max(level, bottom + apart / 2), top) for level, _ in spots]
    for _ in range(100):
        for low, high in pairwise(range(len(levels))):
            if (over := apart - (levels[high] - levels[low])) > 0:
                levels[low] = max(levels[low] - over / 2, bottom + apart / 2)
                levels[high] = max(levels[high] + over / 2, levels[low] + apart)
    hair = {"arrowstyle": "-", "color": GREY, "linewidth": 0.5, "shrinkA": 1, "shrinkB": 0}
    across = axes.get_yaxis_transform()
    for level, (where, words) in zip(levels, spots, strict=True):
        axes.annotate(words, (1.0, where), (1.022, level), xycoords=across, textcoords=across, va="center",
                      annotation_clip=False, arrowprops=hair)  # fmt: skip


def _plain(axes: Axes) -> None:
    axes.patch.set_visible(False)
    axes.spines[["top", "right"]].set_visible(False)
