"""Small files of records in a board's folder: a line each, which carries its own CRC as a console reply does."""

import binascii
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from underdash.problems import readable, write_whole


def sealed(record: dict[str, Any]) -> str:
    """The line of a record: JSON, ` ~` and the CRC-32 of the JSON's bytes; the same record, the same line."""
    body = json.dumps(record, sort_keys=True)
    return f"{body} ~{binascii.crc32(body.encode()):08x}"


def opened(line: str) -> dict[str, Any] | None:
    """The record in a line, None if the line is not what was written."""
    body, mark, checksum = line.rpartition(" ~")
    if not mark or checksum != f"{binascii.crc32(body.encode()):08x}":
        return None
    try:
        record = json.loads(body)
    except ValueError:
        return None
    return record if isinstance(record, dict) else None


def lines(path: Path) -> list[str]:
    """The lines of a file of records, damaged ones too; [] where there is no such file."""
    with readable(path):
        if not path.exists():
            return []
        text = path.read_bytes().decode("utf-8", "backslashreplace")
    return [line for line in text.split("\n") if line]


def write(path: Path, kept: Iterable[str]) -> None:
    """Write these lines, each once and in order, whole or not at all; nothing if the file holds just them."""
    wanted = sorted(set(kept))
    if wanted != lines(path):
        write_whole(path, "".join(f"{line}\n" for line in wanted).encode())
