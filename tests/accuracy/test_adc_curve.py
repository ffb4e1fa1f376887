"""Measured converters: the promise after five points, and files that are no curves."""

from dataclasses import replace
from pathlib import Path

import accuracy_tables as tables
import numpy as np
import pytest

from chargecore.calibration import UNFOLDED_MAX, unfold
from conftest import measured_data
from underdash.frontend import accuracy, curve, parts
from underdash.frontend.constants import constants
from underdash.frontend.parts import Values
from underdash.problems import DataError, UsageError

WIDE = (511, 1535, 2559, 3583)
DEVICES = (1, 2, 3)


def write_curve(path: Path, wider: float = 8.64, offset: float = 14.0, bend: tuple[int, float] = (0, 0.0)) -> Path:
    """A converter made by hand, every fourth step: four wide codes, and one more that is wider by `bend`."""
    widths = np.ones(4096)
    widths[list(WIDE)] += wider
    widths[bend[0]] += bend[1]
    begins = np.concatenate([[0.0], np.cumsum(widths)]) - 0.5
    steps = np.arange(0, 32768, 4)
    codes = np.interp(steps / STEPS_A_CODE + offset, begins, np.arange(4097.0)) - 0.5
    codes = np.clip(codes, 0, 4095)
    path.write_text(curve.HEADER + "\n" + "".join(f"{s},{c:.3f}\n" for s, c in zip(steps, codes, strict=True)))
    return path


STEPS_A_CODE = 32768 / (UNFOLDED_MAX / 16)


def full_scale_of(volts: float) -> Values:
    """The shipped front end with another lower arm."""
    values = parts.load()
    upper = values["R2"]["ohms"] + values["R3"]["ohms"]
    r4 = values["R4"]
    ohms = upper / (volts / constants(values).reference - 1)
    changed = replace(values, parts={**values.parts, "R4": replace(r4, figures={**r4.figures, "ohms": ohms})})
    assert constants(changed).full_scale == pytest.approx(volts)
    return changed


@pytest.mark.parametrize("device", DEVICES)
def test_the_promise_on_each_measured_converter(device: int) -> None:
    report = curve.report(parts.load(), measured_data("rp2040-adc") / f"device{device}.csv")
    errors, both = report["errors_mv"], report["with_meter_mv"]["five_point"]
    near, wide = errors["five_point"]["11.6-15.6"], errors["five_point"]["6-18"]
    assert near["largest"] <= 5.0
    assert near["rms"] <= 2.0
    assert wide["largest"] <= 50.0
    assert report["goal_met"]
    assert near["rms"] < errors["two_point"]["11.6-15.6"]["rms"] < errors["uncalibrated"]["11.6-15.6"]["rms"]
    assert near["largest"] <= errors["two_point"]["11.6-15.6"]["largest"]
    # The meter's own error comes on top: its 0.1 % where the volts are highest, or a little less.
    assert report["meter"]["alone_mv"] == {"11.6-15.6": 15.6, "6-18": 18.0}
    assert 13.5 < both["11.6-15.6"]["largest"] <= near["largest"] + 15.6 + 0.5
    assert report["median_mv"]["five_point"]["11.6-15.6"]["largest"] <= near["largest"]
    # The rows of the file by themselves are noisier, and the report says by how much.
    assert report["single_rows_mv"]["five_point"]["11.6-15.6"]["rms"] > near["rms"]
    assert 0 <= report["single_rows_beyond_goal_percent"]["11.6-15.6"] < 1.0


@pytest.mark.parametrize("device", DEVICES)
def test_the_promise_holds_with_widths_to_which_the_chip_did_not_contribute(device: int) -> None:
    path = measured_data("rp2040-adc") / f"device{device}.csv"
    with tables.unfolded_by(tables.one_width(left_out=device)):
        near, wide = (tables.five_points(path)[span] for span in curve.SPANS)
    assert near["largest"] <= 5.0 and near["rms"] <= 2.0 and wide["largest"] <= 50.0


def test_the_published_widths_are_the_firmwares() -> None:
    assert round(sum(tables.means()) / 4 * 16) == unfold(4000 * 16) / 1 - 4000 * 16 - 3 * 138 == 138
    shipped = tables.unfolding(tables.one_width())
    assert all(shipped(code) == unfold(code) for code in range(0, 65536))


def test_the_budgets_figures_for_the_converter_are_the_measured_ones() -> None:
    values = parts.load()
    folder = measured_data("rp2040-adc")
    found = [curve.report(values, folder / f"device{device}.csv")["errors_mv"]["five_point"] for device in DEVICES]
    step_mv = constants(values).full_scale * 16 / UNFOLDED_MAX * 1000
    for limit, what in ((accuracy.LINE_LARGEST, "largest"), (accuracy.LINE_RMS, "rms")):
        worst = max(errors["11.6-15.6"][what] for errors in found) / step_mv
        assert 0.93 * limit < worst <= limit, what


