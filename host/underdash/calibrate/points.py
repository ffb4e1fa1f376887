"""Points: what the meter said and what the board read, typed at the bench or read from a CSV file."""

import csv
import io
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chargecore.calibration import UNFOLDED_MAX, unfold
from chargecore.units import CODE_MAX
from underdash.problems import DataError, UsageError, readable

_CODES = np.arange(CODE_MAX + 1)
_READINGS = np.array([unfold(int(code)) for code in _CODES])


@dataclass(frozen=True)
class Point:
    """One point. meter [V], or [A] times turns; text: as typed, for its digits; code [1/16 step]: mean of what
    `status` told; reading: mean of the same, unfolded; spread [units]: their standard deviation, nan if
    not known; count of them; how it was got, in words; turns of the wire through the clamp; supply: mean code of
    the clamp sensor's supply, 0 if it is not known."""

    meter: float
    text: str
    code: float
    reading: float
    spread: float
    count: int
    how: str
    turns: int = 1
    supply: float = 0.0


def unfolded(code: float) -> float:
    """A mean code [1/16 step] as a reading; between whole codes along the straight line."""
    return float(np.interp(code, _CODES, _READINGS))


def folded(reading: float) -> float:
    """The code [1/16 step] that a reading came from."""
    return float(np.interp(reading, _READINGS, _CODES))


def number(text: str, unit: str = "V") -> float:
    """What a person typed: `13.52`, `13,52`, `13.52 V`. ValueError with the reason and the remedy."""
    plain = text.strip()
    if plain.lower().endswith("m" + unit.lower()):
        raise ValueError(f"{text.strip()!r} is in m{unit}: type it in {unit}, as 13.52")
    if plain.lower().endswith(unit.lower()):
        plain = plain[: -len(unit)].strip()
    if re.fullmatch(r"[+-]?(\d+,\d*|,\d+)", plain):
        plain = plain.replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", plain):
        raise ValueError(f"{text.strip()!r} is not a number: type digits with one decimal point, as 13.52")
    return float(plain)


def decimals(text: str) -> int:
    """How many digits stand behind the decimal point."""
    return len(re.sub(r"\D", "", re.split(r"[.,]", text.strip(), maxsplit=1)[1])) if re.search(r"[.,]", text) else 0


# -- CSV --------------------------------------------------------------------------------------

_UNDER = ("bus_gain_nv", "bus_zero")  # columns: the calibration under which shown_volts were shown


@dataclass(frozen=True)
class _Row:
    place: str
    cells: dict[str, str]

    def value(self, name: str, least: float, most: float, why: str) -> float:
        text = self.cells[name]
        try:
            found = number(text)
        except ValueError as problem:
            raise UsageError(f"{self.place}: {name} {problem}") from None
        if not least <= found <= most:
            raise DataError(f"{self.place}: {name} is {text}: must be {least:g} to {most:g}; {why}")
        return found


def _silent(text: str) -> None:
    pass


def read_volts(
    path: Path, present: tuple[int, int] | None = None, note: Callable[[str], None] = _silent
) -> list[Point]:
    """Points from a CSV file with the columns meter_volts and bus_code, or meter_volts and shown_volts.

    present: the bus_gain_nv and bus_zero that the board has, which turn shown volts into a reading; None where no
    board is there to tell them. Optional columns: spread [1/16 step], count; bus_gain_nv and bus_zero: those under
    which shown_volts were shown, refused if they are not `present`. note is told what is no reason to refuse.
    UsageError with the line for what is malformed, DataError for what cannot be.
    """
    points = []
    rows = _rows(path, "meter_volts", ("bus_code", "shown_volts"), ("spread", "count", *_UNDER), note)
    for row in rows:
        meter = row.value("meter_volts", -math.inf, math.inf, "")
        if "bus_code" in row.cells:
            code = row.value("bus_code", 0, CODE_MAX, "it is what `status` tells, in sixteenths of a 12-bit step")
            reading = unfolded(code)
        else:
            volts = row.value("shown_volts", 0, 100, "write what the board showed, in volts, as 13.52")
            if present is None:
                raise UsageError(
                    f"{row.place}: shown_volts means nothing without the board's present calibration; "
                    "name its --port, or give bus_code"
                )
            _same_calibration(row, present)
            reading = volts / (present[0] / 1e9) + present[1]
            if not 0 <= reading <= UNFOLDED_MAX:
                raise DataError(
                    f"{row.place}: shown_volts {volts:g} V is beyond the board's range; is the file of another board?"
                )
            code = folded(reading)
        points.append(_point(row, meter, "meter_volts", code, reading))
    if present and rows and "shown_volts" in rows[0].cells and not all(name in rows[0].cells for name in _UNDER):
        note(
            f"shown_volts are taken as shown under the calibration that the board has now, bus_gain_nv {present[0]} "
            f"and bus_zero {present[1]}. If it had another one when {path} was written, as when this file was stored "
            "before, the result is WRONG: then take the points anew, best as bus_code"
        )
    return points


