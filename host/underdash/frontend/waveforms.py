"""What a car's supply does to whatever hangs on it: the test pulses and profiles of two standards.

Each number carries where it was read. "opened" means read in a copy or an excerpt, "memory" means not
verified at all, "computed" follows from the others; docs/check-values.md and the table of
`underdash frontend` repeat it. Nobody here has read the standards themselves in full. Where an edition
or a reading is in doubt the harder one is taken.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

Points = list[tuple[float, float]]  # time [s], volts [V]

_DUMP = "opened: published tables that cite ISO 16750-2, secondary"
_PULSE_2A = "opened: a test generator's stored file, ISO 7637-2 pulse 2a level IV"
_START = "opened: a test generator's stored file, ISO 16750-2 level I"
_SLOW = "opened: a test generator's stored file, ISO 16750-2 4.5"
_RESET = "opened: a test generator's stored file, ISO 16750-2 4.6.2"
_CODES = "opened: text of ISO 16750-2:2010 table 1"
MEMORY = "memory"


@dataclass(frozen=True)
class Figure:
    """One number of a standard: value in SI units, and where it comes from."""

    value: float
    unit: str
    source: str

    @property
    def from_memory(self) -> bool:
        return self.source.startswith(MEMORY)


@dataclass(frozen=True)
class Waveform:
    """An open-circuit voltage over time behind a source resistance.

    The resistance also carries the board's own current, although a real generator adds its pulse to a
    stiff supply: a little harder on a board that must keep running.

    figures: every number it was made of. begins, lasts [s]: when the event itself starts and how long it
    is. every [s]: how often it comes again, 0 if it does not. settle [s]: time watched after it.
    """

    name: str
    title: str
    figures: dict[str, Figure]
    shape: Callable[[dict[str, float], float], Points] = field(repr=False)
    begins: float
    lasts: float
    ohms: float
    every: float = 0.0
    settle: float = 0.1
    level: str = ""

    @property
    def points(self) -> Points:
        """Volts at the source, as a broken line, from 0 s."""
        return self.shape({name: figure.value for name, figure in self.figures.items()}, self.begins)

    @property
    def ends(self) -> float:
        return self.begins + self.lasts + self.settle

    @property
    def from_memory(self) -> list[str]:
        """The names of the numbers that nobody has verified."""
        return [name for name, figure in self.figures.items() if figure.from_memory]


def _decay(begin: float, base: float, peak: float, rise: float, to_tenth: float) -> Points:
    """From `base` to `peak`, then exponentially back, a tenth of the excursion left after `to_tenth`."""
    tau = to_tenth / math.log(10.0)
    points = [(0.0, base), (begin, base), (begin + rise, peak)]
    for step in range(1, 61):
        after = step * 6.0 * tau / 60
        points.append((begin + rise + after, base + (peak - base) * math.exp(-after / tau)))
    return [*points, (begin + rise + 6.2 * tau, base)]


def _dump(of: dict[str, float], begin: float) -> Points:
    return _decay(begin, of["base"], of["peak"], of["rise"], of["decay"])


def _dump_clamped(of: dict[str, float], begin: float) -> Points:
    """As a dump, cut off at the volts that the alternator's own suppressor leaves."""
    top, points = of["clamped"], _dump(of, begin)
    cut: Points = []
    for (t0, v0), (t1, v1) in pairwise(points):
        cut.append((t0, min(v0, top)))
        if (v0 - top) * (v1 - top) < 0:
            cut.append((t0 + (t1 - t0) * (top - v0) / (v1 - v0), top))
    return [*cut, points[-1]]


def _pulse_1(of: dict[str, float], begin: float) -> Points:
    """The supply is cut, the inductive load beside the board swings negative, the supply returns."""
    off = begin + of["off"]
    swing = _decay(begin + 1e-6, 0.0, of["peak"], of["rise"], of["decay"])[2:]
    return [(0.0, of["base"]), (begin, of["base"]), (begin + 1e-6, 0.0), *swing, (off, 0.0), (off + 1e-4, of["base"])]


def _pulse_2a(of: dict[str, float], begin: float) -> Points:
    return _decay(begin, of["base"], of["base"] + of["peak"], of["rise"], of["decay"])


_BURST = 4  # pulses of a burst that are simulated; they repeat without memory


def _burst(of: dict[str, float], begin: float) -> Points:
    points: Points = [(0.0, of["base"])]
    # A negative peak is counted from 0 V, a positive one from the supply: the harder reading of each.
    peak = of["peak"] + (of["base"] if of["peak"] > 0 else 0.0)
    for number in range(_BURST):
        points += _decay(begin + number * of["period"], of["base"], peak, of["rise"], of["decay"])[1:]
    return points


def _plateau(of: dict[str, float], begin: float) -> Points:
    edge, end = of["edge"], begin + of["edge"] + of["length"]
    return [(0.0, of["base"]), (begin, of["base"]), (begin + edge, of["volts"]), (end, of["volts"]),
            (end + edge, of["base"])]  # fmt: skip


