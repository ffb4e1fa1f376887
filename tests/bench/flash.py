"""What the journal costs in flash: bytes a row, wear, years. Measured in one run; the arithmetic is shown.

    .venv/bin/python tests/bench/flash.py [ARCHIVE] [--days DAYS]

The rows are those of the virtual car's evening, through the board's own row builder and engine; or, with
ARCHIVE (a board's folder, as `underdash pull` leaves it), those of that journal. DAYS (default 120, in
which the ring comes round twice): how long the wear is followed, each day an hour of driving and 23 hours of rest.
"""

import argparse
import json
import struct
import sys
import tempfile
import zlib
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "power"))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "firmware" / "lib"))

from cut_script import micropython

from chargecore import engine, frames, thresholds
from chargecore.units import ABSENT, TICKS_MASK
from monitor.sampler import RowBuilder
from underdash.archive import segments
from underdash.car.drive import simulate

Row = tuple[int, int, int, int, int, int, int, int]  # t_ms, dt_ms, low, mean, high, amps, state, warnings

CYCLES = 100_000  # program-erase cycles a sector (datasheet of the W25Q16JV; from memory)
BLOCKS = 352
SAMPLE_NOISE_MV = 0.6  # what is left of the converter's noise after 64 readings (invented: one step / 8)
RAW = "<IHHHhBB"  # a row as plain numbers: t_ms, low, mean, high, amps in 50 mA, state, warnings
FLUSH_ROWS = 60


def evening() -> list[Row]:
    """The rows that a board would journal of the virtual car's evening."""
    drive = simulate()
    stride = round(0.1 / drive.step_s)
    noise = np.random.default_rng(5).normal(0.0, SAMPLE_NOISE_MV, len(drive.t_s[::stride]))
    limits = thresholds.Thresholds()
    judge = engine.Engine(limits)
    rows: list[Row] = []

    def take(t_ms: int, low_mv: int, bus_mv: int, high_mv: int, clamp_ma: int) -> None:
        state = judge.step(t_ms & TICKS_MASK, low_mv, bus_mv, high_mv, clamp_ma)
        dt_ms = t_ms - rows[-1][0] if rows else 1000
        rows.append((t_ms, dt_ms, low_mv, bus_mv, high_mv, clamp_ma, state, judge.warnings))

    builder = RowBuilder(take, limits.crank_mv, limits.crank_mv + limits.hysteresis_mv)
    volts, amps = drive.volts[::stride] * 1000 + noise, drive.amps[::stride] * 1000
    for index, (mv, ma) in enumerate(zip(volts.tolist(), amps.tolist(), strict=True)):
        builder.push(index * 100, round(mv), round(ma))
    return rows


def from_archive(source: Path) -> list[Row]:
    """Every row of a pulled journal."""
    rows: list[Row] = []
    for path in segments(source):
        for kind, payload, _ in frames.scan(path.read_bytes()):
            if kind == frames.ROWS:
                for row in frames.decode_rows(payload)[1]:
                    dt_ms = row[0] - rows[-1][0] if rows else 1000
                    rows.append((row[0], dt_ms if 0 < dt_ms < 65536 else 1000, *row[1:]))
    return rows


