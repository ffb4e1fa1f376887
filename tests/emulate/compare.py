"""Pulled rows against the very codes that the converter gave, and against what was at the car."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from chargecore.calibration import Calibration
from chargecore.frames import ROWS, decode_header, decode_rows, round_clamp, scan
from chargecore.units import ABSENT
from emulate.feed import Sample

_ROUNDING_MV = 1
_CLAMP_STEP_MA = 50
_LONGEST_ROW = 700  # samples
_RESYNC_S = 2.0

Row = tuple[int, int, int, int, int, int, int]  # chargecore.frames.decode_rows


@dataclass
class Outcome:
    """Of one boot. `off_mv`, `off_ma`: row minus truth; `mv`: the truth; both in a row's order."""

    rows: int = 0
    differing: list[str] = field(default_factory=list)
    off_mv: list[float] = field(default_factory=list)
    off_ma: list[float] = field(default_factory=list)
    mv: list[float] = field(default_factory=list)
    unrecorded_s: float = 0.0
    """From the last row's last sample to the last sample of all [s]."""


def rows_by_boot(segments: Sequence[bytes]) -> dict[int, dict[int, Row]]:
    """boot -> number of the row -> row, from segments in order."""
    found: dict[int, dict[int, Row]] = {}
    boot = 0
    for data in segments:
        for kind, payload, _ in scan(data):
            if kind == 1:
                boot = decode_header(payload).boot
            elif kind == ROWS:
                number, rows = decode_rows(payload)
                found.setdefault(boot, {}).update({number + index: row for index, row in enumerate(rows)})
    return found


def compare(rows: list[Row], bus: list[Sample], clamp: list[Sample], cal: Calibration) -> Outcome:
    """Lay one boot's rows over its samples, in order and without a gap: each row must be the lowest,
    mean and highest of the samples that follow those of the row before."""
    outcome = Outcome(rows=len(rows))
    bus_mv = np.array([cal.bus_mv(sample.codes * 16 // sample.count) for sample in bus])
    clamp_ma, amps = _beside(bus, clamp, cal)
    volts = np.array([sample.truth / sample.count for sample in bus])
    at_s = np.array([sample.at_s for sample in bus])
    begin = 0
    for index, row in enumerate(rows):
        # How many samples this row should hold, by its time; the board's clock starts a little late.
        wanted = int(np.searchsorted(at_s, row[0] / 1000.0 + 0.05)) - begin
        for count in _nearest(max(wanted, 1)):
            end = begin + count
            if end <= len(bus) and _is(row, bus_mv[begin:end], clamp_ma[begin:end]):
                break
        else:
            expected = bus_mv[begin : begin + max(wanted, 1)]
            outcome.differing.append(f"row {index} at {row[0] / 1000:.1f} s: {row[1:5]}, the samples: "
                                     f"{expected.min(initial=99999)} .. {expected.max(initial=0)} mV")  # fmt: skip
            begin = int(np.searchsorted(at_s, row[0] / 1000.0 + 0.05))
            continue
        outcome.off_mv.append(row[2] - 1000.0 * float(volts[begin:end].mean()))
        outcome.mv.append(1000.0 * float(volts[begin:end].mean()))
        if row[4] != ABSENT:
            outcome.off_ma.append(row[4] - 1000.0 * float(np.nanmean(amps[begin:end])))
        begin = end
    if begin < len(bus):
        outcome.unrecorded_s = float(at_s[-1] - at_s[begin]) + 0.1
    return outcome


def _nearest(wanted: int) -> Iterator[int]:
    yield wanted
    for away in range(1, _LONGEST_ROW):
        if wanted > away:
            yield wanted - away
        yield wanted + away


def _is(row: Row, bus_mv: np.ndarray, clamp_ma: np.ndarray) -> bool:
    _, low_mv, mean_mv, high_mv, row_ma, _, _ = row
    if low_mv != bus_mv.min() or high_mv != bus_mv.max():
        return False
    if abs(mean_mv - float(bus_mv.mean())) > _ROUNDING_MV:
        return False
    known = clamp_ma[clamp_ma != ABSENT]
    if row_ma == ABSENT or not len(known):
        return row_ma == ABSENT and len(known) <= len(clamp_ma) // 2
    return abs(row_ma - round_clamp(int(known.mean()))) <= _CLAMP_STEP_MA


def _beside(bus: list[Sample], clamp: list[Sample], cal: Calibration) -> tuple[np.ndarray, np.ndarray]:
    """For each sample of the bus the clamp's that was taken with it: [mA], truth [A]."""
    milliamps = np.full(len(bus), ABSENT)
    amps = np.full(len(bus), np.nan)
    follow = 0
    for index, sample in enumerate(bus):
        while follow < len(clamp) and clamp[follow].at_s < sample.at_s:
            follow += 1
        if follow < len(clamp) and clamp[follow].at_s - sample.at_s < 0.02:
            reading = clamp[follow]
            milliamps[index] = cal.clamp_ma(reading.codes * 16 // reading.count)
            amps[index] = reading.truth / reading.count
    return milliamps, amps
