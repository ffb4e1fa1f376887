"""What each segment was when it was pulled, so that rot on this computer is told from damage on the board."""

import binascii
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from underdash.archive import records
from underdash.archive.scan import scan

FILE = "checksums"

Stretches = tuple[tuple[int, int], ...]  # (offset, bytes) of each


@dataclass(frozen=True)
class Checksum:
    """A segment as pulled: its length [bytes], the CRC-32 of all of it, and where no whole frame stood even then."""

    segment: int
    length: int
    crc32: int
    damaged: Stretches = ()

    def fits(self, content: bytes) -> bool:
        """Does the content begin with what was pulled? It may have grown since."""
        return len(content) >= self.length and binascii.crc32(content[: self.length]) == self.crc32

    def record(self) -> dict[str, Any]:
        return {
            "segment": self.segment,
            "bytes": self.length,
            "crc32": f"{self.crc32:08x}",
            "damaged": [list(stretch) for stretch in self.damaged],
        }


def damaged(content: bytes) -> Stretches:
    """(offset, bytes) of each stretch that is no whole frame."""
    return tuple((offset, lost) for _, lost, offset in scan(content) if isinstance(lost, int))


def of(segment: int, content: bytes) -> Checksum:
    """The checksum of a segment's content."""
    return Checksum(segment, len(content), binascii.crc32(content), damaged(content))


def read(folder: Path) -> tuple[dict[int, Checksum], int]:
    """(checksums by segment, how many lines of the list are damaged) of a board's folder."""
    found: dict[int, Checksum] = {}
    broken = 0
    for line in records.lines(folder / FILE):
        record = records.opened(line)
        try:
            if record is None:
                raise ValueError
            stretches = tuple((int(offset), int(lost)) for offset, lost in record["damaged"])
            one = Checksum(int(record["segment"]), int(record["bytes"]), int(record["crc32"], 16), stretches)
        except (ValueError, KeyError, TypeError):
            broken += 1
            continue
        if one.segment not in found or one.length > found[one.segment].length:
            found[one.segment] = one
    return found, broken


def write(folder: Path, kept: Iterable[Checksum]) -> None:
    """Write the list anew, whole or not at all; damaged lines go."""
    records.write(folder / FILE, (records.sealed(one.record()) for one in kept))


def keep(folder: Path, one: Checksum) -> None:
    """Put a segment's checksum in the list, in the place of an earlier one."""
    known, _ = read(folder)
    if known.get(one.segment) != one:
        write(folder, {**known, one.segment: one}.values())


def best(content: bytes, own: Checksum | None, other: Checksum | None) -> Checksum | None:
    """The checksum to keep beside a copy that stays: its own, which may tell that it has rotted, unless the other
    copy's holds for more of it."""
    if other is None or not other.fits(content):
        return own
    return other if own is None or other.length > own.length else own