def plain(rows: list[Row]) -> list[bytes]:
    """The rows as structs."""

    def one(row: Row) -> bytes:
        t_ms, _, low, mean, high, amps, state, warnings = (0 if value == ABSENT else value for value in row)
        return struct.pack(RAW, t_ms & 0xFFFFFFFF, max(low, 0), max(mean, 0), max(high, 0), amps // 50, state, warnings)

    return [one(row) for row in rows]


def packed_bytes(rows: list[Row]) -> int:
    """What frames of a minute each take, without any header of a segment."""
    total = 0
    frame = frames.RowsFrame(1)
    for at in range(0, len(rows), FLUSH_ROWS):
        frame.start(at, rows[at][0] // 1000, rows[at][0] % 1000)
        for row in rows[at : at + FLUSH_ROWS]:
            if not frame.has_room():
                total += frame.close()
                frame.start(at, 0, 0)
            frame.add(*row[1:])
        total += frame.close()
    return total


def rest_rows(count: int) -> list[Row]:
    """Rows of a minute each from a parked car: volts that sink by 1 mV in ten minutes, a clamp that
    flickers by a step. Invented."""
    chance = np.random.default_rng(6)
    rows = []
    for index in range(count):
        mean = round(12680 - index / 10 + chance.normal(0.0, 0.4))
        below, above = (round(abs(chance.normal(2.5, 0.6))) for _ in range(2))
        amps = 50 * int(chance.integers(-1, 1))
        rows.append((60000 * index, 60000, mean - below, mean, mean + above, amps, engine.REST, 0))
    return rows


def size_table(rows: list[Row]) -> bool:
    """Print bytes a row in four forms; True if the journal keeps within 4."""
    raw = plain(rows)
    forms = {
        "journal, a frame a minute": packed_bytes(rows),
        f"plain struct {RAW}": sum(map(len, raw)),
        "the same, zlib -9, a minute at a time": sum(
            len(zlib.compress(b"".join(raw[at : at + FLUSH_ROWS]), 9)) for at in range(0, len(raw), FLUSH_ROWS)
        ),
        "the same, zlib -9, all at once": len(zlib.compress(b"".join(raw), 9)),
    }
    ours = next(iter(forms.values()))
    print(f"{len(rows):,} rows of driving and rest, {rows[-1][0] / 3600e3:.2f} h\n")
    print("| form | bytes a row | times the journal's |\n|---|---|---|")
    for name, size in forms.items():
        print(f"| {name} | {size / len(rows):.2f} | {size / ours:.2f} |")
    return ours / len(rows) <= 4.0


def wear(rows: list[Row], days: int) -> None:
    """Print what a day does to the flash, and for how many years it can."""
    started = next(index for index, row in enumerate(rows) if row[6] == engine.CRANK)
    hour = [row for row in rows[started:] if row[0] - rows[started][0] < 3600_000]
    rest = rest_rows(23 * 60)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.rows"
        path.write_text("".join(" ".join(map(str, row[1:])) + "\n" for row in hour + rest))
        found = json.loads(
            micropython(Path(__file__).with_name("flash_wear.py"), path, days, heap="64M", timeout_s=3000)
        )
    print("\n| | rows an hour | bytes a row | programmed per byte | commits an hour | erases an hour |")
    print("|---|---|---|---|---|---|")
    for name in ("driving", "rest"):
        one = found[name]
        hours = one["ms"] / 3600e3
        print(
            f"| {name} | {one['rows'] / hours:,.0f} | {one['journalled'] / one['rows']:.2f} "
            f"| {one['programmed'] / one['journalled']:.1f} | {one['commits'] / hours:.1f} "
            f"| {one['erases'] / hours:.1f} |"
        )
    a_day = found["worn_total"] / days
    even = CYCLES * BLOCKS / a_day / 365.25
    most, median, never = found["worn_most"], found["worn_median"], found["never"]
    life = CYCLES / (most / days) / 365.25
    print(f"""
Over {days} days with a full ring ({found["segments"]} segments, {found["held_rows"]:,} rows kept):
  erases a day                 {found["worn_total"]:,} / {days} = {a_day:.1f}
  spread evenly                {CYCLES:,} x {BLOCKS} / {a_day:.1f} / 365.25 = {even:,.0f} years
  block that was erased most   {most} times, median {median}; {never} blocks never
  that block's life            {CYCLES:,} / ({most} / {days}) / 365.25 = {life:,.0f} years
Blocks never erased hold the program, or are littlefs's own; it levels among free blocks only.""")


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("archive", type=Path, nargs="?")
    parser.add_argument("--days", type=int, default=120)
    chosen = parser.parse_args()
    rows = from_archive(chosen.archive) if chosen.archive else evening()
    within = size_table(rows)
    wear(rows, chosen.days)
    if not within:
        print("NOT AS PROMISED: more than 4.0 bytes a row")
    return 0 if within else 1


if __name__ == "__main__":
    sys.exit(main())