def _start(of: dict[str, float], begin: float) -> Points:
    """A crank: the drop, its bottom, the rise, the engine turned over with a ripple, the recovery."""
    mean = of["floor"] + of["ripple"] / 2
    at = begin + of["fall"]
    points = [(0.0, of["base"]), (begin, of["base"]), (at, of["bottom"])]
    at += of["hold"]
    points.append((at, of["bottom"]))
    at += of["rise"]
    for step in range(int(of["length"] * 20) + 1):
        t = step / 20
        points.append((at + t, mean + of["ripple"] / 2 * math.sin(2 * math.pi * of["hertz"] * t)))
    return [*points, (at + of["length"] + of["recovery"], of["base"])]


_HURRY = 20.0


def _slow(of: dict[str, float], begin: float) -> Points:
    # Hurried: the front end settles in a fraction of a second, so that this too is slow for it.
    length = of["from"] / of["slope"] / _HURRY
    return [(0.0, of["from"]), (begin, of["from"]), (begin + length, 0.0), (begin + 2 * length, of["from"])]


def _steps(of: dict[str, float], begin: float) -> Points:
    points, at, low = [(0.0, of["from"]), (begin, of["from"])], begin, of["from"]
    while low > 1e-9:
        low = max(0.0, low - of["step"] * of["from"])
        points += [(at + 0.01, low), (at + of["low_time"], low), (at + of["low_time"] + 0.01, of["from"])]
        at += of["low_time"] + of["high_time"]
        points.append((at, of["from"]))
    return points


def _steady(of: dict[str, float], begin: float) -> Points:
    return [(0.0, of["volts"]), (begin + 10.0, of["volts"])]


def _volts(value: float, source: str) -> Figure:
    return Figure(value, "V", source)


def _seconds(value: float, source: str) -> Figure:
    return Figure(value, "s", source)


def _ohms(value: float, source: str) -> Figure:
    return Figure(value, "ohm", source)


def load_dump_a(upper: bool, decay: float = 0.4) -> Waveform:
    """Load dump without suppression. upper: 101 V behind 4 ohm, else 79 V behind 0.5: no other pairs."""
    peak, ohms = (101.0, 4.0) if upper else (79.0, 0.5)
    figures = {
        "base": _volts(14.0, _DUMP),
        "peak": _volts(peak, _DUMP),  # from 0 V
        "ri": _ohms(ohms, _DUMP),
        "rise": _seconds(5e-3, _DUMP + " (10 ms, less 5 allowed)"),
        "decay": _seconds(decay, _DUMP + " (40 to 400 ms)"),
        "repeat": _seconds(60.0, _DUMP),
    }
    title = f"load dump A, {peak:.0f} V behind {ohms:g} ohm, {decay * 1000:.0f} ms"
    name = f"dump-a-{'upper' if upper else 'lower'}" + ("" if decay == 0.4 else f"-{decay * 1000:.0f}ms")
    return Waveform(name, title, figures, _dump, 0.05, decay * 2.8, ohms, 60.0, 0.2)


def load_dump_b() -> Waveform:
    """Load dump of an alternator with its own suppressor."""
    figures = {
        "base": _volts(14.0, _DUMP),
        "peak": _volts(79.0, _DUMP),
        "clamped": _volts(35.0, _DUMP),
        "ri": _ohms(0.5, _DUMP),
        "rise": _seconds(5e-3, _DUMP + " (10 ms, less 5 allowed)"),
        "decay": _seconds(0.4, _DUMP + " (40 to 400 ms)"),
        "repeat": _seconds(60.0, _DUMP),
    }
    return Waveform("dump-b", "load dump B, held to 35 V", figures, _dump_clamped, 0.05, 1.1, 0.5, 60.0, 0.2)


def pulse_1() -> Waveform:
    figures = {
        "base": _volts(13.5, MEMORY),
        "peak": _volts(-150.0, MEMORY + " (an opened page says -100 to -150 V)"),
        "ri": _ohms(10.0, MEMORY),
        "rise": _seconds(1e-6, MEMORY),
        "decay": _seconds(2e-3, MEMORY),
        "off": _seconds(0.2, "opened: the 24 V file of a test generator; taken for 12 V too"),
        "repeat": _seconds(0.5, MEMORY),
    }
    return Waveform("pulse-1", "ISO 7637-2 pulse 1", figures, _pulse_1, 0.05, 0.21, 10.0, 0.5, 0.3, "IV")


def pulse_2a() -> Waveform:
    figures = {
        "base": _volts(13.5, _PULSE_2A),
        "peak": _volts(112.0, _PULSE_2A),
        "ri": _ohms(2.0, _PULSE_2A),
        "rise": _seconds(1e-6, _PULSE_2A),
        "decay": _seconds(50e-6, _PULSE_2A),
        "repeat": _seconds(0.2, _PULSE_2A),
    }
    return Waveform("pulse-2a", "ISO 7637-2 pulse 2a", figures, _pulse_2a, 1e-3, 200e-6, 2.0, 0.2, 5e-3, "IV")


