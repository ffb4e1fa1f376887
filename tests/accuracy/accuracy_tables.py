"""The tables of docs/accuracy.md: `python tests/accuracy/accuracy_tables.py` prints them, `--write` puts them there.

Needs the measured converters (UNDERDASH_DATA, else ../shared/data) and ngspice.
"""

import os
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "host"), str(ROOT / "firmware" / "lib")]

import numpy as np

from chargecore import calibration
from underdash.frontend import accuracy, curve, montecarlo, parts
from underdash.frontend.accuracy import TEMPERATURES, contributions, total
from underdash.frontend.constants import constants
from underdash.frontend.parts import Values
from underdash.problems import UnderdashError

PAGE = ROOT / "docs" / "accuracy.md"
DEVICES = (1, 2, 3)
COPIES = 1000

# By how many steps of 12 bits codes 511, 1535, 2559 and 3583 are wider than the others: five chips, from
# github.com/kitanokitsune/rp2040adc_correction at 61898dd. Three of them are the measured files.
WIDER = {
    1: (9.2, 8.5, 8.2, 8.4),
    2: (8.8, 8.5, 8.2, 8.7),
    3: (10.0, 8.1, 7.7, 10.0),
    4: (9.0, 8.1, 8.0, 8.7),
    5: (9.7, 7.9, 8.0, 9.1),
}


def unfolding(widths: tuple[float, ...]) -> Callable[[int], int]:
    """An `unfold` for these four widths [12-bit steps]."""
    sixteenths = [round(width * 16) for width in widths]

    def unfold(code: int) -> int:
        above = code - (511 * 16 - 8)
        whole = max(0, min(4, (above >> 14) + (above & 16383 >= 16))) if above >= 0 else 0
        reading = code + sum(sixteenths[:whole])
        if above >= 0 and above & 16383 < 16:
            reading += (above & 15) * sixteenths[above >> 14] >> 4
        return reading

    return unfold


@contextmanager
def unfolded_by(widths: tuple[float, ...]) -> Iterator[None]:
    """The firmware's arithmetic with other widths than its own."""
    own = calibration.unfold
    calibration.unfold = unfolding(widths)
    try:
        yield
    finally:
        calibration.unfold = own


def means(left_out: int = 0) -> tuple[float, ...]:
    """The mean width of each code over the chips but one."""
    chosen = [widths for chip, widths in WIDER.items() if chip != left_out]
    return tuple(sum(column) / len(chosen) for column in zip(*chosen, strict=True))


def one_width(left_out: int = 0) -> tuple[float, ...]:
    """The mean of all four, for each."""
    widths = means(left_out)
    return (sum(widths) / 4,) * 4


def table(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = [f"| {' | '.join(heads)} |", f"|{'---|' * len(heads)}"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)])


def cell(errors: dict[str, float]) -> str:
    return f"{errors['largest']:.1f} / {errors['rms']:.1f}"


def curves(folder: Path) -> str:
    """What three measured converters give."""
    found = [curve.report(parts.load(), folder / f"device{device}.csv") for device in DEVICES]
    rows: list[tuple[str, ...]] = []
    for title, key, name in (
        ("uncalibrated", "errors_mv", "uncalibrated"),
        ("two points, worst", "errors_mv", "two_point"),
        ("**five points, worst**", "errors_mv", "five_point"),
        ("five points, median", "median_mv", "five_point"),
        ("two points and meter, worst", "with_meter_mv", "two_point"),
        ("five points and meter, worst", "with_meter_mv", "five_point"),
        ("five points, each row of the file alone", "single_rows_mv", "five_point"),
    ):
        cells = [cell(report[key][name][span]) for span in curve.SPANS for report in found]
        rows.append((title, *cells))
    heads = [f"chip {device}, {span} V" for span in curve.SPANS for device in DEVICES]
    return table(("largest / rms [mV]", *heads), rows)


def five_points(path: Path, rows: int = curve.ROWS_A_POINT) -> dict[str, dict[str, float]]:
    """The five-point errors of curve.report alone; rows: of the file, averaged for a calibration point."""
    measured, full_scale = curve.read(path), constants(parts.load()).full_scale
    bench = curve._Bench(measured.averaged(rows), full_scale)
    found = [bench.calibrate(curve.POINTS["five_point"], seed, 0.0) for seed in range(curve.CALIBRATIONS)]
    return curve._summary(curve._Reader(measured.averaged(), full_scale).errors(found), np.max)


def widths(folder: Path) -> str:
    """The same after five points with other widths of the wide codes."""
    rows = []
    for title, chosen in (
        ("one, mean of five chips (as shipped)", lambda device: one_width()),
        ("one, mean of the four others", one_width),
        ("one for each code, mean of five", lambda device: means()),
        ("one for each code, mean of the four others", means),
        ("none", lambda device: (0.0,) * 4),
    ):
        cells = []
        for device in DEVICES:
            with unfolded_by(chosen(device)):
                found = five_points(folder / f"device{device}.csv")
            cells += [cell(found[span]) for span in curve.SPANS]
        rows.append((title, *cells))
    heads = [f"chip {device}, {span} V" for device in DEVICES for span in curve.SPANS]
    return table(("width of the wide codes", *heads), rows)


def averaging(folder: Path) -> str:
    """What it matters how many of a file's rows make a calibration point."""
    rows = []
    for count in (1, 5, 11, curve.ROWS_A_POINT, 41):
        found = [five_points(folder / f"device{device}.csv", count) for device in DEVICES]
        shipped = " (as shown above)" if count == curve.ROWS_A_POINT else ""
        errors = [each["11.6-15.6"] for each in found]
        cells = [f"{each['largest']:.2f} / {each['rms']:.2f}" for each in errors]
        rows.append((f"{count}, {count * curve.READINGS_A_ROW} readings{shipped}", *cells))
    return table(("rows a point", *(f"chip {device}, 11.6-15.6 V" for device in DEVICES)), rows)


