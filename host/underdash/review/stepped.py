"""The engine stepped row by row: slow, and what any faster way must agree with."""

import numpy as np
from numpy.typing import NDArray

from chargecore.engine import Engine

Ints = NDArray[np.int64]


def stepped(
    judge: Engine, t_ms: Ints, low_mv: Ints, bus_mv: Ints, high_mv: Ints, clamp_ma: Ints
) -> tuple[Ints, Ints, Ints]:
    """(state, warnings, since_ms) after each row; `judge` is left as it stands after the last.

    The rows are those of Engine.step [ms on the wrapping clock], [mV], [mA]; judge.key is in force for all.
    """
    verdicts = np.empty((len(t_ms), 3), np.int64)
    rows = zip(*(column.tolist() for column in (t_ms, low_mv, bus_mv, high_mv, clamp_ma)), strict=True)
    for index, row in enumerate(rows):
        judge.step(*row)
        verdicts[index] = judge.state, judge.warnings, judge.since_ms
    return verdicts[:, 0], verdicts[:, 1], verdicts[:, 2]
