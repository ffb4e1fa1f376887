"""Lets the firmware's face play a script on the real MicroPython, and reads its picture back."""

import json
import os
import subprocess
import sys
import sysconfig
import tempfile
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from underdash.virtual.display import DisplayModel

HERE = Path(__file__).parent
LIB = HERE.parents[1] / "firmware" / "lib"
ABSENT = -0x20000000

Picture = NDArray[np.bool_]


@dataclass
class Moment:
    """What there was after one tick: the picture on the glass (dark if off), the levels of lamp and
    buzzer, whether the face wants to stay awake, its page, and what had gone over the bus."""

    picture: Picture
    lamp: int
    buzzer: int
    awake: bool
    page: int
    sent: list[bytes] = field(default_factory=list)
    looked: int = 0  # times the display was looked for

    @property
    def dark(self) -> bool:
        return not self.picture.any()


def micropython(*arguments: str) -> str:
    """What a script prints on the real MicroPython; it must end well."""
    interpreter = Path(sysconfig.get_path("scripts")) / "micropython"
    done = subprocess.run(
        [sys.executable, str(interpreter), "-X", "heapsize=2M", *arguments],
        capture_output=True, text=True, timeout=120, env={**os.environ, "MICROPYPATH": str(LIB)},
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(done.stdout[-2000:] + done.stderr)
    return done.stdout


def play(*steps: dict[str, Any], **script: Any) -> list[Moment]:
    """The moments of a script (see stage.py), one a tick."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "script.json"
        path.write_text(json.dumps({"steps": steps, **script}))
        lines = micropython(str(HERE / "stage.py"), str(path)).splitlines()
    glass, moments, sent, looked = DisplayModel(), [], [], 0
    for line in lines:
        kind, *words = line.split()
        if kind == "bus":
            sent.append(bytes.fromhex(words[0]))
            glass.write(sent[-1])
        elif kind == "looked":
            looked += 1
        elif kind == "tick":
            lamp, buzzer, awake, page = map(int, words)
            moments.append(Moment(glass.picture(), lamp, buzzer, bool(awake), page, sent, looked))
            sent, looked = [], 0
        else:
            raise ValueError(line)
    return moments


def press(ticks: int = 1, dt_ms: int = 100) -> list[dict[str, Any]]:
    """Steps: pressed for so many ticks, then let go for 300 ms."""
    return [{"button": 0, "ticks": ticks, "dt_ms": dt_ms}, {"button": 1, "ticks": -(-300 // dt_ms), "dt_ms": dt_ms}]


def show(page: int, **view: Any) -> list[dict[str, Any]]:
    """Steps: turn to the page, counted from 1, and let it be drawn with that view."""
    return [{"view": view, "ticks": 5}, *press() * (page - 1), {"ticks": 20}]


@cache
def font() -> dict[str, Picture]:
    """The framebuffer's own letters, 8 by 8 pixels each."""
    program = (
        "import framebuf, binascii\n"
        "for code in range(33, 127):\n"
        "    cell = bytearray(8)\n"
        "    framebuf.FrameBuffer(cell, 8, 8, framebuf.MONO_VLSB).text(chr(code), 0, 0, 1)\n"
        "    print(code, binascii.hexlify(cell).decode())\n"
    )
    letters = {}
    for line in micropython("-c", program).splitlines():
        code, cell = line.split()
        columns = np.frombuffer(bytes.fromhex(cell), np.uint8)
        letters[chr(int(code))] = np.unpackbits(columns[None, :], axis=0, bitorder="little").astype(bool)
    letters[" "] = np.zeros((8, 8), bool)
    return letters


def find(picture: Picture, text: str, *, tall: bool = False, inverted: bool = False) -> list[tuple[int, int]]:
    """Every (x, y) at which the text stands in the font, its dark pixels dark. Rows below the
    letters' baseline are not looked at unless a letter hangs below it."""
    wanted = np.hstack([font()[letter] for letter in text])
    wanted = wanted if wanted[7].any() else wanted[:7]
    if tall:
        wanted = wanted.repeat(2, axis=0)
    if inverted:
        wanted = ~wanted
    if wanted.shape[1] > picture.shape[1]:
        return []
    windows = np.lib.stride_tricks.sliding_window_view(picture, wanted.shape)
    rows, columns = np.nonzero((windows == wanted).all(axis=(2, 3)))
    return [(int(x), int(y)) for x, y in zip(columns, rows, strict=True)]


def says(picture: Picture, text: str) -> bool:
    """Whether the text stands there in any size, lit or in a lit bar."""
    return any(find(picture, text, tall=tall, inverted=bar) for tall in (False, True) for bar in (False, True))
