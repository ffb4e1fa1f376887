"""The board's peripherals, made from the pin numbers in its settings (chargecore/options.py)."""

import time

from machine import ADC, I2C, WDT, Pin, Timer, lightsleep, mem32, reset, reset_cause, unique_id

WATCHDOG_MS = 8000  # the chip's longest is 8388
_USB_POWER_PIN = 24  # high while a host, or a charger, supplies USB
_SUPPLY_PIN = 29  # a third of the board's own supply, which is the clamp sensor's too
# A register that a reset leaves alone and only loss of power clears (RP2040 datasheet, WATCHDOG SCRATCH0).
_SCRATCH = 0x4005800C
_COUNTING = 0x0B5E0000  # marks the register as ours; the count stands below it


class Pins:
    """Makes each peripheral from `numbers`, a dict like chargecore.options.default_pins()."""

    def __init__(self, numbers: dict):
        self._numbers = numbers

    def bus_adc(self):
        return ADC(Pin(self._numbers["bus"]))

    def clamp_adc(self):
        return ADC(Pin(self._numbers["clamp"]))

    def supply_adc(self):
        return ADC(Pin(_SUPPLY_PIN))

    def display_bus(self):
        sda = self._numbers["sda"]
        return I2C(sda // 2 % 2, sda=Pin(sda), scl=Pin(self._numbers["scl"]), freq=400_000)

    def button(self):
        """0 while pressed."""
        return Pin(self._numbers["button"], Pin.IN, Pin.PULL_UP)

    def lamp(self):
        return Pin(self._numbers["lamp"], Pin.OUT, value=0)

    def buzzer(self):
        return Pin(self._numbers["buzzer"], Pin.OUT, value=0)

    def ignition(self):
        """1 with the key on; an open wire reads as off."""
        return Pin(self._numbers["ignition"], Pin.IN, Pin.PULL_DOWN)

    def dim(self):
        """1 while the panel lamps are lit."""
        return Pin(self._numbers["dim"], Pin.IN, Pin.PULL_DOWN)


def watchdog():
    """Arm the watchdog; from here on it must be fed, for it cannot be disarmed."""
    return WDT(timeout=WATCHDOG_MS)


def feed_in_background(wdt):
    """Feed an armed watchdog from a timer, so that the prompt after Ctrl-C is not cut short."""
    return Timer(-1, period=2000, mode=Timer.PERIODIC, callback=lambda timer: wdt.feed())


def count_start() -> int:
    """How many starts in succession, this one included, have not been called good."""
    kept = mem32[_SCRATCH]
    count = (kept & 0xFF if kept & ~0xFF == _COUNTING else 0) + 1
    mem32[_SCRATCH] = _COUNTING | min(count, 255)
    return count


def good_start():
    """The monitor runs, or was stopped on purpose: forget the starts before."""
    mem32[_SCRATCH] = _COUNTING


def nap(ms: int):
    """Sleep deeply: the USB port goes with it, so only while nothing is plugged in there."""
    if Pin(_USB_POWER_PIN, Pin.IN).value():
        time.sleep_ms(ms)
    else:
        lightsleep(ms)


def board_id() -> bytes:
    return unique_id()


def why_started() -> str:
    """What caused the present start."""
    return {1: "power", 3: "watchdog or reset"}.get(reset_cause(), "unknown")


def restart():
    reset()
