"""Rows a second, stepping the engine row by row and striding over the same rows, and the ratio of the two.

    python tests/bench/stride.py [evenings, 100 if not given]

Processor time of this process, the better of three; the verdicts are compared, too.
"""

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path[:0] = [
    str(Path(__file__).resolve().parents[2] / "firmware" / "lib"),
    str(Path(__file__).parents[1] / "review"),
]
from evenings import Ints, evenings

from chargecore.engine import Engine
from chargecore.thresholds import Thresholds
from chargecore.units import ABSENT
from underdash.review.stride import stride


def hovering(count: int, bus_mv: int, clamp_ma: int | None, noise_mv: float = 15.0, noise_ma: float = 150.0) -> Ints:
    """Rows of a second of a running car whose volts and amps stay about these, with noise on both."""
    rng = np.random.default_rng(1)
    bus = np.round(rng.normal(bus_mv, noise_mv, count)).astype(np.int64)
    clamp = np.full(count, ABSENT) if clamp_ma is None else np.round(rng.normal(clamp_ma, noise_ma, count))
    return np.stack([np.arange(count) * 1000, bus - 30, bus, bus + 30, clamp.astype(np.int64)], axis=1)


def best(run: Callable[[], object]) -> float:
    times = []
    for _ in range(3):
        began = time.process_time()
        run()
        times.append(time.process_time() - began)
    return min(times)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    once = 50_000
    cases = {
        "evenings, clamp": evenings(count, clamp=True),
        "evenings, volts only": evenings(count, clamp=False),
        "hovering at marginal, clamp": hovering(once, 13200, 2000),
        "hovering at marginal, volts only": hovering(once, 13200, None),
        "hovering at discharging, volts only": hovering(once, 13000, None),
        "current hovering at the dead band": hovering(once, 13300, -1500),
        "the same at charging volts": hovering(once, 13700, -1500),
        "volts and amps contradict": hovering(once, 14000, -5000),
        "no volts": np.where(np.arange(5) == 0, hovering(once, 0, None), ABSENT),
    }
    print(f"{'':36}{'rows':>9}{'stepped [rows/s]':>18}{'strode [rows/s]':>17}{'ratio':>7}")
    for name, rows in cases.items():
        listed, columns = rows.tolist(), list(np.ascontiguousarray(rows.T))
        said: list[tuple[int, int, int]] = []
        strode: list[Ints] = []

        def step(listed: list[list[int]] = listed, said: list[tuple[int, int, int]] = said) -> None:
            judge = Engine(Thresholds())
            said.clear()
            for row in listed:
                judge.step(*row)
                said.append((judge.state, judge.warnings, judge.since_ms))

        def leap(columns: list[Ints] = columns, strode: list[Ints] = strode) -> None:
            strode[:] = stride(Engine(Thresholds()), *columns)

        slow_s, fast_s = best(step), best(leap)
        if not np.array_equal(np.array(said).T, np.array(strode)):
            sys.exit(f"{name}: the verdicts differ")
        print(f"{name:36}{len(rows):9,}{len(rows) / slow_s:18,.0f}{len(rows) / fast_s:17,.0f}{slow_s / fast_s:7.1f}")


if __name__ == "__main__":
    main()
