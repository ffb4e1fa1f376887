"""What a measured converter makes of the bus volts: errors uncalibrated, and after calibration.

A curve file has the header `dac_step_of_32768,mean_code_of_4096` and a row for each voltage that was
put on the pin: in 1/32768 of the reference span, with the mean of READINGS_A_ROW 12-bit codes.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chargecore import calibration
from chargecore.units import ABSENT
from underdash.calibrate.fit import fit_line
from underdash.frontend.constants import constants
from underdash.frontend.parts import Values
from underdash.problems import DataError, UsageError, readable

Array = NDArray[np.float64]

HEADER = "dac_step_of_32768,mean_code_of_4096"
STEPS = 32768
READINGS_A_ROW = 12
# A sample of the firmware is the mean of 64 readings: five neighbouring rows are 60.
ROWS_A_SAMPLE = 5
# A calibration averages thousands of readings at a steady voltage. The file has 252 within 22 mV (at a full
# scale of 18 V), which are still noisier.
ROWS_A_POINT = 21

POINTS = {"two_point": (12.0, 15.0), "five_point": (11.8, 12.6, 13.5, 14.4, 15.4)}
SPANS = {"11.6-15.6": (11.6, 15.6), "6-18": (6.0, 18.0)}
# What is promised after five points [mV].
GOAL = {"11.6-15.6": {"largest": 5.0, "rms": 2.0}, "6-18": {"largest": 50.0}}

# The bench (common practice, no source): how far from a point the supply stands, uniform [V]; the meter's
# last digit [V], its noise [V rms] and the limit of its own error, as a share of the reading.
SUPPLY_SPREAD = 0.020
METER_DIGIT = 0.001
METER_NOISE = 0.0003
METER_CLASS = 0.001
CALIBRATIONS = 30

_LARGEST_GAP = 32  # wide codes are some 70 steps long, and must not fall between two rows
_LARGEST_FALL = 8.0  # codes by which noise may let a curve fall
_ENDS = (328, 32440)  # a curve must reach from 1 % to 99 % of the span


@dataclass(frozen=True)
class Curve:
    """steps: of 1/32768 of the reference span. codes: mean 12-bit codes there. Same shape (n,)."""

    path: Path
    steps: Array
    codes: Array

    def averaged(self, rows: int = ROWS_A_SAMPLE) -> "Curve":
        """Each row with its neighbours, so many in all (fewer at the ends, always as many on either side)."""
        count = len(self.steps)
        index = np.arange(count)
        half = np.minimum(np.minimum(index, count - 1 - index), rows // 2)
        sums = [np.concatenate([[0.0], np.cumsum(column)]) for column in (self.steps, self.codes)]
        steps, codes = ((total[index + half + 1] - total[index - half]) / (2 * half + 1) for total in sums)
        return Curve(self.path, steps, codes)


def read(path: Path) -> Curve:
    """Read a curve file. UsageError, in one line with the row's line number, if it is not one."""
    with readable(path):
        lines = path.read_bytes().decode("utf-8-sig", "replace").splitlines()
    if not lines or lines[0].strip() != HEADER:
        found = lines[0].strip()[:60] if lines else "an empty file"
        raise UsageError(f"{path}:1: the header is {found!r}; a converter's curve begins with {HEADER}")
    rows: list[tuple[float, float]] = []
    highest = 0.0
    for number, line in enumerate(lines[1:], 2):
        if not line.strip():
            continue
        step, code = _row(path, number, line)
        if rows and step <= rows[-1][0]:
            raise UsageError(f"{path}:{number}: step {step:g} after {rows[-1][0]:g}; steps must rise from row to row")
        if rows and step - rows[-1][0] > _LARGEST_GAP:
            raise UsageError(
                f"{path}:{number}: too few points: step {step:g} after {rows[-1][0]:g}; "
                f"measure at least every {_LARGEST_GAP} steps"
            )
        if code < highest - _LARGEST_FALL:
            raise UsageError(
                f"{path}:{number}: code {code:g} after {highest:g}; a converter's codes do not fall as its input rises"
            )
        highest = max(highest, code)
        rows.append((step, code))
    if not rows or rows[0][0] > _ENDS[0] or rows[-1][0] < _ENDS[1]:
        reach = f"from step {rows[0][0]:g} to {rows[-1][0]:g}" if rows else "no row"
        raise UsageError(
            f"{path}:{len(lines)}: too few points: has {reach}; measure from {_ENDS[0]} or below to {_ENDS[1]} or above"
        )
    table = np.array(rows)
    return Curve(path, table[:, 0], table[:, 1])


