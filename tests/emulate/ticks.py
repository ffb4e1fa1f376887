"""How long the board works for each sample, told from outside, so that nothing is disturbed."""

from dataclasses import dataclass

import numpy as np

from emulate.feed import Sample


@dataclass(frozen=True)
class Work:
    """Of every stretch from one sample to the next [ms]: processor, display bus, flash."""

    processor: np.ndarray
    display: np.ndarray
    flash: np.ndarray

    @property
    def quiet(self) -> np.ndarray:
        """Stretches in which flash did nothing: those that come ten times a second."""
        return self.flash == 0.0


def work(samples: list[Sample], skip: tuple[float, ...] = ()) -> Work:
    """Busy times between samples, but those during which something was done to the chip at `skip` [s]."""
    at_s = np.array([sample.at_s for sample in samples])
    table = np.array([(sample.busy_s, *sample.stalls_s) for sample in samples])
    steps = 1e3 * np.diff(table, axis=0)
    fair = np.ones(len(steps), bool)
    for moment in skip:
        fair &= ~((at_s[:-1] <= moment + 0.2) & (at_s[1:] >= moment))
    return Work(*steps[fair].T)