def test_a_converter_that_is_as_the_firmware_believes_is_read_right(tmp_path: Path) -> None:
    report = curve.report(parts.load(), write_curve(tmp_path / "ideal.csv"))
    errors = report["errors_mv"]
    for name in ("uncalibrated", "two_point", "five_point"):
        # Rounding to millivolts and to sixteenths; the digits of the meter.
        assert errors[name]["11.6-15.6"]["largest"] < 1.8, name
        assert errors[name]["6-18"]["largest"] < 5.0, name
    metered = report["with_meter_mv"]["five_point"]["11.6-15.6"]["largest"]
    assert metered == pytest.approx(15.6, abs=1.8)


def test_a_bent_converter_is_told(tmp_path: Path) -> None:
    report = curve.report(parts.load(), write_curve(tmp_path / "bent.csv", bend=(3000, 6.0)))
    assert not report["goal_met"]
    assert report["errors_mv"]["five_point"]["11.6-15.6"]["largest"] > 10
    assert "NOT met" in curve.text(report)


def test_a_full_scale_that_brings_a_wide_code_among_the_volts_that_matter_is_told() -> None:
    path = measured_data("rp2040-adc") / "device1.csv"
    for volts in (20.0, 15.5):
        report = curve.report(full_scale_of(volts), path)
        assert not report["goal_met"], volts
        assert report["errors_mv"]["five_point"]["11.6-15.6"]["largest"] > 10, volts


def test_the_table_has_what_the_report_has() -> None:
    report = curve.report(parts.load(), measured_data("rp2040-adc") / "device2.csv")
    lines = curve.text(report).splitlines()
    assert all(len(line) < 160 for line in lines)
    shown = {line[:34].strip(): line[34:].split() for line in lines}
    for title, name in (("uncalibrated", "uncalibrated"), ("two-point", "two_point"), ("five-point", "five_point")):
        cells = report["errors_mv"][name]
        assert [float(word) for word in shown[title]] == [
            cells[span][what] for span in curve.SPANS for what in ("largest", "rms")
        ]
    assert shown["the meter alone, 0.1 %"] == ["15.60", "18.00"]


def lines_of(tmp_path: Path) -> list[str]:
    return write_curve(tmp_path / "whole.csv").read_text().splitlines()


@pytest.mark.parametrize(
    ("line", "text", "words"),
    [
        (1, "step,code", "begins with dac_step_of_32768,mean_code_of_4096"),
        (7, "20,twelve", "is not two numbers"),
        (7, "20", "is not two numbers"),
        (7, "20,19.1,3", "is not two numbers"),
        (7, "nan,19.1", "outside 0 to 32768"),
        (7, "20,nan", "outside 0 to 4095"),
        (7, "20,4096", "outside 0 to 4095"),
        (7, "-20,19", "outside 0 to 32768"),
        (7, "16,19", "steps must rise"),
        (7, "2000,300", "at least every 32 steps"),
        (2000, "7992,100", "do not fall"),
    ],
)
def test_what_is_no_curve_is_refused_with_its_line(tmp_path: Path, line: int, text: str, words: str) -> None:
    lines = lines_of(tmp_path)
    lines[line - 1] = text
    path = tmp_path / "bad.csv"
    path.write_text("\n".join(lines))
    with pytest.raises(UsageError) as refused:
        curve.read(path)
    message = str(refused.value)
    assert message.startswith(f"{path}:{line}: ") and words in message and "\n" not in message


def test_a_curve_that_is_empty_short_or_missing_is_refused(tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    for text, words in (
        ("", "an empty file"),
        (lines[0], "no row"),
        ("\n".join(lines[:6000]), "too few points: has from step 0 to 23992"),
        ("\n".join([lines[0], *lines[200:]]), "from step 796"),
    ):
        path = tmp_path / "short.csv"
        path.write_text(text)
        with pytest.raises(UsageError, match=words):
            curve.read(path)
    with pytest.raises(UsageError, match="no such file"):
        curve.read(tmp_path / "none.csv")


def test_windows_line_ends_and_a_mark_are_no_mistake(tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    path = tmp_path / "windows.csv"
    path.write_bytes(b"\xef\xbb\xbf" + "\r\n".join([*lines, "", ""]).encode())
    assert len(curve.read(path).steps) == len(lines) - 1


def test_a_front_end_that_leaves_nothing_to_read_is_told(tmp_path: Path) -> None:
    path = write_curve(tmp_path / "ideal.csv")
    with pytest.raises(DataError, match="reads the same at all calibration points"):
        curve.report(full_scale_of(8.0), path)
    with pytest.raises(UsageError, match="leaves the converter nothing to read at 6 V"):
        curve.report(full_scale_of(8000.0), write_curve(tmp_path / "low.csv", offset=0.0))
    with pytest.raises(DataError, match="no calibration fits this converter and divider: bus_gain_nv"):
        curve.report(full_scale_of(4000.0), path)


def test_averaging_keeps_a_straight_line_straight() -> None:
    steps = np.cumsum(np.random.default_rng(1).uniform(1, 30, 500))
    line = curve.Curve(Path("line"), steps, steps / 8 + 14)
    averaged = line.averaged()
    assert averaged.codes == pytest.approx(averaged.steps / 8 + 14, abs=1e-9)
    assert averaged.steps[[0, -1]] == pytest.approx(steps[[0, -1]])
    assert averaged.steps[10] == pytest.approx(steps[8:13].mean())
