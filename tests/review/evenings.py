"""The virtual car's evening as the rows a board would write: a second each, ten a second around the crank,
a minute each once the parked car has been still for a while."""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from chargecore import engine, thresholds
from chargecore.units import ABSENT, TICKS_MASK
from monitor.sampler import RowBuilder
from underdash.car import EVENING, simulate

Ints = NDArray[np.int64]
_EVERY = 5  # of the car's samples, 20 ms apart: a sample of the board
_AWAKE = 300  # samples at rest after which a board sleeps: 30 s (monitor.rest)


@cache
def evening(clamp: bool, seed: int = 1) -> Ints:
    """Rows (t_ms, low_mv, bus_mv, high_mv, clamp_ma) of one evening, from t_ms 0."""
    drive = simulate(EVENING, seed=seed)
    judge = engine.Engine(thresholds.Thresholds())
    limits = judge.thresholds
    rows: list[tuple[int, int, int, int, int]] = []

    def emit(*row: int) -> None:
        rows.append(row)
        judge.step(*row)

    builder = RowBuilder(emit, limits.crank_mv, limits.crank_mv + limits.hysteresis_mv)
    t_ms = np.round(drive.t_s[::_EVERY] * 1000).astype(np.int64) + 100
    bus_mv = np.round(drive.volts[::_EVERY] * 1000).astype(np.int64)
    clamp_ma = np.round(drive.amps[::_EVERY] * 1000).astype(np.int64)
    rested = 0
    for t, mv, ma in zip(t_ms.tolist(), bus_mv.tolist(), clamp_ma.tolist(), strict=True):
        rested = rested + 1 if judge.state == engine.REST and mv > limits.crank_mv else 0
        (builder.rest if rested > _AWAKE else builder.push)(t, mv, ma if clamp else ABSENT)
    builder.close()
    return np.array(rows, dtype=np.int64)


def evenings(count: int, clamp: bool, seeds: int = 1) -> Ints:
    """So many evenings in a row on the wrapping clock, each beginning a second after the one before."""
    kinds = [evening(clamp, seed) for seed in range(1, seeds + 1)]
    parts = []
    start_ms = 0
    for number in range(count):
        part = kinds[number % seeds].copy()
        part[:, 0] += start_ms
        start_ms = int(part[-1, 0])
        parts.append(part)
    rows = np.concatenate(parts)
    rows[:, 0] &= TICKS_MASK
    return rows
