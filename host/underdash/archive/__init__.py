"""The archive: a folder for each board, holding its journal's raw segments, which are the truth.

Beside the segments a board's folder keeps what was known when they were pulled: `checksums`, `anchors` of its
boots in time, and board.json, what the board said of itself. Everything else is made from these (docs/archive.md).
"""

import re
from pathlib import Path

from chargecore import frames
from underdash.problems import UsageError, readable

SUFFIX = ".seg"
PART = ".part"  # of a file that is being brought or written
_NAME = re.compile(r"[0-9]{8}\.seg")
_HEADER_MAX = frames.PAYLOAD_MAX + frames.OVERHEAD  # bytes


def segment_path(folder: Path, number: int) -> Path:
    """Where a board's folder keeps the segment of that number."""
    return folder / f"{number:08d}{SUFFIX}"


def numbered(folder: Path) -> dict[int, Path]:
    """The segments in a board's folder that bear a segment's name, by number; there may be none."""
    with readable(folder):
        return {int(path.stem): path for path in sorted(folder.iterdir()) if _NAME.fullmatch(path.name)}


def strays(folder: Path) -> list[Path]:
    """What ends in .seg in a board's folder, but bears no segment's name: none of the journal's."""
    with readable(folder):
        inside = sorted(folder.iterdir())
    return [path for path in inside if path.suffix.lower() == SUFFIX and not _NAME.fullmatch(path.name)]


def carried(start: bytes) -> int | None:
    """The number in the header that opens a segment; None if none can be read there. start: its first bytes, or all."""
    length = frames.frame_length(start, 0)
    if not length or start[1] != frames.HEADER:
        return None
    try:
        return int(frames.decode_header(start[4 : length - 4]).segment)
    except ValueError:
        return None


def boards(source: Path) -> list[Path]:
    """The boards' folders in an archive, or `source` itself if it is one. UsageError if there is none."""
    with readable(source):
        if not source.is_dir():
            source.stat()  # says what is wrong, or that it is a file
            raise UsageError(f"{source}: is a file; name an archive's folder, or a board's in it")
    if numbered(source):
        return [source]
    if inside := _boards_in(source):
        return inside
    if not (source / "checksums").exists():
        raise _no_segments(source)
    return [source]


def segments(source: Path) -> list[Path]:
    """The segments of one board in order: `source` is a segment, a board's folder, or an archive
    with a single board in it. UsageError if it is none of these, or if there are several boards.

    Of a folder, those that bear a segment's name, and their own: left_out tells of the others.
    """
    if _is_file(source):
        return [source]
    folder = board(source)
    found = numbered(folder)
    others = _misnamed(found)
    if len(others) == len(found):
        raise UsageError(f"{folder}: no segment bears its own number; {left_out(source)[0]}")
    return [path for path in found.values() if path not in others]


def left_out(source: Path) -> list[str]:
    """A line for each file beside the journal that `segments` leaves out, though it ends in .seg; none where there is
    no journal."""
    if _is_file(source) or not (numbered(source) or _boards_in(source)):
        return []
    folder = board(source)
    lines = [f"{path}: left out: a segment's name is eight digits and {SUFFIX}" for path in strays(folder)]
    return [*lines, *(f"{path}: left out: it {misnamed(number, int(path.stem))}"
                      for path, number in _misnamed(numbered(folder)).items())]  # fmt: skip


def misnamed(holds: int, name: int) -> str:
    """What is told of a segment whose header has another number than its name."""
    return f"holds segment {holds}, not {name}; rename it to {holds:08d}{SUFFIX}, or move it away"


def _is_file(source: Path) -> bool:
    with readable(source):
        if not source.exists():
            raise FileNotFoundError
        return source.is_file()


def board(source: Path) -> Path:
    """The folder of the one board in `source`, an archive or that folder. UsageError if there is none, or several."""
    if numbered(source):
        return source
    inside = _boards_in(source)
    if len(inside) > 1:
        names = ", ".join(board.name for board in inside)
        raise UsageError(f"{source}: holds {len(inside)} boards ({names}); name the folder of one of them")
    if not inside:
        raise _no_segments(source)
    return inside[0]


def _boards_in(archive: Path) -> list[Path]:
    with readable(archive):
        folders = sorted(path for path in archive.iterdir() if path.is_dir())
    return [folder for folder in folders if numbered(folder)]


def _no_segments(source: Path) -> UsageError:
    if others := strays(source):
        return UsageError(f"{source}: no journal segments in this folder, and {others[0].name} is not named as one "
                          f"(eight digits, {SUFFIX}); name the file itself, or pull a board first")  # fmt: skip
    if (source / "checksums").exists():
        return UsageError(f"{source}: the segments that were pulled into this folder are gone; pull the board again")
    return UsageError(f"{source}: no journal segments (*{SUFFIX}) in this folder; pull a board first")


def _misnamed(found: dict[int, Path]) -> dict[Path, int]:
    """Those that a header with another number opens, and that number."""
    others: dict[Path, int] = {}
    for number, path in found.items():
        with readable(path), path.open("rb") as file:
            holds = carried(file.read(_HEADER_MAX))
        if holds is not None and holds != number:
            others[path] = holds
    return others
