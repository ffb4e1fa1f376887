"""What the converter's pins see: stretches of the demo's evening, and a record of every reading."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from chargecore import calibration
from underdash.car.drive import Drive
from underdash.virtual.signal_file import Converter, FrontEnd

if TYPE_CHECKING:
    from emulate.chip import Chip

Floats = NDArray[np.float64]

CONVERSION_S = 2e-6  # 96 cycles of 48 MHz
_START_ONE = 1 << 2
_NEW_SAMPLE_S = 0.02  # a pause this long in the readings begins a new sample

# Of the evening [s]: rest, key on and crank; cruise and the night's deficit; its end; parking; rest, the surface
# charge gone.
STRETCHES = ((235.0, 345.0), (4105.0, 4225.0), (5305.0, 5345.0), (6520.0, 6580.0), (7000.0, 7190.0))


@dataclass(frozen=True)
class Feed:
    """Volts and amps at the car, a value a step; the last second repeats for ever."""

    volts: Floats
    amps: Floats
    step_s: float
    stretches: tuple[tuple[float, float], ...]
    """Of the evening [s]."""

    def when(self, evening_s: float) -> float:
        """Where that moment of the evening comes here [s]; ValueError if it is in no stretch."""
        before_s = 0.0
        for begin_s, end_s in self.stretches:
            if begin_s <= evening_s < end_s:
                return before_s + evening_s - begin_s
            before_s += end_s - begin_s
        raise ValueError(f"{evening_s:g} s of the evening are in no stretch")

    def rest_from(self, begin_s: float) -> "Feed":
        """What is left from there on."""
        first = min(round(begin_s / self.step_s), len(self.volts) - 100)
        return Feed(self.volts[first:], self.amps[first:], self.step_s, ())


def stretches_of(drive: Drive, stretches: tuple[tuple[float, float], ...] = STRETCHES) -> Feed:
    """The drive's stretches one after the other."""
    index = np.concatenate(
        [np.arange(round(begin_s / drive.step_s), round(end_s / drive.step_s)) for begin_s, end_s in stretches]
    )
    return Feed(drive.volts[index], drive.amps[index], drive.step_s, stretches)


def calibration_for(converter: Converter) -> calibration.Calibration:
    """Nominal lines, moved by the converter's offset; clamp fitted."""
    cal = calibration.Calibration()
    cal.clamp_fitted = 1
    moved = round(converter.offset * 16) - cal.bus_zero
    cal.bus_zero += moved
    cal.clamp_zero += moved
    return cal


@dataclass
class Sample:
    """One oversampled reading of a channel, as the converter gave it."""

    at_s: float
    busy_s: float
    """The processor's busy time so far [s], when the sample began."""
    stalls_s: tuple[float, float]
    """What display bus and flash had taken so far [s]."""
    count: int = 0
    codes: int = 0
    """Sum of the codes."""
    truth: float = 0.0
    """Sum of what was at the car [V] or [A]."""


class Inputs:
    """Feeds both channels from `feed`, whose start is the chip's power-on. `bus`, `clamp`: the samples.

    stalls: what display bus and flash have taken so far [s].
    """

    def __init__(
        self, chip: "Chip", feed: Feed, converter: Converter, stalls: Callable[[], tuple[float, float]]
    ) -> None:
        self._chip = chip
        self._adc = chip.core.adc
        self._stalls = stalls
        self.bus: list[Sample] = []
        self.clamp: list[Sample] = []
        front_end = FrontEnd()
        table = converter.table()
        mean = np.frombuffer(table[: 4097 * 2], "<u2").astype(float)
        noise = np.frombuffer(table[4097 * 2 :], "<i2").astype(int)
        fractions = front_end.fractions(feed.volts, feed.amps)
        places = np.arange(4097) / 4096
        self._codes = [np.interp(fractions[:, i], places, mean).tolist() for i in (0, 1)]
        # What is beyond the clamp's span never reaches the pin.
        self._truth = (feed.volts.tolist(), np.clip(feed.amps, *front_end.clamp_range()).tolist())
        self._noise = noise.tolist()
        self._supply = int(np.interp(4.7 / 3 / 3.3, places, mean)) >> 4
        self._draw = 0
        self._channel, self._last_s = -1, 0.0
        self._step_s = feed.step_s
        self._adc.on_adc_read = self._read

    def _read(self, channel: int) -> None:
        now_s = self._chip.clock.nanos / 1e9
        code = self._supply
        if channel < 2:
            truth = self._truth[channel]
            at = int(now_s / self._step_s)
            if at >= len(truth):  # the last second over and over
                at = len(truth) - 1 - (len(truth) - 1 - at) % round(1 / self._step_s)
            self._draw = (self._draw + 97) & 255
            code = min(max((int(self._codes[channel][at]) + self._noise[self._draw]) >> 4, 0), 4095)
            samples = self.clamp if channel else self.bus
            # Samples that are late follow each other without a pause, but for the other channel's.
            if channel != self._channel or now_s - self._last_s > _NEW_SAMPLE_S:
                samples.append(Sample(now_s, self._chip.busy_s, self._stalls()))
            self._channel, self._last_s = channel, now_s
            sample = samples[-1]
            sample.count += 1
            sample.codes += code
            sample.truth += truth[at]
        self._chip.stall(CONVERSION_S)
        self._adc.complete_adc_read(code, False)
        # This bit clears itself on the chip; here, left set, each choice of a channel would convert again.
        self._adc.cs &= ~_START_ONE
