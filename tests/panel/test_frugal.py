"""The face allocates nothing once its display is found, and computes nothing a board would box."""

import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from theatre import ABSENT, HERE, micropython

sys.path.insert(0, str(Path(__file__).parents[1] / "core"))

from test_integers import Small


def test_nothing_is_allocated_in_twenty_thousand_ticks() -> None:
    allocated, seen, done = micropython(str(HERE / "frugal.py")).splitlines()
    assert allocated == "bytes 0"
    assert seen == "pages 5 warnings 64 states 7", "something was never tried"
    words = done.split()
    counts = dict(zip(words[::2], map(int, words[1::2]), strict=True))
    assert counts["sent"] > 5000 and counts["lamp"] > 2000 and counts["buzzer"] > 5 and counts["dark"] > 2000


def test_an_allocation_would_be_seen() -> None:
    with pytest.raises(RuntimeError, match="heap is locked"):
        micropython(str(HERE / "frugal.py"), "spoilt")


class Canvas(bytearray):
    """A framebuffer that draws nothing and lets nothing be drawn outside of it. Its bytes can be
    written to, as a real one's can."""

    def __init__(self, buffer: Any, width: int, height: int, layout: int) -> None:
        super().__init__(width * height // 8)
        self.size = width, height

    def _within(self, x: int, y: int, width: int, height: int) -> None:
        assert x >= 0 and x + width <= self.size[0] and y >= 0 and y + height <= self.size[1], (x, y, width, height)

    def fill(self, colour: int) -> None:
        pass

    def pixel(self, x: int, y: int, colour: int) -> None:
        self._within(x, y, 1, 1)

    def hline(self, x: int, y: int, width: int, colour: int) -> None:
        self._within(x, y, width, 1)

    def vline(self, x: int, y: int, height: int, colour: int) -> None:
        self._within(x, y, 1, height)

    def line(self, x: int, y: int, to_x: int, to_y: int, colour: int) -> None:
        self._within(x, y, 1, 1)
        self._within(to_x, to_y, 1, 1)

    def rect(self, x: int, y: int, width: int, height: int, colour: int, filled: bool = False) -> None:
        self._within(x, y, width, height)

    def fill_rect(self, x: int, y: int, width: int, height: int, colour: int) -> None:
        self._within(x, y, width, height)

    def text(self, text: str, x: int, y: int, colour: int) -> None:
        if text.strip():
            self._within(x, y, 8 * len(text), 8)


@pytest.fixture
def pages(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The firmware's Pages on a Canvas, with a view, on this interpreter."""
    stand_in = ModuleType("framebuf")
    stand_in.FrameBuffer, stand_in.MONO_VLSB = Canvas, 0  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "framebuf", stand_in)
    for name in ("monitor.figures", "monitor.pages"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    from monitor.pages import Pages
    from monitor.view import View

    return Pages(Canvas(None, 128, 64, 0), View(), Small(13000))


TOP = 2**30 - 1
# The converter's ends with the calibrations at the ends of what is allowed, and far beyond.
EXTREMES: dict[str, tuple[int, ...]] = {
    "bus_mv": (ABSENT, -3700, 0, 49, 9949, 9950, 62700, 99900),
    "clamp_ma": (ABSENT, -1048000, -99950, -500, -49, 0, 499, 99949, 99950, 999499, 1048000, TOP // 2),
    "out_as": (0, 35999, 36000, 359999, 360000, TOP),
    "in_as": (0, 3599, TOP),
    "deficit_as": (0, 36000, TOP),
    "low_s": (0, 59, 60, 59999, TOP),
    "seconds": (0, 86399, 86400, TOP),
    "boot": (0, 99999, TOP),
    "rows": (0, TOP),
    "rows_dropped": (0, TOP),
    "free_kib": (ABSENT, 0, 16384),
    "heap_free": (ABSENT, 0, 999999, 8388608),
    "errors": (0, 1, TOP),
    "key": (ABSENT, 0, 1),
    "state": tuple(range(7)),
    "warnings": (0, 1, 63),
    "saving": (0, 1),
}


def test_no_value_is_drawn_outside_or_boxed(pages: Any) -> None:
    view = pages._view
    for name, values in EXTREMES.items():
        kept = getattr(view, name)
        for value in values:
            setattr(view, name, Small(value))
            for view.notice in ("", "sixteen letters."):
                for page in range(5):
                    for beat in (0, 1, 4, 8):
                        pages.draw(page, beat)
        view.notice = ""
        setattr(view, name, kept if name != "clamp_ma" else Small(-12000))


def test_no_drive_is_drawn_outside_or_boxed(pages: Any) -> None:
    view = pages._view
    for view.clamp_ma in (ABSENT, Small(5000)):
        for volts in (ABSENT, Small(0), Small(15500), Small(62700)):
            for length in (Small(0), Small(TOP)):
                for worst in (view.drive, view.last):
                    worst.low_mv = worst.crank_mv = volts
                    worst.deficit_as = worst.deficit_s = worst.length_s = length
                for beat in (0, 8):
                    pages.draw(3, beat)


def test_no_trace_is_drawn_outside_or_boxed(pages: Any) -> None:
    for second in range(200):
        pages.trace.push(Small((ABSENT, -3700, 62700, 12000, 15000, 13400)[second % 6 if second % 11 else 0]))
        pages.draw(0, 0)
        pages.draw(2, 0)


def test_nothing_is_drawn_outside_the_frame() -> None:
    assert micropython(str(HERE / "within.py")).strip() == "before True after True drew True"
