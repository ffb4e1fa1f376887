"""One segment looked at: its header, its frames of rows, its damage, and whether it still is what was pulled."""

import struct
from dataclasses import dataclass, field
from pathlib import Path

from chargecore import frames
from chargecore.frames import Header
from underdash import archive
from underdash.archive import PART, anchors, checksums, numbered
from underdash.archive.checksums import Checksum, Stretches
from underdash.archive.scan import scan
from underdash.problems import DataError, readable

_HEAD = "<IIH"  # of a rows frame: number of the first row, seconds and milliseconds since power-up


@dataclass(frozen=True)
class Span:
    """The rows of one frame: place in the segment, number of the first, how many, when the first ended [s]."""

    offset: int
    number: int
    count: int
    first_s: float
    payload: bytes = field(repr=False)

    def rows(self) -> list[tuple[int, ...]]:
        """The rows as chargecore.frames.decode_rows gives them; ValueError if they cannot be read."""
        rows: list[tuple[int, ...]] = frames.decode_rows(self.payload)[1]
        return rows

    @property
    def last_s(self) -> float:
        """When the last row ended, as far as the frame can be read [s]."""
        try:
            return float(self.rows()[-1][0] / 1000) if self.count else self.first_s
        except (ValueError, IndexError):
            return self.first_s


@dataclass(frozen=True)
class Segment:
    """A segment as it stands on disk.

    header: None where it cannot be read. spans: its frames of rows. damaged: stretches that are no whole frame.
    refused: offsets of whole frames that cannot be read. checksum: what it was when pulled, None if not known.
    """

    number: int
    path: Path
    content: bytes = field(repr=False)
    header: Header | None
    spans: list[Span]
    damaged: Stretches
    refused: list[int]
    checksum: Checksum | None

    @property
    def board(self) -> str | None:
        return self.header.board_id.hex() if self.header else None

    @property
    def misnamed(self) -> int | None:
        """The number that its header has, where that is not the one in its name."""
        number = archive.carried(self.content)
        return None if number == self.number else number

    @property
    def as_pulled(self) -> bool | None:
        """Are the bytes that were pulled still what they were? None if nobody kept their checksum."""
        return self.checksum.fits(self.content) if self.checksum else None


def look(path: Path, checksum: Checksum | None = None) -> Segment:
    """Read one segment and step through its frames. UnderdashError if the file cannot be read."""
    with readable(path):
        content = path.read_bytes()
    header = None
    spans: list[Span] = []
    lost: list[tuple[int, int]] = []
    refused: list[int] = []
    for kind, payload, offset in scan(content):
        if isinstance(payload, int):
            lost.append((offset, payload))
        elif kind == frames.HEADER:
            try:
                found = frames.decode_header(payload)
            except ValueError:
                refused.append(offset)
                continue
            header = header or found
        elif kind == frames.ROWS:
            try:
                number, seconds, millis = struct.unpack_from(_HEAD, payload, 0)
                _, count = frames.rows_span(payload)
            except (struct.error, ValueError):
                refused.append(offset)
                continue
            spans.append(Span(offset, number, count, seconds + millis / 1000, payload))
    number = int(path.stem) if path.stem.isdigit() else 0
    return Segment(number, path, content, header, spans, tuple(lost), refused, checksum)


def folder(place: Path) -> list[Segment]:
    """Every segment of a board's folder, by number. Other files are none of the journal's."""
    kept, _ = checksums.read(place)
    return [look(path, kept.get(number)) for number, path in numbered(place).items()]


def board_of(place: Path, segments: list[Segment]) -> str:
    """Whose folder this is: what the segments' headers say, else the folder's name. DataError if they disagree."""
    said = sorted({segment.board for segment in segments if segment.board})
    if len(said) > 1:
        where = {segment.board: segment.path.name for segment in reversed(segments)}
        told = ", ".join(f"{where[board]} of {board}" for board in said)
        raise DataError(f"{place}: holds segments of {len(said)} boards ({told}); give each board a folder of its own")
    return said[0] if said else place.resolve().name


def owner(place: Path) -> str:
    """Whose folder this is, from the first header that can be read; else the folder's name."""
    for path in numbered(place).values():
        if board := look(path).board:
            return board
    return place.resolve().name


def others(place: Path) -> tuple[list[str], list[str]]:
    """(names of .part files left behind, names of files that are none of the archive's) in a board's folder."""
    own = {path.name for path in numbered(place).values()} | {checksums.FILE, anchors.FILE, "board.json"}
    with readable(place):
        names = sorted(path.name for path in place.iterdir() if path.name not in own)
    parts = [name for name in names if name.endswith(PART)]
    return parts, [name for name in names if name not in parts]
