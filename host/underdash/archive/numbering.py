"""What the review does not carry for each row: its number, the key, whether the desk checked it, its segment."""

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chargecore import frames
from chargecore.units import ABSENT
from underdash.archive import survey
from underdash.problems import DataError


@dataclass(frozen=True)
class Numbering:
    """Arrays as long as the review's rows. key: 1 on, 0 off, -1 not known. segment: number of its file's place in
    the list of paths."""

    number: NDArray[np.int64]
    key: NDArray[np.int8]
    checked: NDArray[np.bool_]
    segment: NDArray[np.int64]


def numbering(paths: list[Path], t_s: NDArray[np.float64]) -> Numbering:
    """Find the frame that each of the review's rows came from.

    paths: the segments, as the review read them. t_s: the rows' times. The rows stand in the order of the frames, so
    each frame's first time tells whether the review took it. DataError if rows are left over.
    """
    count = len(t_s)
    found = Numbering(np.full(count, -1), np.full(count, -1, np.int8), np.zeros(count, bool), np.full(count, -1))
    times_ms = np.round(t_s * 1000).astype(np.int64)
    at = 0
    expected: int | None = 0 if len(paths) > 1 else None
    checked = False
    for place, path in enumerate(paths):
        for kind, payload, _ in frames.scan(survey.look(path).content):
            if kind == 0:
                checked = False
            elif kind == frames.HEADER:
                try:
                    header = frames.decode_header(payload)
                except ValueError:
                    continue
                expected = max(expected or 0, header.first_row)
                checked = True
            elif kind == frames.ROWS:
                try:
                    number, taken, first_ms = _head(payload, expected)
                except (struct.error, ValueError):
                    continue
                if expected is not None and number > expected:
                    checked = False
                if taken and at + taken <= count and times_ms[at] == first_ms:
                    here = slice(at, at + taken)
                    found.number[here] = np.arange(number, number + taken)
                    key = frames.rows_key(payload)
                    found.key[here] = -1 if key == ABSENT else key
                    found.checked[here] = checked
                    found.segment[here] = place
                    at += taken
                    expected = max(expected or 0, number + taken)
    if at != count:
        raise DataError(f"{paths[0].parent}: {count - at} rows of the review stand in no frame; a defect, report it")
    return found


def _head(payload: bytes, expected: int | None) -> tuple[int, int, int]:
    """(number of the first new row, how many there are, when that one ended [ms]) of a rows frame."""
    number, count = frames.rows_span(payload)
    known = min(max(0, expected - number), count) if expected is not None else 0
    if known == 0:
        _, seconds, millis = struct.unpack_from("<IIH", payload, 0)
        return number, count, seconds * 1000 + millis
    rows = frames.decode_rows(payload)[1][known:]  # of two rows with the same number the first is kept
    return number + known, len(rows), rows[0][0] if rows else 0
