"""Calibration and thresholds back from the archive: every journal segment's header carries them."""

from dataclasses import dataclass
from pathlib import Path

from chargecore import frames
from underdash.archive import segments
from underdash.problems import DataError, readable

_HEADER_BYTES = frames.PAYLOAD_MAX + frames.OVERHEAD


@dataclass(frozen=True)
class Kept:
    """What the newest readable header in an archive says, and whose it is."""

    board_id: str
    segment: Path
    skipped: int  # newer segments whose header cannot be read
    values: dict[str, dict[str, int]]


def newest(folder: Path) -> Kept:
    """The newest header in a board's folder of the archive; DataError if none can be read."""
    found = segments(folder)
    for skipped, path in enumerate(reversed(found)):
        with readable(path), path.open("rb") as file:
            start = file.read(_HEADER_BYTES)
        for kind, payload, _ in frames.scan(start):
            if kind == frames.HEADER:
                try:
                    header = frames.decode_header(payload)
                except ValueError:
                    break
                values = {"thresholds": dict(vars(header.thresholds)), "calibration": dict(vars(header.calibration))}
                return Kept(header.board_id.hex(), path, skipped, values)
    raise DataError(f"{folder}: none of its {len(found)} segments has a readable header; pull the board again")
