"""Segments of format version 1, written by firmware 0.1.0, read for ever (tests/golden/README.md)."""

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from chargecore import calibration, frames, thresholds
from chargecore.units import ABSENT
from core import journal_reader
from underdash.review.rows import from_segments

HERE = Path(__file__).parent / "v1"
NAMES = ("drive", "volts-only", "edges", "damaged", "headless")


def golden(name: str) -> tuple[bytes, dict[str, Any]]:
    """(the segment, what must be read from it)."""
    return (HERE / f"{name}.seg").read_bytes(), json.loads((HERE / f"{name}.json").read_text())


def read(data: bytes) -> dict[str, Any]:
    """Everything chargecore reads from a segment, in the form of the golden files."""
    found: dict[str, Any] = {"headers": [], "damaged": 0, "refused": 0, "rows": []}
    for kind, payload, _ in frames.scan(data):
        try:
            if kind == 0:
                found["damaged"] += payload
            elif kind == frames.HEADER:
                found["headers"].append(as_told(frames.decode_header(payload)))
            elif kind == frames.ROWS:
                number, rows = frames.decode_rows(payload)
                assert frames.rows_span(payload) == (number, len(rows))
                for index, row in enumerate(rows):
                    found["rows"].append([number + index, *(None if value == ABSENT else value for value in row)])
        except ValueError:
            found["refused"] += 1
    return found


def as_told(header: frames.Header) -> dict[str, Any]:
    """A header's values by name, in the form of the golden files."""
    told: dict[str, Any] = dict(vars(header))
    told["board_id"] = header.board_id.hex()
    told["firmware"] = list(header.firmware)
    told["snapshot"] = list(header.snapshot)
    for part, fields in (("calibration", calibration.FIELDS), ("thresholds", thresholds.FIELDS)):
        told[part] = [getattr(told[part], field[0]) for field in fields]
    return told


@pytest.mark.parametrize("name", NAMES)
def test_every_header_value_and_every_row_is_read(name: str) -> None:
    data, told = golden(name)
    assert read(data) == told


@pytest.mark.parametrize("name", NAMES)
def test_the_second_reader_reads_the_same(name: str) -> None:
    data, told = golden(name)
    found = journal_reader.read_segment(data)
    assert [list(row) for row in found.rows] == told["rows"]
    assert (found.damaged, found.refused) == (told["damaged"], told["refused"])
    for header, expected in zip(found.headers, told["headers"], strict=True):
        assert header | {"board_id": header["board_id"].hex(), "firmware": list(header["firmware"])} == expected


def test_the_golden_files_hold_what_they_are_there_for() -> None:
    told = {name: golden(name)[1] for name in NAMES}
    rows = [row for one in told.values() for row in one["rows"]]
    assert {row[6] for row in rows} == set(range(7)), "a state is missing"
    edges = told["edges"]["rows"]
    assert [None in row[2:5] for row in edges].count(True) >= 4
    assert min(row[5] for row in edges if row[5] is not None) == -1_045_000
    assert told["edges"]["headers"][0]["calibration"] != told["drive"]["headers"][0]["calibration"]
    periods = {later[1] - row[1] for row, later in pairwise(edges)}
    assert {1, 100, 1000, 60000, 65535} <= periods, "a crank, or a row of rest, is missing"
    assert all(row[5] is None for row in told["volts-only"]["rows"])
    assert told["damaged"]["damaged"] > 0 and told["damaged"]["refused"] > 0
    assert len(told["damaged"]["rows"]) < len(told["drive"]["rows"])
    assert told["headless"]["headers"] == []
    assert told["headless"]["rows"] == told["volts-only"]["rows"], "a damaged header cost rows"


def test_the_review_reads_them_too() -> None:
    rows, account = from_segments([HERE / "drive.seg"])
    told = golden("drive")[1]["rows"]
    assert [round(t_s * 1000) for t_s in rows.t_s] == [row[1] for row in told]
    assert account.damaged_bytes == account.lost_rows == account.unchecked_rows == 0
    rows, account = from_segments([HERE / "headless.seg"])
    assert [round(t_s * 1000) for t_s in rows.t_s] == [row[1] for row in golden("volts-only")[1]["rows"]]
    assert account.board == "unknown" and account.unchecked_rows == len(rows)
