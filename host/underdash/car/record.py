"""What a drive leaves behind: measured and true arrays, the deficits and cranks in them, a CSV."""

import csv
import io
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from underdash.problems import write_whole

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

COLUMNS = (
    "t_s", "volts", "amps", "engine_rpm", "alternator_a", "load_a", "charge", "coolant_c", "fan", "phase",
)  # fmt: skip


@dataclass(frozen=True)
class Deficit:
    """A stretch in which the running car lived on its battery."""

    start_s: float
    end_s: float
    charge_as: float
    """Charge taken out of the battery [A s], positive."""
    lowest_volts: float


@dataclass(frozen=True)
class Crank:
    """One turn of the starter."""

    start_s: float
    end_s: float
    lowest_volts: float
    peak_amps: float
    """Greatest starter current [A]."""


@dataclass(frozen=True)
class Drive:
    """A simulated drive, one sample a step. Invented data, for the demo only.

    `volts` and `amps` carry the noise a monitor would see; `true_volts` and `true_amps` are the
    model's own. Battery current is positive when it charges. At every sample
    alternator_a = load_a + true_amps + starter_a.
    """

    t_s: Floats
    volts: Floats
    amps: Floats
    true_volts: Floats
    true_amps: Floats
    engine_rpm: Floats
    alternator_a: Floats
    load_a: Floats
    """Loads on the bus, fan included, starter excluded [A]."""
    starter_a: Floats
    charge: Floats
    """State of charge [0..1]."""
    coolant_c: Floats
    fan: Bools
    running: Bools
    """True while the engine turns by itself."""
    phase_index: NDArray[np.int64]
    phase_names: tuple[str, ...]

    @property
    def step_s(self) -> float:
        """The grid [s]."""
        return float(self.t_s[1] - self.t_s[0])

    @property
    def phase(self) -> NDArray[np.str_]:
        """Name of the phase at each sample."""
        return np.array(self.phase_names)[self.phase_index]

    def deficits(self, longer_than_s: float = 4.0) -> list[Deficit]:
        """Stretches of discharge with the engine running that outlast `longer_than_s` [s].

        Judged from the noiseless values. `end_s` is the first sample that charges again.
        """
        found = []
        for first, stop in runs(self.running & (self.true_amps < 0.0)):
            if (stop - first) * self.step_s > longer_than_s:
                span = slice(first, stop)
                found.append(
                    Deficit(
                        start_s=float(self.t_s[first]),
                        end_s=float(self.t_s[first]) + (stop - first) * self.step_s,
                        charge_as=float(-self.true_amps[span].sum() * self.step_s),
                        lowest_volts=float(self.true_volts[span].min()),
                    )
                )
        return found

    def cranks(self) -> list[Crank]:
        """Every turn of the starter, from the noiseless values."""
        return [
            Crank(
                start_s=float(self.t_s[first]),
                end_s=float(self.t_s[first]) + (stop - first) * self.step_s,
                lowest_volts=float(self.true_volts[first:stop].min()),
                peak_amps=float(self.starter_a[first:stop].max()),
            )
            for first, stop in runs(self.starter_a > 0.0)
        ]

    def to_csv(self, path: str | os.PathLike[str], every_s: float = 0.1) -> None:
        """Write the samples that fall each `every_s` [s] (not means) to `path`, whole or not at all.

        Raises ValueError if `every_s` is no multiple of the grid, UnderdashError if `path` cannot be
        written.
        """
        stride = round(every_s / self.step_s)
        if stride < 1 or abs(stride * self.step_s - every_s) > 1e-9:
            raise ValueError(f"every_s must be a multiple of {self.step_s} s, not {every_s}")
        pick = slice(None, None, stride)
        columns = (
            _text(self.t_s[pick], 2),
            _text(self.volts[pick], 4),
            _text(self.amps[pick], 2),
            _text(self.engine_rpm[pick], 0),
            _text(self.alternator_a[pick], 2),
            _text(self.load_a[pick], 2),
            _text(self.charge[pick], 5),
            _text(self.coolant_c[pick], 1),
            [str(int(on)) for on in self.fan[pick]],
            [self.phase_names[i] for i in self.phase_index[pick]],
        )
        table = io.StringIO()
        writer = csv.writer(table, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(zip(*columns, strict=True))
        write_whole(Path(path), table.getvalue().encode())


def runs(mask: Bools) -> list[tuple[int, int]]:
    """Where `mask` holds without a break: (first, one past the last) sample of each stretch."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _text(values: Floats, decimals: int) -> list[str]:
    return [f"{value:.{decimals}f}" for value in values.tolist()]
