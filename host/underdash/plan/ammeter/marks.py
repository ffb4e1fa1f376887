"""The marks that the ammeter's drawing consists of, as SVG: lines, currents, badges, a dial, words."""

from math import cos, hypot, radians, sin
from xml.sax.saxutils import escape, quoteattr

INK, SOFT, RULE, PAPER = "#14181f", "#555b66", "#c9ced6", "#ffffff"
FLOW, GIVES = "#0067a3", "#b84a00"
SWING = 50.0  # the needle's way from zero to full scale [degrees]

Point = tuple[float, float]


def fit(text: str, pixels: float, size: float = 13.0) -> str:
    """`text`, cut short with an ellipsis if it would be wider than `pixels` in letters of `size`."""
    room = max(int(pixels / (0.56 * size)), 2)
    return text if len(text) <= room else text[: room - 1].rstrip() + "…"


class Marks:
    """Collects marks; `svg` gives the whole drawing."""

    def __init__(self) -> None:
        self._marks: list[str] = []

    def svg(self, width: float, height: float, title: str) -> str:
        """The drawing on a white sheet, so that it reads the same on a dark page."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
            'font-family="system-ui, Liberation Sans, Arial, sans-serif" font-size="13" role="img" '
            f"aria-label={quoteattr(title)}>"
        )
        sheet = f'<rect width="{width:g}" height="{height:g}" rx="6" fill="{PAPER}"/>'
        return "\n".join([head, sheet, *self._marks, "</svg>", ""])

    def words(
        self, at: Point, text: str, *, size: float = 13.0, anchor: str = "start", fill: str = INK, bold: bool = False
    ) -> None:
        """Words whose baseline is at `at`."""
        weight = ' font-weight="600"' if bold else ""
        self._marks.append(
            f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" font-size="{size:g}" text-anchor="{anchor}" fill="{fill}"{weight}>'
            f"{escape(text)}</text>"
        )

    def line(self, *points: Point, fill: str = RULE, width: float = 1.0, dashed: bool = False) -> None:
        """A line through points."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dash = ' stroke-dasharray="4 5"' if dashed else ""
        self._marks.append(
            f'<polyline points="{path}" fill="none" stroke="{fill}" stroke-width="{width:.1f}" '
            f'stroke-linejoin="round"{dash}/>'
        )

    def current(self, start: Point, end: Point, amps: float, width: float, share_of_way: float = 0.66) -> None:
        """An arrowhead on the way from `start` to `end`, turned about where `amps` are negative."""
        length = hypot(end[0] - start[0], end[1] - start[1])
        if length == 0.0:
            return
        along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
        x, y = (start[i] + share_of_way * (end[i] - start[i]) for i in (0, 1))
        turn = 1.0 if amps >= 0.0 else -1.0
        reach, half = turn * (6.0 + width), 4.5 + 0.75 * width
        tip = (x + reach * along[0], y + reach * along[1])
        left = (x - reach / 2 * along[0] - half * along[1], y - reach / 2 * along[1] + half * along[0])
        right = (x - reach / 2 * along[0] + half * along[1], y - reach / 2 * along[1] - half * along[0])
        corners = " ".join(f"{a:.1f},{b:.1f}" for a, b in (tip, left, right))
        self._marks.append(f'<polygon points="{corners}" fill="{FLOW}" stroke="{PAPER}" stroke-width="1"/>')

    def dot(self, at: Point, radius: float = 4.0) -> None:
        """A place."""
        self._marks.append(f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius:g}" fill="{INK}"/>')

    def badge(self, at: Point, text: str, *, faint: bool = False) -> None:
        """A number in a circle, on a cable."""
        ink = RULE if faint else INK
        half = 9.0 + 3.2 * (len(text) - 1)
        self._marks.append(
            f'<rect x="{at[0] - half:.1f}" y="{at[1] - 9:.1f}" width="{2 * half:.1f}" height="18" rx="9" '
            f'fill="{PAPER}" stroke="{ink}"/>'
        )
        self.words((at[0], at[1] + 4.0), text, size=11.5, anchor="middle", fill=SOFT if faint else INK)

    def box(self, centre: Point, text: str, width: float, height: float = 26.0, below: str = "") -> None:
        """A thing with its name in it, and perhaps a smaller line below."""
        x, y = centre
        self._marks.append(
            f'<rect x="{x - width / 2:.1f}" y="{y - height / 2:.1f}" width="{width:.1f}" '
            f'height="{height:g}" rx="4" fill="{PAPER}" stroke="{INK}" stroke-width="1.5"/>'
        )
        self.words((x, y + (-2.5 if below else 4.5)), fit(text, width - 6), anchor="middle")
        if below:
            self.words((x, y + 12.0), fit(below, width - 8, 11), size=11, anchor="middle", fill=SOFT)

    def dial(self, centre: Point, amps: float, full_scale_a: float, smallest_a: float) -> None:
        """A meter with zero in the middle; the band around zero is what no eye tells from zero."""
        x, y = centre
        radius = 30.0
        pivot = (x, y + 13.0)
        self._marks.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="{PAPER}" stroke="{INK}" stroke-width="1.5"/>'
        )

        def on(value_a: float, reach: float) -> Point:
            angle = radians(SWING * max(-1.0, min(1.0, value_a / full_scale_a)))
            return pivot[0] + reach * sin(angle), pivot[1] - reach * cos(angle)

        (ax, ay), (bx, by) = on(-smallest_a, 31.0), on(smallest_a, 31.0)
        self._marks.append(
            f'<path d="M{pivot[0]:.1f},{pivot[1]:.1f} L{ax:.1f},{ay:.1f} A31,31 0 0 1 {bx:.1f},{by:.1f} Z" '
            'fill="#cfd6e0"/>'
        )
        for value in (-1.0, -0.5, 0.0, 0.5, 1.0):
            self.line(on(value * full_scale_a, 29.0), on(value * full_scale_a, 33.0), fill=INK, width=1.2)
        self.line(pivot, on(amps, 32.0), fill=GIVES, width=2.2)
        self.dot(pivot, 2.5)
        self.words((x - 15, y + 22), "−", size=12, anchor="middle", fill=SOFT)
        self.words((x + 15, y + 22), "+", size=12, anchor="middle", fill=SOFT)
