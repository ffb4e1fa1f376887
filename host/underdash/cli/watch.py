"""`underdash watch`: the present moment on a terminal, or as lines in a pipe."""

import contextlib
import time
from collections import deque
from collections.abc import Iterator
from typing import Any

import click
from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.text import Text

from chargecore.engine import WARNING_NAMES
from underdash.link.client import Board
from underdash.problems import LinkError

_TRACE_ROWS = 8
_SPAN_MV = (11500, 15500)  # of the trace; volts beyond stretch it
_AXIS = 8  # columns left of the trace
_STYLES = {"charging": "green", "rest": "cyan", "crank": "blue", "marginal": "yellow", "discharging": "bold red",
           "overcharge": "bold magenta"}  # fmt: skip
# Each digit as three lines of box-drawing strokes.
_STROKES = {
    "0": "┏━┓┃ ┃┗━┛", "1": "  ╻  ┃  ╹", "2": "╺━┓┏━┛┗━╸", "3": "╺━┓╺━┫╺━┛", "4": "╻ ╻┗━┫  ╹", "5": "┏━╸┗━┓╺━┛",
    "6": "┏━╸┣━┓┗━┛", "7": "╺━┓  ┃  ╹", "8": "┏━┓┣━┫┗━┛", "9": "┏━┓┗━┫╺━┛", ".": "  ▪", "-": "   ╺━╸   ",
}  # fmt: skip
_BRAILLE = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))  # dots of a cell: column, then row


def run(board: Board, *, plain: bool, seconds: float | None) -> None:
    """Show rows until `seconds` [s] are over, or Ctrl-C; LinkError when the board is lost."""
    console = Console()
    try:
        if plain or not console.encoding.lower().startswith("utf"):
            for status in _rows(board, seconds):
                click.echo(line(status))
        else:
            _live(board, console, seconds)
    except KeyboardInterrupt:
        pass
    with contextlib.suppress(LinkError):  # it stops by itself within a minute
        board.ask("live off", "live-off")


def line(status: dict[str, Any]) -> str:
    """One moment as one line: seconds since the board's start, volts, amps, state, warnings."""
    warnings = ", ".join(_warnings(status))
    return f"{status['t_s']:>8} s {_volts(status):>6} V {_amps(status):>7} A  {status['state']:12} {warnings}".rstrip()


