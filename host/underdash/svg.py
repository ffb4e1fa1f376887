"""A matplotlib figure as an inline `<svg>` of a page: the page's own ink, light or dark, and ids of its own."""

import html
import io
import re
from typing import Any

from matplotlib import rc_context
from matplotlib.figure import Figure

# The Okabe-Ito palette, safe for every common kind of colour blindness.
INK, GREY, BLUE, SKY = "#1b1c1e", "#808285", "#0072b2", "#56b4e9"
GREEN, ORANGE, RED, PURPLE = "#009e73", "#e69f00", "#d55e00", "#cc79a7"
CARD = "#fefefe"  # what lies behind a picture
# In the page these follow its light or dark scheme; a picture on its own keeps the plain colours.
_IN_PAGE = {INK: "currentColor", BLUE: f"var(--plot-volts, {BLUE})", CARD: "var(--card, #fff)"}

STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "underdash",
    "font.size": 8,
    "font.family": "DejaVu Sans",
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": GREY,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.linewidth": 0.6,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "hatch.linewidth": 0.6,
    "hatch.color": INK,
    "path.simplify": True,
}
"""What figures are made and saved with, by `rc_context`."""


def inline(figure: Figure, prefix: str, label: str) -> str:
    """The figure as `<svg>`, every id in it beginning with `prefix`, `label` its words for those who cannot see it."""
    out = io.StringIO()
    with rc_context(STYLE):
        figure.savefig(
            out, format="svg", transparent=True, metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r'\bid="', f'id="{prefix}', text)
    text = re.sub(r'xlink:href="#(?!drive-)', f'href="#{prefix}', text)  # but links to a drive on the page
    text = text.replace(' target="_blank"', "").replace("url(#", f"url(#{prefix}")
    text = re.sub(r'\bd="[^"]*"', lambda found: re.sub(r"(?<=\.\d\d)\d+", "", found.group()), text)
    for plain, scheme in _IN_PAGE.items():
        text = text.replace(plain, scheme)
    box = re.search(r'viewBox="[^"]*"', text)
    head = f'<svg {box.group() if box else ""} role="img" aria-label="{html.escape(label, quote=True)}">'
    return head + text[text.index(">") + 1 :]
