"""What the virtual board's converter pins see: the front end, the converter, and the signal file."""

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chargecore import nominal
from chargecore.calibration import UNFOLDED_MAX
from underdash.frontend.curve import STEPS
from underdash.frontend.curve import read as read_curve
from underdash.problems import DataError, write_whole

Array = NDArray[np.float64]


@dataclass(frozen=True)
class FrontEnd:
    """One board's divider and clamp as built; by default exactly what an uncalibrated board takes for true.

    bus_full_scale [V]: bus volts at the converter's full scale; clamp_zero: fraction of full scale
    at zero amps; clamp_span [A]: amps from zero to full scale of the converter, charging positive.
    """

    bus_full_scale: float = nominal.BUS_GAIN_NV * UNFOLDED_MAX / 1e9
    clamp_zero: float = (nominal.CLAMP_ZERO - nominal.BUS_ZERO) / UNFOLDED_MAX
    clamp_span: float = nominal.CLAMP_GAIN_UA * UNFOLDED_MAX / 1e6

    def fractions(self, volts: Array, amps: Array) -> Array:
        """Fractions of full scale at both pins, shape (n, 2), for bus [V] and battery [A]."""
        pins = np.column_stack([volts / self.bus_full_scale, self.clamp_zero + amps / self.clamp_span])
        return np.clip(pins, 0.0, 1.0)

    def clamp_range(self) -> tuple[float, float]:
        """(lowest, highest) battery current [A] that the converter's range has room for."""
        return -self.clamp_zero * self.clamp_span, (1.0 - self.clamp_zero) * self.clamp_span


# The demo's board: invented, inside what 0.1 % resistors, a 3.3 V supply and a Hall clamp leave open.
AS_BUILT = FrontEnd(bus_full_scale=18.29, clamp_zero=0.4650, clamp_span=267.0)


@dataclass(frozen=True)
class Converter:
    """An RP2040 converter: offset, four wide codes, input noise (docs/check-values.md); or one that was measured.

    offset and noise in 12-bit steps; wide_codes, and by how much they are wider than others, as
    measured on several chips (511, 1535, 2559, 3583; 8 to 10 steps). curve: a file of mean codes
    over the pin's volts (underdash.frontend.curve), taken instead of offset and wide codes.
    """

    offset: float = 14.0
    wide_codes: tuple[int, ...] = (511, 1535, 2559, 3583)
    extra_width: float = 8.64
    noise_rms: float = 0.97
    curve: Path | None = None

    @classmethod
    def from_curve(cls, path: Path) -> "Converter":
        """The converter of this file. UsageError, with its line, if it is no curve."""
        read_curve(path)
        return cls(curve=path)

    def table(self, seed: int = 1) -> bytes:
        """The converter's mean code at 4,097 even steps of its input, then 256 draws of its noise,
        both in 1/16 of a step, as onboard/machine.py reads them. UsageError if the curve's file is none."""
        at = np.arange(4097.0)
        mean = self._modelled(at) if self.curve is None else self._measured(self.curve, at)
        noise = np.random.default_rng(seed).normal(0.0, self.noise_rms, 256)
        codes: bytes = np.clip(np.rint(mean * 16), 0, 65535).astype("<u2").tobytes()
        draws: bytes = np.rint((noise - noise.mean()) * 16).astype("<i2").tobytes()
        return codes + draws

    def _modelled(self, at: Array) -> Array:
        # Where each code begins, in ordinary steps of an input that reads `offset` at 0 V in the mean:
        # the offset moves the input, not the wide codes. Half a step as below.
        widths = np.ones(4096)
        widths[list(self.wide_codes)] += self.extra_width
        begins = np.concatenate([[0.0], np.cumsum(widths)]) - 0.5
        codes: Array = np.interp(at / 4096 * widths.sum() + self.offset, begins, np.arange(4097.0))
        return codes

    @staticmethod
    def _measured(path: Path, at: Array) -> Array:
        # The pin drops the fraction of each noisy reading, half a step in the mean, which a measured
        # mean has lost already.
        curve = read_curve(path).averaged()
        codes: Array = np.interp(at * (STEPS / 4096), curve.steps, curve.codes) + 0.5
        return codes


def write_signal(path: Path, fractions: Array, period_ms: int) -> None:
    """Write the signal file for pins at `fractions` (shape (n, channels)) every `period_ms`."""
    header = struct.pack("<4sHHI", b"USIG", fractions.shape[1], period_ms, fractions.shape[0])
    levels = np.rint(fractions * 65535).astype("<u2")
    write_whole(path, header + levels.tobytes())


def signal_from_log(log: Path, target: Path, front_end: FrontEnd | None = None) -> None:
    """Write the signal file that feeds a board's pins with a CSV log's volts and amps."""
    from underdash.review.foreign import samples

    table = np.array(list(samples(log, {})), dtype=np.float64)
    if not len(table):
        raise DataError(f"{log}: no rows below the header; name a log that has some")
    volts, amps = (np.where(table[:, index] > -1e8, table[:, index] / 1000.0, 0.0) for index in (1, 2))
    grid = np.arange(0.0, max(table[-1, 0] - table[0, 0], 1.0), 0.02)
    nearest = np.clip(np.searchsorted(table[:, 0] - table[0, 0], grid, side="right") - 1, 0, None)
    write_signal(target, (front_end or FrontEnd()).fractions(volts[nearest], amps[nearest]), period_ms=20)
