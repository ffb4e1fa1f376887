"""A season's journal as a board would have written it, for benchmarks; built once, kept under build/.

The virtual car's evening again and again, each a new start of the board: two hours with rest, crank,
driving, a deficit in traffic, rest. Four simulated evenings take turns; each gets its own converter
noise and stands up to 60 mV higher or lower, as a season's batteries and weather have it (invented).
The samples go ten a second through the board's own row builder, its rule for sleeping and the
engine; the rows are committed by the journal's rules into frames and segments of its size. Then the
car stays parked for some hours, a row a minute, before the next start. No ignition sense.
"""

import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "firmware" / "lib"))

from chargecore import engine, frames, options, thresholds
from chargecore.units import ABSENT, TICKS_MASK
from monitor.rest import Rest
from monitor.sampler import REST_SAMPLE_MS, SAMPLE_MS, RowBuilder
from underdash.archive import segment_path
from underdash.car.drive import simulate

NOISE_MV = 0.6  # what is left of the converter's noise after 64 readings (invented: one step / 8)
APART_MV = 60
EVENINGS = 4
PARKED_MIN = 180
SEGMENT_BYTES, FLUSH_MS, REST_FLUSH_MS = 32768, 60_000, 1_800_000  # as monitor.journal has them

Sample = tuple[int, int]  # bus_mv, clamp_ma


def season(hours: float) -> Path:
    """The folder of a journal with 3600 rows for each of `hours` [h], or a few thousand more."""
    folder = Path("build") / "bench" / f"season-{hours:g}h"
    if not folder.exists():
        draft = folder.with_suffix(".part")
        shutil.rmtree(draft, ignore_errors=True)
        draft.mkdir(parents=True)
        _write(draft, round(hours * 3600))
        draft.replace(folder)
    return folder


def _write(folder: Path, rows: int) -> None:
    chance = np.random.default_rng(6)
    evenings = [_samples(seed) for seed in range(1, EVENINGS + 1)]
    book = Book(folder)
    while book.header.first_row < rows:
        volts, amps = evenings[book.header.boot % EVENINGS]
        noise = chance.normal(0.0, NOISE_MV, len(volts)) + chance.uniform(-APART_MV, APART_MV)
        Boot(book).live(zip(np.rint(volts + noise).astype(int).tolist(), amps, strict=True), chance)
        print(f"\r{book.header.first_row:,} of {rows:,} rows", end="", file=sys.stderr)
    print(file=sys.stderr)


def _samples(seed: int) -> tuple[np.ndarray, list[int]]:
    """An evening's samples at the board's pace: (volts [mV], amps [mA])."""
    drive = simulate(seed=seed)
    every = round(SAMPLE_MS / 1000 / drive.step_s)
    return drive.volts[::every] * 1000, np.rint(drive.amps[::every] * 1000).astype(int).tolist()


class Boot:
    """One start of the board."""

    def __init__(self, book: "Book"):
        self.book = book
        self.limits = thresholds.Thresholds()
        self.judge = engine.Engine(self.limits)
        self.now_ms = 0
        book.open(self.judge.snapshot(), new_boot=True)

    def live(self, samples: Iterator[Sample], chance: np.random.Generator) -> None:
        limits = self.limits
        builder = RowBuilder(self._row, limits.crank_mv, limits.crank_mv + limits.hysteresis_mv)
        rest = Rest(limits, options.Options())
        step_ms = SAMPLE_MS
        for bus_mv, clamp_ma in samples:
            self.now_ms += SAMPLE_MS
            if self.now_ms % step_ms:
                continue  # asleep
            rest.follow(step_ms, bus_mv, clamp_ma, self.judge.state, ABSENT, False)
            (builder.rest if rest.sleeping else builder.push)(self.now_ms, bus_mv, clamp_ma)
            step_ms = REST_SAMPLE_MS if rest.sleeping else SAMPLE_MS
        builder.close()
        for minute in range(PARKED_MIN):
            self.now_ms += 60_000
            mean_mv = round(bus_mv - minute / 10 + chance.normal(0.0, 0.4))
            below_mv, above_mv = np.rint(np.abs(chance.normal(2.5, 0.6, 2))).astype(int).tolist()
            clamp_ma = -50 * int(chance.integers(0, 2))
            self._row(self.now_ms, mean_mv - below_mv, mean_mv, mean_mv + above_mv, clamp_ma)
        self.book.commit(self.judge.snapshot())
        self.book.close()

    def _row(self, t_ms: int, low_mv: int, bus_mv: int, high_mv: int, clamp_ma: int) -> None:
        judge = self.judge
        before = judge.state, judge.warnings
        judge.step(t_ms & TICKS_MASK, low_mv, bus_mv, high_mv, clamp_ma)
        told = (judge.state, judge.warnings) != before and judge.state != engine.CRANK
        self.book.add((t_ms, low_mv, bus_mv, high_mv, clamp_ma, judge.state, judge.warnings), told, judge)


class Book:
    """Rows into frames, frames into segments, by the rules of docs/journal-format.md."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.header = frames.Header()
        self.header.board_id = bytes(range(1, 9))
        self.header.calibration.clamp_fitted = 1
        self.header.firmware = (0, 1, 0)
        self.frame = frames.RowsFrame(1)
        self.packed = bytearray()

    def open(self, snapshot: tuple[int, ...], new_boot: bool = False) -> None:
        """Begin a segment."""
        header = self.header
        header.segment += 1
        header.boot += new_boot
        header.snapshot = snapshot
        buffer = bytearray(frames.PAYLOAD_MAX + frames.OVERHEAD)
        self.packed = buffer[: header.pack(buffer)]
        self.last_ms = self.gathered_ms = 0
        self.frame.rows = 0

    def add(self, row: tuple[int, ...], told: bool, judge: engine.Engine) -> None:
        """Append a row; commit where it is time. `told`: something happened that must not be lost."""
        t_ms = row[0]
        dt_ms = t_ms - self.last_ms
        if self.frame.rows and (dt_ms > frames.PERIOD_MAX_MS or not self.frame.has_room()):
            self._seal()
        if not self.frame.rows:
            self.frame.start(self.header.first_row, t_ms // 1000, t_ms % 1000)
        self.frame.add(dt_ms, *row[1:])
        self.header.first_row += 1
        self.last_ms = t_ms
        self.gathered_ms += dt_ms
        limit_ms = REST_FLUSH_MS if judge.state in (engine.REST, engine.CRANK) else FLUSH_MS
        if told or self.gathered_ms >= limit_ms or self.frame.is_full():
            self.commit(judge.snapshot())

    def commit(self, snapshot: tuple[int, ...]) -> None:
        """Write every row so far, and begin a new segment once this one has its size."""
        self._seal()
        self.gathered_ms = 0
        if len(self.packed) >= SEGMENT_BYTES:
            last_ms = self.last_ms
            self.close()
            self.open(snapshot)
            self.last_ms = last_ms

    def close(self) -> None:
        """Put the segment where it belongs."""
        segment_path(self.folder, self.header.segment).write_bytes(self.packed)

    def _seal(self) -> None:
        if self.frame.rows:
            self.packed += memoryview(self.frame.buffer)[: self.frame.close()]
            self.frame.rows = 0


if __name__ == "__main__":
    os.chdir(Path(__file__).resolve().parents[2])
    print(season(float(sys.argv[1])))