def _pulse_3(name: str, peak: float, source: str) -> Waveform:
    figures = {
        "base": _volts(13.5, MEMORY),
        "peak": _volts(peak, source),
        "ri": _ohms(50.0, MEMORY),
        "rise": _seconds(5e-9, "opened: the 24 V file of a test generator"),
        "decay": _seconds(150e-9, MEMORY + " (100 to 150 ns)"),
        "period": _seconds(100e-6, "opened: the 24 V file of a test generator"),
        "burst": _seconds(10e-3, "opened: the 24 V file of a test generator"),
        "pause": _seconds(90e-3, "opened: the 24 V file of a test generator"),
    }
    # 100 pulses in each 100 ms, of which _BURST are simulated.
    every = _BURST * (figures["burst"].value + figures["pause"].value) / 100
    lasts = _BURST * figures["period"].value
    title = f"ISO 7637-2 pulse {name[-2:]}"
    return Waveform(name, title, figures, _burst, 20e-6, lasts, 50.0, every, 50e-6, "IV")


def pulse_3a() -> Waveform:
    return _pulse_3("pulse-3a", -220.0, MEMORY + " (an opened note uses it too)")


def pulse_3b() -> Waveform:
    return _pulse_3("pulse-3b", 150.0, MEMORY)


def _hold(name: str, title: str, volts: float, length: float, source: str, edge: float = 0.01,
          base: float = 13.5, ohms: float = 0.05, settle: float = 2.0) -> Waveform:  # fmt: skip
    figures = {
        "base": _volts(base, "common practice, no source"),
        "volts": _volts(volts, source),
        "length": _seconds(length, source),
        "edge": _seconds(edge, source),
        "ri": _ohms(ohms, "common practice, no source"),
    }
    return Waveform(name, title, figures, _plateau, 0.5, length + 2 * edge, ohms, 0.0, settle)


def jump_start() -> Waveform:
    return _hold("jump-start", "jump start, 24 V for 60 s", 24.0, 60.0, MEMORY, base=12.0)


def overvoltage() -> Waveform:
    # An hour; the parts have long settled after two minutes.
    return _hold("overvoltage", "18 V for an hour", 18.0, 120.0, MEMORY)


def reverse() -> Waveform:
    return _hold("reverse-battery", "battery reversed, -14 V for 60 s", -14.0, 60.0, MEMORY, base=0.0)


def momentary_drop() -> Waveform:
    return _hold("drop", "drop to 4.5 V for 100 ms", 4.5, 0.1, MEMORY, settle=0.5)


def running() -> Waveform:
    figures = {"volts": _volts(16.0, _CODES), "ri": _ohms(0.05, "common practice, no source")}
    return Waveform("running", "16 V, the top of normal", figures, _steady, 0.0, 10.0, 0.05, settle=0.0)


def crank(level: str) -> Waveform:
    """A start: level I, II, III or IV."""
    bottom, floor, length, recovery, source = {
        "I": (8.0, 9.5, 1.0, 0.04, _START),
        "II": (4.5, 6.5, 10.0, 0.1, MEMORY),
        "III": (3.0, 5.0, 1.0, 0.1, MEMORY),
        "IV": (6.0, 6.5, 10.0, 0.1, MEMORY),
    }[level]
    common = _START if level == "I" else MEMORY + " (opened for level I)"
    figures = {
        "base": _volts(12.0, _START),
        "bottom": _volts(bottom, source),
        "floor": _volts(floor, source),
        "length": _seconds(length, source),
        "recovery": _seconds(recovery, source),
        "ripple": _volts(2.0, common),
        "hertz": Figure(2.0, "Hz", common),
        "fall": _seconds(5e-3, common),
        "hold": _seconds(15e-3, common),
        "rise": _seconds(50e-3, common),
        "ri": _ohms(0.01, "common practice, no source"),
    }
    title = f"crank, level {level}: {bottom:g} V, then {floor:g} V"
    return Waveform(f"crank-{level}", title, figures, _start, 0.5, 0.07 + length + recovery, 0.01, 0.0, 0.5, level)


def slow_ramp() -> Waveform:
    figures = {
        "from": _volts(16.0, _CODES),
        "slope": Figure(0.5 / 60, "V/s", _SLOW),
        "ri": _ohms(0.05, "common practice, no source"),
    }
    title = "slow decrease to 0 V and increase (hurried)"
    return Waveform("slow-ramp", title, figures, _slow, 1.0, 2 * 16.0 * 120 / _HURRY, 0.05, 0.0, 1.0)


def reset_steps() -> Waveform:
    figures = {
        "from": _volts(8.0, _RESET + ", code B"),
        "step": Figure(0.05, "of it", _RESET),
        "low_time": _seconds(5.0, _RESET),
        "high_time": _seconds(10.0, _RESET),
        "ri": _ohms(0.05, "common practice, no source"),
    }
    return Waveform("reset-steps", "ever deeper drops from 8 V", figures, _steps, 1.0, 300.0, 0.05, 0.0, 1.0)