def _same_calibration(row: _Row, present: tuple[int, int]) -> None:
    for name, now in zip(_UNDER, present, strict=True):
        if row.cells.get(name) and row.value(name, -1e9, 1e9, "") != now:
            raise DataError(
                f"{row.place}: shown_volts were shown under {name} {row.cells[name].strip()}, and the board now has "
                f"{now}; take the points anew, or give bus_code"
            )


def read_amps(path: Path, note: Callable[[str], None] = _silent) -> list[Point]:
    """Points from a CSV file with the columns meter_amps (positive: INTO the battery) and clamp_code, in the
    order in which they were taken. Optional: turns, supply_code, spread [1/16 step], count. Errors as of
    read_volts."""
    points = []
    for row in _rows(path, "meter_amps", ("clamp_code",), ("turns", "supply_code", "spread", "count"), note):
        amps = row.value("meter_amps", -math.inf, math.inf, "")
        code = row.value("clamp_code", 0, CODE_MAX, "it is what `status` tells, in sixteenths of a 12-bit step")
        turns = 1
        if row.cells.get("turns"):
            given = row.value("turns", 1, 200, "count how often the wire goes through the hole")
            if given != int(given):
                raise DataError(
                    f"{row.place}: turns is {given:g}: must be a whole number; count the passes through the hole"
                )
            turns = int(given)
        supply = 0.0
        if row.cells.get("supply_code"):
            supply = row.value("supply_code", 0, CODE_MAX, "it is what `status` tells")
        points.append(_point(row, amps * turns, "meter_amps", code, unfolded(code), turns, supply))
    return points


def _point(
    row: _Row, meter: float, name: str, code: float, reading: float, turns: int = 1, supply: float = 0.0
) -> Point:
    spread, count = math.nan, 1
    if row.cells.get("spread"):
        spread = row.value("spread", 0, CODE_MAX, "it is a standard deviation in sixteenths of a step")
    if row.cells.get("count"):
        count = int(row.value("count", 1, 1e6, "it is how many codes the mean is of"))
    return Point(meter, row.cells[name].strip(), code, reading, spread, count, Path(row.place).name, turns, supply)


def _rows(
    path: Path, meter: str, readings: tuple[str, ...], optional: tuple[str, ...], note: Callable[[str], None]
) -> list[_Row]:
    with readable(path):
        content = path.read_bytes()
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        raise UsageError(f"{path} line {line}: not UTF-8 text; save the file as CSV in UTF-8") from None
    lines = [
        (count, line) for count, line in enumerate(text.splitlines(), 1) if line.strip() and line.lstrip()[0] != "#"
    ]
    wanted = f"{meter} and {' or '.join(readings)}"
    if not lines:
        raise UsageError(f"{path}: holds no lines; write a header with {wanted}, then one line for each point")
    (first, header), *body = lines
    divider = next((mark for mark in (";", "\t") if mark in header), ",")
    names = [name.strip().lower() for name in _cells(header, divider)]
    known = (meter, *readings, *optional)
    for name in known:
        if names.count(name) > 1:
            raise UsageError(f"{path} line {first}: column {name} is there twice; keep one of them")
    given = [name for name in readings if name in names]
    missing = [meter] * (meter not in names) + [" or ".join(readings)] * (not given)
    if missing:
        raise UsageError(
            f"{path} line {first}: no column {', and none '.join(missing)}; the header is {header.strip()!r} and "
            f"needs {wanted}"
        )
    unknown = [name for name in names if name and name not in known]
    if unknown:
        note(f"{path}: passed over, for no such column is known: {', '.join(unknown)}")
    if len(given) > 1:
        raise UsageError(f"{path} line {first}: has both {' and '.join(given)}; keep one of them")
    found = []
    for place_of, cells_text in body:
        cells = _cells(cells_text, divider)
        place = f"{path} line {place_of}"
        if len(cells) != len(names):
            comma = divider == "," and len(cells) > len(names)
            remedy = (
                "write numbers with a decimal point, or divide the columns by semicolons"
                if comma
                else "one value for each column"
            )
            raise UsageError(f"{place}: {len(cells)} values below {len(names)} columns; {remedy}")
        row = _Row(place, dict(zip(names, cells, strict=True)))
        for name in (meter, *given):
            if not row.cells[name].strip():
                raise UsageError(f"{place}: {name} is empty; write the number, or take the line out")
        found.append(row)
    return found


def _cells(line: str, divider: str) -> list[str]:
    return next(csv.reader(io.StringIO(line), delimiter=divider))
