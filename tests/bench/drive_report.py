"""How long the drive report takes over a season of synthetic rows: `python tests/bench/drive_report.py [--rows N]`.

Verdicts are given, not judged: decoding and judging have a benchmark of their own.
"""

import argparse
import cProfile
import pstats
import time

import numpy as np

from chargecore import engine
from underdash.review.analysis import analyse
from underdash.review.answers import answers
from underdash.review.findings import findings
from underdash.review.rows import Account, Rows
from underdash.review.text import summary

DRIVE_ROWS = 7200
NIGHT_ROWS = 700


def season(count: int, *, clamp: bool = True, seed: int = 1) -> Rows:
    """Drives of two hours with a crank, three deficits and a clamp's noise; between them nights of minutes."""
    rng = np.random.default_rng(seed)
    one = DRIVE_ROWS + NIGHT_ROWS
    drives = max(count // one, 1)
    place = np.arange(one)
    night = place < NIGHT_ROWS
    crank = (place >= NIGHT_ROWS) & (place < NIGHT_ROWS + 10)
    into = place - NIGHT_ROWS
    short = (into > 2000) & (into % 2000 < 400)
    step_s = np.where(night, 60.0, np.where(crank, 0.1, 1.0))
    state = np.select([night, crank, short], [engine.REST, engine.CRANK, engine.DISCHARGING], engine.CHARGING)
    level = np.select([night, crank, short], [12.6, 10.2, 12.3], 14.0)
    current = np.select([night, crank, short], [0.0, -120.0, -14.0], 1.0)
    total = one * drives
    t_s = np.cumsum(np.tile(step_s, drives))
    states = np.tile(state, drives)
    change = np.concatenate([[True], np.diff(states) != 0])
    begins = np.flatnonzero(change)
    since_s = (t_s - np.tile(step_s, drives))[begins][np.cumsum(change) - 1]
    volts = np.tile(level, drives) + rng.normal(0.0, 0.02, total)
    noise = rng.normal(0.0, 1.0, total) * np.where(states == engine.REST, 0.05, 1.0)
    amps = np.tile(current, drives) + noise if clamp else np.full(total, np.nan)
    warnings = np.where(states == engine.DISCHARGING, engine.WARN_DISCHARGING, 0)
    return Rows(
        np.ones(total, dtype=np.int64), t_s, volts - 0.02, volts, volts + 0.02, amps, states, warnings, since_s
    )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=3_600_000)
    parser.add_argument("--profile", action="store_true")
    options = parser.parse_args()
    analyse("warm", season(20_000), Account())
    for clamp in (True, False):
        rows = season(options.rows, clamp=clamp)
        profile = cProfile.Profile()
        if options.profile:
            profile.enable()
        begun, worked = time.perf_counter(), time.process_time()
        report = analyse("season", rows, Account())
        analysed = time.perf_counter()
        report["findings"] = findings(report)
        report["answers"] = answers(report)
        words = summary(report)
        told, worked = time.perf_counter(), time.process_time() - worked
        profile.disable()
        if options.profile:
            pstats.Stats(profile).sort_stats("tottime").print_stats(18)
        print(
            f"{'clamp' if clamp else 'volts'}: {len(rows):,} rows, {len(report['drives'])} drives: "
            f"{analysed - begun:.2f} s, words {told - analysed:.2f} s, "
            f"processor {worked:.2f} s, {len(words.splitlines())} lines"
        )


if __name__ == "__main__":
    main()
