"""A picture of plain shapes and words, written as SVG (text stays text) and as PNG (through matplotlib).

Places and sizes are in the picture's own unit, y downwards; font sizes in the same unit.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

Point = tuple[float, float]
_FONT = "DejaVu Sans, Verdana, sans-serif"


@dataclass
class Picture:
    """Collects shapes in drawing order. `dpi_unit`: how many pixels of the PNG a unit is."""

    width: float
    height: float
    title: str
    dpi_unit: float = 10.0
    shapes: list[tuple[str, dict[str, object]]] = field(default_factory=list)

    def line(
        self, *points: Point, stroke: str = "black", width: float = 0.3, dash: Sequence[float] = (), arrow: bool = False
    ) -> None:
        """A line through points, with an arrow's head at its end if `arrow`."""
        self.shapes.append(("line", {"points": points, "stroke": stroke, "width": width, "dash": tuple(dash)}))
        if arrow:
            (x0, y0), (x1, y1) = points[-2:]
            length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
            dx, dy = (x1 - x0) / length, (y1 - y0) / length
            size = max(5 * width, 1.4)
            back = (x1 - dx * size, y1 - dy * size)
            half = size * 0.4
            self.polygon(
                (x1, y1), (back[0] - dy * half, back[1] + dx * half), (back[0] + dy * half, back[1] - dx * half),
                fill=stroke, stroke=stroke, width=0.1,
            )  # fmt: skip

    def polygon(self, *points: Point, fill: str = "none", stroke: str = "black", width: float = 0.3) -> None:
        self.shapes.append(("polygon", {"points": points, "fill": fill, "stroke": stroke, "width": width}))

    def box(
        self,
        left: float,
        top: float,
        width: float,
        height: float,
        fill: str = "none",
        stroke: str = "black",
        line: float = 0.3,
    ) -> None:
        right, low = left + width, top + height
        self.polygon((left, top), (right, top), (right, low), (left, low), fill=fill, stroke=stroke, width=line)

    def circle(self, at: Point, radius: float, fill: str = "none", stroke: str = "black", width: float = 0.3) -> None:
        self.shapes.append(("circle", {"at": at, "radius": radius, "fill": fill, "stroke": stroke, "width": width}))

    def text(
        self, words: str, at: Point, size: float = 2.0, anchor: str = "start", bold: bool = False, turn: float = 0.0,
        halo: bool = False, fill: str = "black",
    ) -> None:  # fmt: skip
        """Words with their baseline's start, middle or end at a place; turned clockwise by `turn` degrees; each
        line of several below the one before. `halo` puts white behind the letters."""
        for number, line in enumerate(words.split("\n")):
            place = (at[0], at[1] + number * size * 1.3)
            how = {"at": place, "size": size, "anchor": anchor, "bold": bold, "turn": turn, "halo": halo, "fill": fill}
            self.shapes.append(("text", {"words": line, **how}))

    def svg(self) -> bytes:
        out = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(self.width)} {_n(self.height)}" '
            f'width="{_n(self.width * 6)}" height="{_n(self.height * 6)}" font-family="{_FONT}">',
            f"<title>{escape(self.title)}</title>",
            f'<rect width="{_n(self.width)}" height="{_n(self.height)}" fill="white"/>',
        ]
        out += [_SVG[kind](**shape) for kind, shape in self.shapes]  # type: ignore[operator]
        return ("\n".join([*out, "</svg>"]) + "\n").encode()

    def png(self, words: dict[str, str]) -> bytes:
        """The same as pixels; `words` goes into the file's text chunks."""
        import matplotlib
        from matplotlib import patheffects
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
        from matplotlib.patches import Circle, Polygon

        dpi = 100.0
        inches = (self.width * self.dpi_unit / dpi, self.height * self.dpi_unit / dpi)
        points = 72 / dpi * self.dpi_unit  # of a unit
        with matplotlib.rc_context({"font.family": "DejaVu Sans", "path.sketch": None}):
            figure = Figure(figsize=inches, dpi=dpi)
            FigureCanvasAgg(figure)
            axes = figure.add_axes((0, 0, 1, 1))
            axes.set_xlim(0, self.width)
            axes.set_ylim(self.height, 0)
            axes.set_axis_off()
            for order, (kind, shape) in enumerate(self.shapes):
                how = dict(shape)
                if kind == "text":
                    aligned = {"start": "left", "middle": "center", "end": "right"}[str(how["anchor"])]
                    drawn = axes.text(
                        *how["at"], how["words"], fontsize=how["size"] * points, ha=aligned, va="baseline",
                        rotation=-how["turn"], rotation_mode="anchor", color=how["fill"], zorder=order,
                        fontweight="bold" if how["bold"] else "normal", parse_math=False,
                    )  # type: ignore[misc] # fmt: skip
                    if how["halo"]:
                        drawn.set_path_effects(
                            [patheffects.withStroke(linewidth=how["size"] * points * 0.25, foreground="white")]  # type: ignore[operator]
                        )
                    continue
                width = float(how["width"]) * points  # type: ignore[arg-type]
                if kind == "line":
                    xs, ys = zip(*how["points"], strict=True)  # type: ignore[call-overload]
                    dash = tuple(length * points for length in how["dash"])  # type: ignore[attr-defined]
                    style = (0, dash) if dash else "-"
                    (drawn_line,) = axes.plot(
                        xs, ys, color=how["stroke"], lw=width, zorder=order, solid_capstyle="round"
                    )
                    drawn_line.set_linestyle(style)
                    continue
                fill = None if how["fill"] == "none" else how["fill"]
                outline = {"facecolor": fill, "fill": fill is not None, "edgecolor": how["stroke"], "lw": width}
                if kind == "circle":
                    axes.add_patch(Circle(how["at"], how["radius"], zorder=order, **outline))
                else:
                    axes.add_patch(Polygon(how["points"], closed=True, zorder=order, **outline))
            out = io.BytesIO()
            figure.savefig(out, format="png", dpi=dpi, metadata={"Software": None, **words}, facecolor="white")
        return out.getvalue()


