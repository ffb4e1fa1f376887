"""Tables for any other tool: a Parquet file for each drive and each stretch between drives (docs/archive.md)."""

import binascii
import json
import re
import shutil
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from chargecore import engine
from underdash import __version__, archive
from underdash.archive import dates, survey
from underdash.archive.dates import BootDate
from underdash.archive.numbering import Numbering, numbering
from underdash.archive.survey import Segment
from underdash.problems import DataError, UsageError, readable

if TYPE_CHECKING:
    from underdash.review.rows import Rows

METADATA = b"underdash"
_NAME = re.compile(r"[^/]+-[0-9]{6}-[0-9]{12}-(drive|between)\.parquet")

SCHEMA = pa.schema([
    pa.field("t_s", pa.float64(), nullable=False),
    pa.field("time", pa.timestamp("ms", tz="UTC")),
    pa.field("boot", pa.int64(), nullable=False),
    pa.field("row", pa.int64(), nullable=False),
    pa.field("low", pa.float64()),
    pa.field("volts", pa.float64()),
    pa.field("high", pa.float64()),
    pa.field("amps", pa.float64()),
    pa.field("state", pa.dictionary(pa.int8(), pa.string()), nullable=False),
    pa.field("warnings", pa.uint8(), nullable=False),
    pa.field("since_s", pa.float64(), nullable=False),
    pa.field("checked", pa.bool_(), nullable=False),
    pa.field("key", pa.bool_()),
])  # fmt: skip


@dataclass(frozen=True)
class Exported:
    """A table that was written: its file, `drive` or `between`, its rows, the date of its boot."""

    path: Path
    kind: str
    rows: int
    date: BootDate


@dataclass(frozen=True)
class _Stretch:
    kind: str
    drive: int | None  # its number in the review, from 1
    rows: slice


def export(folder: Path, to: Path) -> list[Exported]:
    """Write the tables of a board's folder into `to`: all of them, or none and what stood there stays.

    `to` must not be there, be empty, or hold nothing but an earlier export, which is replaced. UsageError if it
    holds anything else; DataError if there are no rows.
    """
    from underdash.review import review

    _refuse_other_files(to)
    report, rows = review(folder)
    if not len(rows):
        raise DataError(f"{folder}: holds no rows; pull the board again after a drive")
    paths = archive.segments(folder)
    place = paths[0].parent
    segments = [survey.look(path) for path in paths]
    as_pulled = {one.path: one.as_pulled for one in survey.folder(place)}
    dated = dates.dates(place).boots
    where = numbering(paths, rows.t_s)
    draft = to.with_name(f".{to.name}{archive.PART}")
    done = []
    with readable(to):
        shutil.rmtree(draft, ignore_errors=True)
        draft.mkdir(parents=True)
        try:
            for stretch in _stretches(report, rows):
                boot = int(rows.boot[stretch.rows.start])
                date = dated.get(boot, BootDate(boot, "undated"))
                told = _told(report, stretch, rows, date)
                told["sources"] = _sources(segments, where.segment[stretch.rows], as_pulled)
                told.update(_settings(segments, where.segment[stretch.rows]))
                table = _table(rows, where, stretch.rows, date).replace_schema_metadata({METADATA: json.dumps(told)})
                first_ms = round(float(rows.t_s[stretch.rows.start]) * 1000)
                name = f"{report['board']}-{boot:06d}-{first_ms:012d}-{stretch.kind}.parquet"
                pq.write_table(table, draft / name, compression="zstd")
                done.append(Exported(to / name, stretch.kind, len(table), date))
            _put(draft, to)
        finally:
            shutil.rmtree(draft, ignore_errors=True)
    return done


def metadata(path: Path) -> dict[str, Any]:
    """What a table says of itself: docs/archive.md lists it. DataError if it is no table of this kind."""
    with readable(path):
        found = (pq.read_schema(path).metadata or {}).get(METADATA)
    if found is None:
        raise DataError(f"{path}: not written by `underdash archive export`; export it again")
    told: dict[str, Any] = json.loads(found)
    return told