def budget(index: int) -> str:
    """The budget of one choice of reference."""
    choice = accuracy.budget(parts.load())["choices"][index]
    keys = ("before_25", "before_cabin", "after_25", "after_cabin")
    rows = [
        (entry["name"], entry["type"], *(f"{max(map(abs, entry[key]['limits'])):.1f}" for key in keys))
        for entry in choice["contributions"]
    ]
    for title, group, what in (
        ("shift, the middle of the limits", "totals", "shift"),
        ("standard uncertainty, rss", "totals", "standard"),
        ("**shift and twice the standard uncertainty**", "totals", "expanded"),
        ("**worst case**", "totals", "worst"),
        ("without the meter: shift and twice", "totals_without_meter", "expanded"),
        ("without the meter: worst case", "totals_without_meter", "worst"),
    ):
        rows.append((title, "", *(f"{choice[group][key][what]:.1f}" for key in keys)))
    heads = ("largest error [mV]", "type", "before, 25 °C", "before, 0 to 50 °C", "after, 25 °C", "after, 0 to 50 °C")
    return f"Reference: {choice['reference']}.\n\n{table(heads, rows)}"


def sources() -> str:
    """Where each contribution's figure comes from."""
    found = {}
    for choice in accuracy.budget(parts.load())["choices"]:
        for entry in choice["contributions"]:
            found[entry["name"]] = entry["source"]
    return table(("contribution", "source"), list(found.items()))


def drawn() -> str:
    """The Monte Carlo beside the budget."""
    rows = []
    for title, values in references().items():
        spread = montecarlo.spread(values, COPIES)
        circuit = [part for part in contributions(values) if part.circuit]
        for calibrated, errors in ((False, spread.before), (True, spread.after)):
            for index, celsius in enumerate(TEMPERATURES):
                expected = total(circuit, index, calibrated)
                found = errors[index]
                rows.append(
                    (title, "after" if calibrated else "before", f"{celsius:g}",
                     *(f"{value:.1f}" for value in (found.mean(), expected.shift, found.std(ddof=1),
                                                    expected.standard, abs(found).max(), expected.worst)))
                )  # fmt: skip
    heads = (
        "reference",
        "calibration",
        "°C",
        "mean",
        "budget",
        "standard deviation",
        "budget",
        "largest",
        "worst case",
    )
    return table(heads, [tuple(value.replace("-0.0", "0.0") for value in row) for row in rows])


def references() -> dict[str, Values]:
    """The front end with either reference."""
    values = parts.load()
    plain = [option for option in values.fitted if option != "reference"]
    return {"board": values.with_options(plain), "shunt": values.with_options([*plain, "reference"])}


def better() -> str:
    """What better parts would leave over the cabin's range, after calibration, without the meter."""

    def changed(values: Values, ref: str, **figures: float) -> Values:
        part = values[ref]
        return replace(values, parts={**values.parts, ref: replace(part, figures={**part.figures, **figures})})

    board, shunt = references().values()
    tight = changed(shunt, "U2", tempco_ppm=15.0)
    clean = changed(tight, "D5", saturation_amps=1e-9)
    cool = clean
    for ref in ("R2", "R3", "R4", "R25"):
        cool = changed(cool, ref, tempco_ppm=10.0)
    rows = []
    for title, values in (
        ("as shipped, board's reference", board),
        ("with the shunt reference at its limit, 100 ppm/K", shunt),
        ("with one of 15 ppm/K", tight),
        ("and a clamping diode that leaks 1 nA at 25 °C", clean),
        ("and resistors of 10 ppm/K", cool),
    ):
        found = [part for part in contributions(values) if part.rule != accuracy.NEW]
        ends = [total(found, index, True) for index in (0, 2)]
        rows.append((title, f"{max(end.expanded for end in ends):.0f}", f"{max(end.worst for end in ends):.0f}"))
    return table(
        ("after calibration, 0 to 50 °C, meter left out [mV]", "shift and twice the standard", "worst case"), rows
    )


def sections(folder: Path) -> dict[str, Callable[[], str]]:
    return {
        "curves": lambda: curves(folder),
        "averaging": lambda: averaging(folder),
        "widths": lambda: widths(folder),
        "budget board": lambda: budget(0),
        "budget shunt": lambda: budget(1),
        "better": better,
        "monte carlo": drawn,
        "sources": sources,
    }


def fill(page: str, made: dict[str, str]) -> str:
    """The page with these tables between their markers."""
    for name, text in made.items():
        block = re.compile(f"(<!-- table: {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        page, count = block.subn(lambda found, text=text: f"{found[1]}\n{text}\n\n{found[2]}", page)
        assert count == 1, f"{PAGE.name} has {count} places for the table {name!r}"
    return page


def main(arguments: list[str]) -> None:
    folder = Path(os.environ.get("UNDERDASH_DATA", ROOT.parent / "shared" / "data")) / "rp2040-adc"
    made: dict[str, Any] = {name: make() for name, make in sections(folder).items()}
    if arguments == ["--write"]:
        PAGE.write_text(fill(PAGE.read_text("utf-8"), made), "utf-8")
    else:
        print("\n\n".join(f"{name}\n\n{text}" for name, text in made.items()))


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except UnderdashError as problem:
        sys.exit(f"accuracy_tables: {problem}")
