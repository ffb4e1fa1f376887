"""`machine` of the virtual board: converter pins fed from a signal file, everything the pins
would do to the outside written to the trace."""

import os
import struct
from array import array

import pace

USB_POWER_PIN = 24  # high while something is plugged into USB, as on the board
BUS_PIN = 26  # the signal file's first channel; its second is pin 27
SUPPLY_PIN = 29  # a third of the board's supply: the signal's third channel, if it has one
_SUPPLY_LEVEL = 31111  # else 4.7 V / 3, as a fraction of 3.3 V of 65535

config = {}  # set by boot.py
_trace = None

STANDS_FOR = "a virtual RP2040"  # what the installer may take this interpreter for

PWRON_RESET = 1
WDT_RESET = 3


def _open(settings):
    """Called once by boot.py, while the desk's own files can still be reached."""
    global _trace, _signal, _scratch
    config.update(settings)
    _scratch = open(settings["scratch"], "r+b")
    _trace = open(settings["trace"], "wb")
    _signal = _Signal(settings["signal"], settings["converter"], settings["start_ms"])


def _note(kind, payload=b""):
    """Append a record to the trace: kind, time [ms], length, payload."""
    if _trace is None:  # the flash is being made; nothing has started yet
        return
    _trace.write(struct.pack("<BIH", kind, pace.now_us() // 1000, len(payload)))
    if payload:
        _trace.write(payload)


_NOTE_I2C = 1
_NOTE_RESET = 2
_NOTE_SIGNAL_END = 3
_NOTE_SYNC = 4
_NOTE_PIN = 5
_NOTE_UP = 6


class _Signal:
    """Pin volts over time, and what this board's converter makes of them.

    The file: "USIG", channels, period [ms], count of points; then 16-bit fractions of full scale.
    The converter's table: its mean code, in 1/16 steps, at each of 4,097 even steps of its input,
    then 256 draws of its noise in 1/16 steps.
    """

    _CHUNK = 1024

    def __init__(self, path, converter, start_ms):
        self._file = open(path, "rb")
        magic, self._channels, self._period_ms, self._count = struct.unpack("<4sHHI", self._file.read(12))
        if magic != b"USIG":
            raise ValueError("not a signal file: " + path)
        self._chunk = array("H", bytes(2 * self._channels * self._CHUNK))
        self._first = -self._CHUNK
        self._start_ms = start_ms
        self._ended = False
        self._table = array("H", bytes(2 * 4097))
        self.noise = array("h", bytes(2 * 256))
        with open(converter, "rb") as file:
            file.readinto(self._table)
            file.readinto(self.noise)

    def end_ms(self):
        return self._count * self._period_ms - self._start_ms

    def level(self, channel, now_ms):
        """Mean code at a channel [1/16 steps]."""
        index = (now_ms + self._start_ms) // self._period_ms
        if index >= self._count:
            index = self._count - 1
            if not self._ended:
                self._ended = True
                _note(_NOTE_SIGNAL_END)
        if not self._first <= index < self._first + self._CHUNK:
            self._first = index // self._CHUNK * self._CHUNK
            self._file.seek(12 + 2 * self._channels * self._first)
            self._file.readinto(self._chunk)
        if channel < self._channels:
            value = self._chunk[(index - self._first) * self._channels + channel]
        else:
            value = _SUPPLY_LEVEL
        at, part = value >> 4, value & 15
        return self._table[at] + ((self._table[at + 1] - self._table[at]) * part >> 4)


class ADC:
    def __init__(self, pin):
        number = pin if isinstance(pin, int) else pin.number
        self._channel = 2 if number == SUPPLY_PIN else number - BUS_PIN
        self._at_us = -1
        self._level = 0
        self._draw = self._channel

    def read_u16(self):
        now_us = pace.now_us()
        if now_us != self._at_us:
            self._at_us = now_us
            self._level = _signal.level(self._channel, now_us // 1000)
        self._draw = self._draw * 5 + 1 & 0xFFFF
        code = self._level + _signal.noise[self._draw >> 8] >> 4
        code = 0 if code < 0 else 4095 if code > 4095 else code
        return code << 4 | code >> 8


class Pin:
    """An output notes each change in the trace. An input follows the desk's schedule for it: pairs
    of a time [ms] and a level; without one it reads as its pull makes it, USB power as there."""

    IN, OUT, PULL_UP, PULL_DOWN = 0, 1, 1, 2

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        self._out = mode == Pin.OUT
        self._value = int(pull == Pin.PULL_UP or number == USB_POWER_PIN)
        self._plan = config["inputs"].get(str(number), ())
        self._next = 0
        if value is not None:
            self.value(value)

    def value(self, level=None):
        if level is not None:
            if level != self._value or not self._out:
                _note(_NOTE_PIN, bytes((self.number, level)))
            self._value = level
            return None
        while self._next < len(self._plan) and self._plan[self._next][0] <= pace.now_us() // 1000:
            self._value = self._plan[self._next][1]
            self._next += 1
        return self._value


class I2C:
    def __init__(self, bus=0, sda=None, scl=None, freq=400000):
        pass

    def writeto(self, address, data, stop=True):
        if address != config["display"]:
            raise OSError(5)
        _note(_NOTE_I2C, bytes((address,)) + bytes(data))
        return len(data)


class WDT:
    """Bites when a sleep or a feed finds it starved. It cannot see a loop that does neither."""

    def __init__(self, id=0, timeout=5000):
        self._limit_us = timeout * 1000
        self._fed_us = pace.now_us()
        pace.watch(self._check)

    def feed(self):
        self._check()
        self._fed_us = pace.now_us()

    def _check(self):
        if pace.now_us() - self._fed_us > self._limit_us:
            _die(b"watchdog")


class Timer:
    """A periodic timer, served whenever the board sleeps."""

    ONE_SHOT, PERIODIC = 0, 1

    def __init__(self, id=-1, period=1000, mode=PERIODIC, callback=None):
        self._period_us = period * 1000
        self._due_us = pace.now_us()
        self._callback = callback
        pace.watch(self._serve, first=True)

    def _serve(self):
        if self._callback and pace.now_us() >= self._due_us:
            self._due_us = pace.now_us() + self._period_us
            self._callback(self)

    def deinit(self):
        self._callback = None


class _Registers:
    """The one register that the firmware keeps a number in: a reset leaves it alone, loss of
    power clears it, for which the desk writes its file anew."""

    def __getitem__(self, address):
        _scratch.seek(0)
        return int(_scratch.read(8), 16)

    def __setitem__(self, address, value):
        _scratch.seek(0)
        _scratch.write(b"%08x" % value)
        _scratch.flush()


mem32 = _Registers()


def unique_id():
    return bytes([int(config["board_id"][i : i + 2], 16) for i in range(0, 16, 2)])


def reset_cause():
    return config["reset_cause"]


def lightsleep(ms):
    pace.sleep_us(ms * 1000)


def freq(hz=None):
    return 125000000


def _die(reason):
    """End at once, as a reset does: nothing is closed, nothing is flushed."""
    _note(_NOTE_RESET, reason)
    os.system("kill -9 $PPID")


def reset():
    _die(b"reset")


def soft_reset():
    _die(b"soft reset")