class Picture:
    """What the terminal shows. `add` takes a moment, `draw` makes the whole for a width of columns."""

    def __init__(self, title: str, discharging_mv: int) -> None:
        self._title = title
        self._limit_mv = discharging_mv
        self._status: dict[str, Any] | None = None
        self._trace: deque[tuple[int, int, int]] = deque(maxlen=1000)  # second, lowest, highest [mV]

    def add(self, status: dict[str, Any]) -> None:
        self._status = status
        bus_mv = status["bus_mv"]
        if bus_mv is None:
            return
        if self._trace and self._trace[-1][0] >= status["t_s"]:
            second, low, high = self._trace.pop()
            bus_mv, high = min(low, bus_mv), max(high, bus_mv)
            self._trace.append((second, bus_mv, high))
        else:
            self._trace.append((status["t_s"], bus_mv, bus_mv))

    def draw(self, width: int) -> Panel:
        status = self._status
        if status is None:
            return Panel(Text("waiting for the first row"), title=self._title, width=width)
        minutes, second = divmod(status["t_s"], 60)
        up = f"{minutes // 60}:{minutes % 60:02}:{second:02} since start {status['boot']}"
        parts = [self._figures(status), self._plot(max(10, width - _AXIS - 4)), self._drive(status)]
        return Panel(Group(*parts), title=self._title, subtitle=f"{up} · Ctrl-C ends", width=width, border_style="dim")

    def _figures(self, status: dict[str, Any]) -> Text:
        volts = _volts(status)
        style = _STYLES.get(status["state"], "")
        side = [Text(f"  {_flow(status)}"), Text(f"  {status['state']}", style=style), _warned(status)]
        text = Text()
        for row in range(3):
            big = " ".join(_stroke(digit, row) for digit in volts)
            text.append(f"  {big} ", style=style)
            text.append("V" if row == 2 else " ", style=style)
            text.append_text(side[row])
            text.append("\n")
        return text

    def _plot(self, columns: int) -> Text:
        newest = self._trace[-1][0] if self._trace else 0
        first = newest - 2 * columns + 1
        shown = [point for point in self._trace if point[0] >= first]
        low_mv = min([_SPAN_MV[0], *(low for _, low, _ in shown)])
        high_mv = max([_SPAN_MV[1], *(high for _, _, high in shown)])
        dots = 4 * _TRACE_ROWS

        def level(mv: int) -> int:
            """Dots below the top."""
            return round((high_mv - mv) * (dots - 1) / (high_mv - low_mv))

        cells = [[0] * columns for _ in range(_TRACE_ROWS)]
        before: tuple[int, int, int] | None = None
        for second, low, high in shown:
            x = second - first
            last, before = before, (second, low, high)
            if last and second - last[0] <= 2:  # joined to the second before it
                low, high = min(low, last[2]), max(high, last[1])
            for y in range(level(high), level(low) + 1):
                cells[y // 4][x // 2] |= _BRAILLE[x % 2][y % 4]
        limit_row = level(self._limit_mv) // 4
        labels = {0: high_mv, limit_row: self._limit_mv, _TRACE_ROWS - 1: low_mv}
        text = Text()
        for row, line_cells in enumerate(cells):
            label = f"{labels[row] / 1000:5.1f} ┤" if row in labels else "      │"
            text.append(f"{label} ", style="dim")
            for cell in line_cells:
                if cell:
                    text.append(chr(0x2800 + cell))
                else:
                    text.append("┄" if row == limit_row else " ", style="dim")
            text.append("\n")
        return text

    def _drive(self, status: dict[str, Any]) -> Text:
        text = f"{status['low_s']} s below {self._limit_mv / 1000:.1f} V"
        if status["clamp_ma"] is not None:
            out, back, owed = (status[name] / 3600 for name in ("out_as", "in_as", "deficit_as"))
            text = f"out {out:.2f}, in {back:.2f}, not put back {owed:.2f} Ah; {text}"
        return Text(f"this drive: {text}", style="dim")


# -- inside -----------------------------------------------------------------------------------


def _live(board: Board, console: Console, seconds: float | None) -> None:
    limit = board.settings()["thresholds"]["discharging_mv"]
    picture = Picture(f"board {board.board_id} at {board.port}", limit)
    with Live(picture.draw(console.width), console=console, auto_refresh=False) as live:
        for status in _rows(board, seconds):
            picture.add(status)
            live.update(picture.draw(console.width), refresh=True)


def _rows(board: Board, seconds: float | None) -> Iterator[dict[str, Any]]:
    end = None if seconds is None else time.monotonic() + seconds
    for status in board.rows():
        yield status
        if end is not None and time.monotonic() >= end:
            return


def _stroke(digit: str, row: int) -> str:
    strokes = _STROKES[digit]
    each = len(strokes) // 3
    return strokes[each * row : each * (row + 1)]


def _volts(status: dict[str, Any]) -> str:
    return "-" if status["bus_mv"] is None else f"{status['bus_mv'] / 1000:.2f}"


def _amps(status: dict[str, Any]) -> str:
    return "-" if status["clamp_ma"] is None else f"{round(status['clamp_ma'] / 1000, 1) + 0.0:+.1f}"


def _flow(status: dict[str, Any]) -> str:
    clamp_ma = status["clamp_ma"]
    if clamp_ma is None:
        return "no clamp"
    way = (
        "into the battery" if clamp_ma >= 500 else "out of the battery" if clamp_ma <= -500 else "as good as no current"
    )
    return f"{_amps(status)} A  {way}"


def _warnings(status: dict[str, Any]) -> list[str]:
    return [name for bit, name in enumerate(WARNING_NAMES) if status["warnings"] >> bit & 1]


def _warned(status: dict[str, Any]) -> Text:
    names = _warnings(status)
    if not names:
        return Text("  no warning", style="dim")
    text = Text("  ")
    text.append(" WARNING: " + ", ".join(names) + " ", style="reverse bold")
    return text