def _row(path: Path, number: int, line: str) -> tuple[float, float]:
    fields = line.split(",")
    try:
        step, code = (float(field) for field in fields)
    except ValueError:
        raise UsageError(f"{path}:{number}: {line.strip()[:60]!r} is not two numbers with a comma between") from None
    if not 0 <= step <= STEPS:
        raise UsageError(f"{path}:{number}: step {step:g} is outside 0 to {STEPS}")
    if not 0 <= code <= 4095:
        raise UsageError(f"{path}:{number}: code {code:g} is outside 0 to 4095")
    return step, code


def report(values: Values, path: Path) -> dict[str, Any]:
    """The errors [mV] of a front end with this converter over SPANS: uncalibrated, two-point, five-point.

    `errors_mv` is without the meter's own error; `with_meter_mv` with a meter at either limit of its
    class; `single_rows_mv` judges each row of the file by itself, with the noise of its few readings.
    Of CALIBRATIONS calibrations, each with its own chances of supply and meter, the worst counts;
    `median_mv` is the one in the middle. UsageError if the file is no curve, or the front end leaves
    the converter nothing to read.
    """
    full_scale = constants(values).full_scale
    curve = read(path)
    bench = _Bench(curve.averaged(ROWS_A_POINT), full_scale)
    sample, single = _Reader(curve.averaged(), full_scale), _Reader(curve, full_scale)
    nominal = sample.errors([calibration.Calibration()])
    found: dict[str, dict[str, Any]] = {name: {} for name in ("worst", "median", "metered", "single")}
    for name, points in POINTS.items():
        plain, metered = (
            [bench.calibrate(points, seed, share) for share in shares for seed in range(CALIBRATIONS)]
            for shares in ((0.0,), (-METER_CLASS, METER_CLASS))
        )
        errors = sample.errors(plain)
        found["worst"][name] = _summary(errors, np.max)
        found["median"][name] = _summary(errors, np.median)
        found["metered"][name] = _summary(sample.errors(metered), np.max)
        found["single"][name] = _summary(single.errors(plain), np.max)
    beyond = {
        span: round(float(single.shares_beyond(plain, span, limits["largest"]).max()) * 100, 2)
        for span, limits in GOAL.items()
    }
    five = found["worst"]["five_point"]
    return {
        "adc_curve": str(path),
        "values": str(values.path),
        "rows": len(curve.steps),
        "full_scale_v": round(full_scale, 4),
        "points_v": {name: list(points) for name, points in POINTS.items()},
        "calibrations": CALIBRATIONS,
        "readings_averaged": ROWS_A_SAMPLE * READINGS_A_ROW,
        "errors_mv": {"uncalibrated": _summary(nominal, np.max), **found["worst"]},
        "median_mv": found["median"],
        "meter": {
            "class_percent": METER_CLASS * 100,
            "alone_mv": {span: round(high * METER_CLASS * 1000, 2) for span, (_, high) in SPANS.items()},
        },
        "with_meter_mv": found["metered"],
        "single_rows_mv": found["single"],
        "single_rows_beyond_goal_percent": beyond,  # after five points, the last of POINTS
        "goal_mv": GOAL,
        "goal_met": all(five[span][what] <= most for span, limits in GOAL.items() for what, most in limits.items()),
    }


class _Bench:
    """A board with this converter, a supply and a meter."""

    def __init__(self, curve: Curve, full_scale: float) -> None:
        self._path = curve.path
        self._volts, self._codes = curve.steps / STEPS * full_scale, curve.codes

    def calibrate(self, points: tuple[float, ...], seed: int, meter_share: float) -> calibration.Calibration:
        """The supply stands near each point, the meter (off by this share) shows a figure, the board reads."""
        chance = np.random.default_rng(seed)
        volts = np.array(points) + chance.uniform(-SUPPLY_SPREAD, SUPPLY_SPREAD, len(points))
        codes = np.interp(volts, self._volts, self._codes)
        readings = np.array([calibration.unfold(round(code * 16)) for code in codes], dtype=np.float64)
        if np.ptp(readings) < 16 * len(points):
            raise DataError(
                f"{self._path}: the converter reads the same at all calibration points; measure its curve again, or "
                "look at the divider's resistors"
            )
        shown = volts * (1 + meter_share) + chance.normal(0.0, METER_NOISE, len(points))
        found = calibration.Calibration()
        line = fit_line(readings, np.rint(shown / METER_DIGIT) * METER_DIGIT)
        found.bus_zero, found.bus_gain_nv = line.bus_zero, line.bus_gain_nv
        if problem := calibration.check(vars(found)):
            raise DataError(f"no calibration fits this converter and divider: {problem}")
        return found


