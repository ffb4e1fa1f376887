"""One RP2040 in software: power, time, pins, the host's plug. Everything happens at emulated times.

The emulator's own fake USB host keeps an idle chip busy with empty packets, and its I2C, ADC and
flash take no time; what surrounds the chip here is this folder's own: peripherals.py, and `Host`.
"""

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

# Alarms may come late by this many instructions, under half a microsecond; it saves a third of the run.
os.environ.setdefault("RP2040PY_CLOCK_TICK_BATCH", "16")

from rp2040py.boards import BOARDS
from rp2040py.device import MicroPythonDevice

FLASH_BYTES = 2 * 1024 * 1024
FILES_AT = 0xA0000  # of every RPI_PICO image: the last 1408 KiB of 2 MiB
FLASH_ADDRESS = 0x10000000
CLOCK_HZ = 125_000_000
_USB_POWER_PIN = 24  # sees the voltage of the USB plug


class PowerCut(Exception):
    """The supply is gone; `Chip.flash` is what survives."""


class Chip:
    """A chip with `image` (a UF2 file) in its flash, switched off.

    files: content of the file system's part of the flash; flash: the whole of it, as an earlier
    chip left it.
    """

    def __init__(self, image: Path, *, files: bytes = b"", flash: bytes = b"") -> None:
        device = MicroPythonDevice(board=replace(BOARDS["pico"], image=image))
        self.core = device.mcu
        self.clock = device.simulator.clock
        self._simulator = device.simulator
        self._stop = self.clock.create_alarm(device.simulator.stop)
        self._cut = False
        if flash:
            self.core.flash[: len(flash)] = flash
        if files:
            self.core.flash[FILES_AT : FILES_AT + len(files)] = files
        self.set_pin(_USB_POWER_PIN, 0)
        self.resets = 0
        restart = self.core.watchdog.on_watchdog_trigger
        self.core.watchdog.on_watchdog_trigger = lambda: self._count_reset(restart)
        self.host = Host(self, device.cdc)

    # -- time and power -----------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        """Emulated time since power-on [s]."""
        return self.clock.nanos / 1e9

    @property
    def busy_s(self) -> float:
        """Time for which the processor has executed instructions [s]; its sleep is not in it."""
        return self.core.core.cycles / CLOCK_HZ

    def stall(self, seconds: float) -> None:
        """Let time pass while the processor waits for a peripheral. Only from a peripheral's hook."""
        self.clock.tick(seconds * 1e9)

    def power_on(self) -> None:
        self.core.core.pc = FLASH_ADDRESS

    def cut_power(self) -> None:
        """Callable from any hook or alarm: nothing is executed after the present instruction."""
        self._cut = True
        self._simulator.stop()

    def run(self, seconds: float) -> None:
        """Live through `seconds`; PowerCut if the power went meanwhile."""
        if not self._cut:
            self._stop.schedule(seconds * 1e9)
            self._simulator.stopped = False
            while not self._simulator.stopped:
                self._simulator._execute_batch()
        if self._cut:
            raise PowerCut

    def run_until(self, reached: Callable[[], bool], limit_s: float, step_s: float = 0.01) -> None:
        """Run until `reached()`; TimeoutError after `limit_s` of emulated time."""
        end_s = self.now_s + limit_s
        while not reached():
            if self.now_s > end_s:
                raise TimeoutError(f"not within {limit_s:g} emulated seconds; the console's last words: "
                                   f"{bytes(self.host.received[-400:])!r}")  # fmt: skip
            self.run(step_s)

    def at(self, seconds: float, action: Callable[[], None]) -> None:
        """Call `action` at that emulated time."""
        self.clock.create_alarm(action).schedule(max(0.0, seconds * 1e9 - self.clock.nanos))

    # -- pins and memory ----------------------------------------------------------------------

    def set_pin(self, number: int, level: int) -> None:
        self.core.gpio[number].set_input_value(bool(level))

    def flash(self) -> bytes:
        """The whole flash as it is now."""
        return bytes(self.core.flash[:FLASH_BYTES])

    def files(self) -> bytes:
        """The file system's part of it."""
        return bytes(self.core.flash[FILES_AT:FLASH_BYTES])

    def _count_reset(self, restart: Callable[[], None]) -> None:
        self.resets += 1
        restart()


class Host:
    """The computer's end of the USB cable: unplugged until `plug_in`; silent while it has nothing
    to say. `received` is what the board has written."""

    def __init__(self, chip: Chip, cdc) -> None:
        self._chip = chip
        self._cdc = cdc
        self._usb = cdc.usb
        self._enumerate = cdc.usb.on_usb_enabled
        self._serve_other = cdc.usb.on_endpoint_read
        self._waiting: tuple[int, int] | None = None  # the board's armed endpoint and its room
        self._outbound = bytearray()
        self.received = bytearray()
        self.connected = False
        cdc.usb.on_usb_enabled = lambda: None
        cdc.usb.on_endpoint_read = self._board_can_take
        cdc.on_serial_data = self.received.extend
        cdc.on_device_connected = self._connected
        forget = cdc.usb.on_reset
        cdc.usb.on_reset = lambda: self._board_gone(forget)

    def plug_in(self) -> None:
        """Connect, and wait until the board has been enumerated."""
        self._chip.set_pin(_USB_POWER_PIN, 1)
        self._usb.on_usb_enabled = self._enumerate
        if self._chip.now_s > 0:
            self._enumerate()
        self._chip.run_until(lambda: self.connected, 10.0)

    def send(self, data: bytes) -> None:
        """Queue bytes for the board; they go as fast as it takes them."""
        self._outbound += data
        self._pass_on()

    def _connected(self) -> None:
        self.connected = True

    def _board_gone(self, forget: Callable[[], None]) -> None:
        self._waiting = None
        self.connected = False
        forget()

    def _board_can_take(self, endpoint: int, room: int) -> None:
        if endpoint > 0 and endpoint == self._cdc._out_endpoint:
            self._waiting = (endpoint, room)
            self._pass_on()
        else:
            self._serve_other(endpoint, room)

    def _pass_on(self) -> None:
        if self._waiting and self._outbound:
            endpoint, room = self._waiting
            self._waiting = None
            data = bytes(self._outbound[:room])
            del self._outbound[:room]
            self._usb.endpoint_read_done(endpoint, data)