def _n(number: float) -> str:
    return f"{round(float(number), 2):g}"


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _line(points: Sequence[Point], stroke: str, width: float, dash: Sequence[float]) -> str:
    dashed = f' stroke-dasharray="{" ".join(map(_n, dash))}"' if dash else ""
    return (
        f'<polyline points="{_points(points)}" fill="none" stroke="{stroke}" stroke-width="{_n(width)}"'
        f' stroke-linecap="round" stroke-linejoin="round"{dashed}/>'
    )


def _polygon(points: Sequence[Point], fill: str, stroke: str, width: float) -> str:
    return f'<polygon points="{_points(points)}" fill="{fill}" stroke="{stroke}" stroke-width="{_n(width)}"/>'


def _circle(at: Point, radius: float, fill: str, stroke: str, width: float) -> str:
    return (
        f'<circle cx="{_n(at[0])}" cy="{_n(at[1])}" r="{_n(radius)}" fill="{fill}" stroke="{stroke}"'
        f' stroke-width="{_n(width)}"/>'
    )


def _text(
    words: str, at: Point, size: float, anchor: str, bold: bool, turn: float, halo: bool, fill: str
) -> str:  # fmt: skip
    more = ' font-weight="bold"' if bold else ""
    more += f' transform="rotate({_n(turn)} {_n(at[0])} {_n(at[1])})"' if turn else ""
    more += f' stroke="white" stroke-width="{_n(size * 0.25)}" paint-order="stroke"' if halo else ""
    return (
        f'<text x="{_n(at[0])}" y="{_n(at[1])}" font-size="{_n(size)}" text-anchor="{anchor}" fill="{fill}"{more}>'
        f"{escape(words)}</text>"
    )


_SVG = {"line": _line, "polygon": _polygon, "circle": _circle, "text": _text}
