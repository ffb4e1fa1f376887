"""The run itself: a drive in the car, a power cut in the midst of it, the rest of it, and the desk."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulate import image
from emulate.chip import Chip, PowerCut
from emulate.feed import Feed, Inputs
from emulate.link import Cable
from emulate.peripherals import DisplayBus, Flash
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.virtual.signal_file import Converter

BOARD_ID = bytes.fromhex("e66000000c0ffee1")
_DISPLAY_ADDRESS = 0x3C


@dataclass
class Boot:
    """One stretch of power and what was noted in it."""

    inputs: Inputs
    flash: Flash
    display: DisplayBus
    chip: Chip
    pictures: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    taken_s: dict[str, float] = field(default_factory=dict)
    first_frame_s: float | None = None
    probes_s: list[float] = field(default_factory=list)
    heap: list[tuple[int, int]] = field(default_factory=list)
    """(free, free after a collection) at each probe [bytes]."""
    ended_s: float = 0.0

    def picture_at(self, seconds: float, name: str) -> None:
        """Keep what the panel shows at that moment in `pictures[name]`."""
        self.taken_s[name] = seconds
        self.chip.at(seconds, lambda: self.pictures.update({name: self.display.model.picture()}))

    def probe_heap(self) -> None:
        """Have the board count its free memory; takes a second of its time."""
        scratch = self.chip.core.watchdog.scratch_data
        raw, collected, count = image.PROBE_SCRATCH
        before = scratch[count]
        self.probes_s.append(self.chip.now_s)
        self.chip.set_pin(image.PROBE_PIN, 1)
        self.chip.run(1.0)
        self.chip.set_pin(image.PROBE_PIN, 0)
        if scratch[count] == before:
            raise RuntimeError("the heap probe did not answer")
        self.heap.append((scratch[raw], scratch[collected]))


def power_on(uf2: Path, feed: Feed, converter: Converter, *, files: bytes = b"", flash: bytes = b"") -> Boot:
    """A chip with everything soldered on, switched on, without a host."""
    chip = Chip(uf2, files=files, flash=flash)
    memory = Flash(chip, BOARD_ID)
    display = DisplayBus(chip, 0, _DISPLAY_ADDRESS)
    inputs = Inputs(chip, feed, converter, lambda: (display.stalled_s, memory.stalled_s))
    boot = Boot(inputs, memory, display, chip)
    display.on_frame = lambda: _note_frame(boot)
    chip.set_pin(image.PROBE_PIN, 0)
    chip.power_on()
    return boot


def _note_frame(boot: Boot) -> None:
    if boot.first_frame_s is None:
        boot.first_frame_s = boot.chip.now_s


def until_cut(boot: Boot, after_s: float, operation: int, say: Callable[[float], None]) -> None:
    """Live until the power goes in that operation of the first commit after `after_s`."""
    boot.flash.cut(after_s, operation)
    try:
        live(boot, after_s + 120.0, say)
    except PowerCut:
        boot.ended_s = boot.chip.now_s
        return
    raise RuntimeError(f"no commit with {operation} flash operations within two minutes of {after_s:g} s")


def live(boot: Boot, until_s: float, say: Callable[[float], None]) -> None:
    while boot.chip.now_s < until_s:
        boot.chip.run(min(5.0, until_s - boot.chip.now_s))
        say(boot.chip.now_s)


def bring_home(boot: Boot, archive: Path) -> tuple[Path, dict[str, Any]]:
    """Plug the host in and pull the journal with the host's own program: (folder, what the board
    says of its health, with the errors it recorded)."""
    boot.chip.host.plug_in()
    with Cable(boot.chip) as cable, Board(cable.port) as board:
        pulled = pull(board, archive)
        return pulled.folder, {**board.health(), "errors": board.errors()}
