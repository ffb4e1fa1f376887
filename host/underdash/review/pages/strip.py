"""All drives in a row: a bar each, as tall as the drive was long, marked where something was found."""

from html import escape
from math import ceil, sqrt
from typing import Any

from underdash.review.findings import clock
from underdash.review.pages.files import file_name
from underdash.review.pages.words import dated

_WIDE, _TALL, _GAP = 1000.0, 74.0, 2.0
_MARKS = {"act": "!", "watch": "?"}


def strip_svg(drives: list[dict[str, Any]], gravest: dict[int, str]) -> str:
    """An inline `<svg>`; each bar is a link to its drive's page. gravest: the weight of the worst finding of a drive.

    Bars are as tall as the square root of the length, so that a short trip beside a long one stays visible. The time
    below the discharging limit fills a bar from its foot, hatched.
    """
    step = min(_WIDE / len(drives), 40.0)
    wide = max(step - _GAP, 0.7)
    longest = max(max(drive["length_s"] for drive in drives), 1.0)
    parts = []
    for number, drive in enumerate(drives, 1):
        tall = max(3.0, (_TALL - 16) * sqrt(drive["length_s"] / longest))
        low = tall * min(drive["low_s"] / max(drive["length_s"], 1.0), 1.0)
        x, y = (number - 1) * step, _TALL - tall
        weight = gravest.get(number, "")
        words = f"Drive {number}, {dated(drive.get('dated'))}, {clock(drive['length_s'])} long"
        words += f": {weight}" if weight in _MARKS else ""
        mark = ""
        if weight in _MARKS and step >= 7:
            mark = f'<text x="{x + wide / 2:.1f}" y="{y - 4:.1f}" class="{weight}">{_MARKS[weight]}</text>'
        parts.append(
            f'<a href="{file_name(number)}" aria-label="{escape(words)}"><title>{escape(words)}</title>'
            f'<rect x="{x:.1f}" y="0" width="{step:.1f}" height="{_TALL}" fill="none" pointer-events="all"/>'
            f'<rect class="bar" x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{tall:.1f}"/>'
            f'<rect x="{x:.1f}" y="{_TALL - low:.1f}" width="{wide:.1f}" height="{low:.1f}" fill="url(#low)"/>'
            f"{mark}</a>"
        )
    every = max(1, ceil(len(drives) / 16))
    numbers = "".join(
        f'<text x="{(number - 1) * step + wide / 2:.1f}" y="{_TALL + 13}">{number}</text>'
        for number in range(1, len(drives) + 1, every)
    )
    hatch = (
        '<defs><pattern id="low" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="5" height="5" class="short"/><path d="M0 0V5" class="line"/></pattern></defs>'
    )
    return f'<svg class="strip" viewBox="0 0 {_WIDE:.0f} {_TALL + 18:.0f}">{hatch}{"".join(parts)}{numbers}</svg>'