def _refuse_other_files(to: Path) -> None:
    with readable(to):
        if not to.exists():
            return
        others = sorted(path.name for path in to.iterdir() if not _NAME.fullmatch(path.name))
    if others:
        raise UsageError(f"{to}: holds {others[0]}, which is no earlier export; name a new or an empty folder")


def _put(draft: Path, to: Path) -> None:
    """Give the finished folder its name; an earlier export goes only then."""
    earlier = to.with_name(f".{to.name}.earlier")
    shutil.rmtree(earlier, ignore_errors=True)
    if to.exists():
        to.rename(earlier)
    try:
        draft.rename(to)
    except OSError:
        if earlier.exists():
            earlier.rename(to)
        raise
    shutil.rmtree(earlier, ignore_errors=True)


def _stretches(report: dict[str, Any], rows: "Rows") -> list[_Stretch]:
    """The drives and what lies between them within each boot, in the order of the rows; every row is in one."""
    number = np.zeros(len(rows), dtype=np.int64)
    for index, drive in enumerate(report["drives"], 1):
        inside = (rows.boot == drive["boot"]) & (rows.t_s > drive["start_s"])
        number[inside & (rows.t_s <= drive["start_s"] + drive["length_s"])] = index
    edges = np.flatnonzero((np.diff(number) != 0) | (np.diff(rows.boot) != 0)) + 1
    bounds = [0, *edges.tolist(), len(rows)]
    return [
        _Stretch("drive" if number[start] else "between", int(number[start]) or None, slice(start, end))
        for start, end in pairwise(bounds)
    ]


def _table(rows: "Rows", where: Numbering, part: slice, date: BootDate) -> pa.Table:
    count = part.stop - part.start
    if date.unix_s is None:
        time = pa.nulls(count, pa.timestamp("ms", tz="UTC"))
    else:
        time = pa.array(np.round((rows.t_s[part] + date.unix_s) * 1000).astype(np.int64), pa.timestamp("ms", tz="UTC"))
    key = where.key[part]
    names = np.array([*engine.STATE_NAMES, "7"])  # 3 bits; a state that this Underdash has no name for
    columns = [
        pa.array(rows.t_s[part]), time, pa.array(rows.boot[part]), pa.array(where.number[part]),
        *(pa.array(values[part], from_pandas=True) for values in (rows.low, rows.volts, rows.high, rows.amps)),
        pa.DictionaryArray.from_arrays(rows.state[part].astype(np.int8), names),
        pa.array(rows.warnings[part].astype(np.uint8)), pa.array(rows.since_s[part]),
        pa.array(where.checked[part]), pa.array(key == 1, mask=key < 0),
    ]  # fmt: skip
    return pa.Table.from_arrays(columns, schema=SCHEMA)


def _told(report: dict[str, Any], stretch: _Stretch, rows: "Rows", date: BootDate) -> dict[str, Any]:
    last = stretch.rows.stop - 1
    return {
        "underdash": __version__,
        "board": report["board"],
        "kind": stretch.kind,
        "drive": stretch.drive,
        "first_s": float(rows.t_s[stretch.rows.start]),
        "last_s": float(rows.t_s[last]),
        "date": date.as_dict(),
    }


def _sources(segments: list[Segment], used: Any, as_pulled: dict[Path, bool | None]) -> list[dict[str, Any]]:
    """The segments that these rows came from, as they are now."""
    return [
        {
            "file": one.path.name,
            "bytes": len(one.content),
            "crc32": f"{binascii.crc32(one.content):08x}",
            "damaged_bytes": sum(length for _, length in one.damaged),
            "as_pulled": as_pulled.get(one.path),
        }
        for one in (segments[index] for index in np.unique(used))
    ]


def _settings(segments: list[Segment], used: Any) -> dict[str, Any]:
    """Firmware, thresholds and calibration, which hold for all of a boot, from the first header that has them."""
    headers = [header for index in np.unique(used) if (header := segments[index].header)]
    if not headers:
        return {"firmware": None, "thresholds": None, "calibration": None}
    return {
        "firmware": ".".join(str(part) for part in headers[0].firmware),
        "thresholds": {name: int(value) for name, value in vars(headers[0].thresholds).items()},
        "calibration": {name: int(value) for name, value in vars(headers[0].calibration).items()},
    }