class _Reader:
    """What the firmware makes of the volts within SPANS, through this converter."""

    def __init__(self, curve: Curve, full_scale: float) -> None:
        volts, codes = curve.steps / STEPS * full_scale, curve.codes
        lowest, highest = min(low for low, _ in SPANS.values()), max(high for _, high in SPANS.values())
        if full_scale < highest:  # beyond its range the converter stays where it is
            beyond = np.arange(full_scale, highest, 0.005)
            volts, codes = np.concatenate([volts, beyond]), np.concatenate([codes, np.full(len(beyond), codes[-1])])
        inside = (volts >= lowest) & (volts <= highest)
        self._volts = volts[inside]
        self._codes = [round(code * 16) for code in codes[inside]]
        if not self._codes or calibration.Calibration().bus_mv(self._codes[0]) == ABSENT:
            raise UsageError(
                f"a full scale of {full_scale:.4g} V leaves the converter nothing to read at {lowest:g} V; "
                "look at the divider's resistors"
            )

    def errors(self, calibrations: list[calibration.Calibration]) -> dict[str, Array]:
        """Over each of SPANS, for each calibration: its largest and its rms error [mV], shape (2, n)."""
        result = {}
        for span, part in self._each(calibrations).items():
            result[span] = np.array([np.abs(part).max(axis=1), np.sqrt((part**2).mean(axis=1))])
        return result

    def shares_beyond(self, calibrations: list[calibration.Calibration], span: str, limit: float) -> Array:
        """Of the rows of a span, the share whose error is beyond the limit [mV], for each calibration."""
        return np.asarray((np.abs(self._each(calibrations)[span]) > limit).mean(axis=1), dtype=np.float64)

    def _each(self, calibrations: list[calibration.Calibration]) -> dict[str, Array]:
        """The error [mV] of each row of each of SPANS (second axis) for each calibration (first)."""
        rows = []
        for each in calibrations:
            convert: Callable[[int], int] = each.bus_mv
            rows.append([convert(code) for code in self._codes] - self._volts * 1000)
        table = np.array(rows)
        return {span: table[:, (self._volts >= low) & (self._volts <= high)] for span, (low, high) in SPANS.items()}


def _summary(errors: dict[str, Array], of: Callable[..., Any]) -> dict[str, dict[str, float]]:
    """The largest and the rms error [mV] over each of SPANS: the worst (np.max) or the median of the calibrations'."""
    return {
        span: {what: round(float(value), 2) for what, value in zip(("largest", "rms"), of(table, axis=1), strict=True)}
        for span, table in errors.items()
    }


_TITLES = {"uncalibrated": "uncalibrated", "two_point": "two-point", "five_point": "five-point"}


def text(report: dict[str, Any]) -> str:
    """The report as a table for a terminal."""
    spans = list(SPANS)
    title = f"errors [mV], worst of {report['calibrations']}"
    lines = [
        f"{report['adc_curve']}: {report['rows']} rows, full scale {report['full_scale_v']:.3f} V",
        f"{title:<34}" + "".join(f"{span + ' V':>20}" for span in spans),
        " " * 34 + f"{'largest':>12}{'rms':>8}" * len(spans),
    ]

    def row(title: str, cells: dict[str, dict[str, float]]) -> None:
        lines.append(f"{title:<34}" + "".join(f"{cells[s]['largest']:>12.2f}{cells[s]['rms']:>8.2f}" for s in spans))

    for name, cells in report["errors_mv"].items():
        row(_TITLES[name], cells)
    row("five-point, the median of them", report["median_mv"]["five_point"])
    meter = report["meter"]
    alone = f"the meter alone, {meter['class_percent']:g} %"
    lines.append(f"{alone:<34}" + "".join(f"{meter['alone_mv'][span]:>12.2f}{'':>8}" for span in spans).rstrip())
    for name, cells in report["with_meter_mv"].items():
        row(f"{_TITLES[name]} and meter", cells)
    row(f"five-point, rows of {READINGS_A_ROW} readings", report["single_rows_mv"]["five_point"])
    wanted = "; ".join(
        f"over {span} V " + ", ".join(f"{what} {most:g}" for what, most in limits.items())
        for span, limits in report["goal_mv"].items()
    )
    lines += [
        f"Five-point goal: {wanted}: {'met' if report['goal_met'] else 'NOT met'}.",
        f"A reading is the mean of {report['readings_averaged']} of the file's, as a sample of the board's is of 64. "
        "The last row of the table judges each",
        f"row of the file alone, with its own noise: {report['single_rows_beyond_goal_percent']['11.6-15.6']:g} % of "
        f"them are then beyond {report['goal_mv']['11.6-15.6']['largest']:g} mV. Uncalibrated includes",
        "the recorder's own error of span.",
    ]
    return "\n".join(lines)
