"""What is left when the monitor has failed three times: volts on the panel, and a board that talks.

It writes nothing, so that whatever is wrong with the flash cannot stop it; the console serves the
journal, the errors and the prompt.
"""

import time

from chargecore.calibration import Calibration
from chargecore.options import default_pins
from chargecore.shim import const
from chargecore.units import ABSENT
from monitor import errors, segments
from monitor.sampler import Sampler
from monitor.ssd1306 import Display

_FOLDER = "/journal"
_STEP_MS = const(20)
_SHOW_STEPS = const(25)
_CONTRAST = const(207)


def run(board, console, watchdog):
    """Show volts until a host asks for the prompt."""
    calibration, numbers = Calibration(), default_pins()
    try:
        from monitor import settings

        kept = settings.load()
        calibration, numbers = kept.calibration, kept.pins
    except Exception as error:
        errors.record(error, 0)
    pins = board.Pins(numbers)
    sampler = Sampler(pins.bus_adc(), pins.clamp_adc(), pins.supply_adc(), calibration)
    console.mode = "voltmeter"
    console.journal = _Reader()
    display = Display()
    found = False
    steps = 0
    while not console.stop:
        if not console.poll():
            time.sleep_ms(_STEP_MS)
        watchdog.feed()
        steps += 1
        if steps % _SHOW_STEPS:
            continue
        sampler.sample()
        try:
            if not found:
                display.begin(pins.display_bus())
                found = True
            _draw(display.frame, sampler.bus_mv)
            display.show()
            display.light(_CONTRAST)
        except OSError:
            found = False


def _draw(frame, bus_mv):
    frame.fill(0)
    frame.text("VOLTMETER ONLY", 8, 4, 1)
    if bus_mv != ABSENT:
        hundredths = (bus_mv + 5) // 10
        frame.text("%d.%02d V" % (hundredths // 100, hundredths % 100), 36, 26, 1)
    else:
        frame.text("NO VOLTS", 32, 26, 1)
    frame.text("MONITOR FAILED", 8, 46, 1)
    frame.text("CONNECT TO A PC", 4, 56, 1)


class _Reader:
    """What the console needs of a journal, and nothing that writes."""

    def segments(self) -> list:
        try:
            return segments.listing(_FOLDER)
        except OSError:
            return []  # it failed before it ever wrote

    def read(self, number: int, offset: int, buffer) -> int:
        return segments.read(_FOLDER, number, offset, buffer)
