"""Pins and buses of the board: the only file that knows a GPIO number."""

from machine import ADC, I2C, WDT, Pin, Timer, reset, unique_id

BUS_PIN = 26  # ADC0, behind the protected divider
CLAMP_PIN = 27  # ADC1, the clamp sensor's output behind its own divider
SDA_PIN = 4
SCL_PIN = 5
BUTTON_PIN = 15  # to ground when pressed

WATCHDOG_MS = 8000  # the chip's longest is 8388


def bus_adc():
    return ADC(Pin(BUS_PIN))


def clamp_adc():
    return ADC(Pin(CLAMP_PIN))


def display_bus():
    return I2C(0, sda=Pin(SDA_PIN), scl=Pin(SCL_PIN), freq=400_000)


def button_held() -> bool:
    return not Pin(BUTTON_PIN, Pin.IN, Pin.PULL_UP).value()


def watchdog():
    """Arm the watchdog; from here on it must be fed, for it cannot be disarmed."""
    return WDT(timeout=WATCHDOG_MS)


def feed_in_background(wdt):
    """Feed an armed watchdog from a timer, so that the prompt after Ctrl-C is not cut short."""
    return Timer(-1, period=2000, mode=Timer.PERIODIC, callback=lambda timer: wdt.feed())


def board_id() -> bytes:
    return unique_id()


def restart():
    reset()
