"""All drives in a row: a bar each, as tall as it lasted minutes, marked where something was found."""

from collections.abc import Callable
from html import escape
from math import ceil
from statistics import median
from typing import Any

from underdash.review.clock import month, when
from underdash.review.pages.files import file_name
from underdash.review.pages.words import duration

_WIDE, _TALL, _LEFT, _TOP, _GAP = 1000.0, 112.0, 50.0, 18.0, 2.0
_MARKS = {"act": "!", "watch": "?"}
_MANY = 8.0  # a drive beyond so many times the median is cut off, or the others would be of no height
_STEPS = (1, 2, 5, 10, 20, 30, 60, 120, 240, 480, 720, 1440)  # between the lines [min]


def strip_svg(drives: list[dict[str, Any]], gravest: dict[int, str], href: Callable[[int], str] = file_name) -> str:
    """An inline `<svg>`; each bar is a link to where `href` says that its drive is. gravest: the weight of the worst
    finding of a drive.

    The foot of a bar, dark and hatched, is the time below the discharging limit. A drive that is far longer than the
    others is cut off, with its length in words.
    """
    step = min((_WIDE - _LEFT) / len(drives), 40.0)
    wide = max(step - _GAP, 0.7)
    most = _most(drives)
    parts = [_lines(most, _LEFT + step * len(drives))]
    for number, drive in enumerate(drives, 1):
        x = _LEFT + (number - 1) * step
        parts.append(_bar(number, drive, x, step, wide, most, gravest.get(number, ""), href(number)))
    every = max(1, ceil(len(drives) / 16))
    numbers = "".join(
        f'<text x="{_LEFT + (number - 1) * step + wide / 2:.1f}" y="{_TOP + _TALL + 13}">{number}</text>'
        for number in range(1, len(drives) + 1, every)
    )
    hatch = (
        '<defs><pattern id="low" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="5" height="5" class="short"/><path d="M0 0V5" class="line"/></pattern></defs>'
    )
    months = _months(drives, step)
    tall = _TOP + _TALL + (32 if months else 18)
    return f'<svg class="strip" viewBox="0 0 {_WIDE:.0f} {tall:.0f}">{hatch}{"".join(parts)}{numbers}{months}</svg>'


def _most(drives: list[dict[str, Any]]) -> float:
    """What the whole height stands for [s]."""
    lengths = [float(drive["length_s"]) for drive in drives]
    usual = _MANY * median(lengths)
    return max(max((length for length in lengths if length <= usual), default=0.0), 60.0)


def _lines(most: float, right: float) -> str:
    step = next((one for one in _STEPS if most / 60 / one <= 3.5), 2880)
    told = []
    for minutes in range(0, int(most / 60) + 1, step):
        y = _TOP + _TALL * (1 - minutes * 60 / most)
        words = f"{minutes // 60} h" if step % 60 == 0 and minutes else f"{minutes} min"
        told.append(f'<path class="rule" d="M{_LEFT:.0f} {y:.1f}H{right:.1f}"/>')
        told.append(f'<text class="scale" x="{_LEFT - 6:.0f}" y="{y + 3:.1f}">{words}</text>')
    return "".join(told)


def _bar(
    number: int, drive: dict[str, Any], x: float, step: float, wide: float, most: float, weight: str, href: str
) -> str:
    length = float(drive["length_s"])
    tall = max(_TALL * min(length / most, 1.0), 2.0)
    low = tall * min(drive["low_s"] / max(length, 1.0), 1.0)
    foot = _TOP + _TALL
    y = foot - tall
    share = f", {duration(drive['low_s'])} of it below the discharging limit" if drive["low_s"] else ""
    words = escape(f"Drive {number}, {when(drive)}, {duration(length)} long{share}" + (f": {weight}" if weight else ""))
    top = ""
    if length > most:
        told = f"{length / 3600:.0f} h" if length >= 5400 else f"{length / 60:.0f} min"
        top = f'<path class="cut" d="M{x - 1:.1f} {y + 13:.1f}l{wide + 2:.1f} -5v4l-{wide + 2:.1f} 5z"/>'
        mark = f'<tspan class="{weight}">{_MARKS[weight]}</tspan> ' if weight in _MARKS else ""
        top += f'<text x="{x + wide / 2:.1f}" y="{y - 3:.1f}">{mark}{told}</text>'
    elif weight in _MARKS and step >= 7:
        top = f'<text x="{x + wide / 2:.1f}" y="{y - 4:.1f}" class="{weight}">{_MARKS[weight]}</text>'
    return (
        f'<a href="{href}" aria-label="{words}"><title>{words}</title>'
        f'<rect x="{x:.1f}" y="0" width="{step:.1f}" height="{foot}" fill="none" pointer-events="all"/>'
        f'<rect class="bar" x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{tall:.1f}"/>'
        f'<rect x="{x:.1f}" y="{foot - low:.1f}" width="{wide:.1f}" height="{low:.1f}" fill="url(#low)"/>{top}</a>'
    )


def _months(drives: list[dict[str, Any]], step: float) -> str:
    """The months, each under its first drive; none unless all are dated."""
    if not all(drive["dated"] for drive in drives):
        return ""
    told, before, free = [], "", 0.0
    for place, drive in enumerate(drives):
        x, named = _LEFT + place * step, drive["dated"][:7]
        if named != before and x >= free:
            words = month(drive["dated"], year=named[:4] != before[:4])
            told.append(f'<text class="month" x="{x:.1f}" y="{_TOP + _TALL + 27}">{words}</text>')
            free, before = x + 9.0 * len(words), named
    return "".join(told)
