"""The archive: a folder for each board, holding its journal's raw segments, which are the truth.

Beside the segments a board's folder keeps what was known when they were pulled: `checksums`, `anchors` of its
boots in time, and board.json, what the board said of itself. Everything else is made from these (docs/archive.md).
"""

import re
from pathlib import Path

from underdash.problems import UsageError, readable

SUFFIX = ".seg"
PART = ".part"  # of a file that is being brought or written
_NAME = re.compile(r"[0-9]{8}\.seg")


def segment_path(folder: Path, number: int) -> Path:
    """Where a board's folder keeps the segment of that number."""
    return folder / f"{number:08d}{SUFFIX}"


def numbered(folder: Path) -> dict[int, Path]:
    """The segments in a board's folder that bear a segment's name, by number; there may be none."""
    with readable(folder):
        return {int(path.stem): path for path in sorted(folder.iterdir()) if _NAME.fullmatch(path.name)}


def boards(source: Path) -> list[Path]:
    """The boards' folders in an archive, or `source` itself if it is one. UsageError if there is none."""
    with readable(source):
        if not source.is_dir():
            source.stat()  # says what is wrong, or that it is a file
            raise UsageError(f"{source}: is a file; name an archive's folder, or a board's in it")
        inside = sorted(path for path in source.iterdir() if path.is_dir())
        if not any(source.glob(f"*{SUFFIX}")) and (found := [path for path in inside if any(path.glob(f"*{SUFFIX}"))]):
            return found
        if not any(source.glob(f"*{SUFFIX}")) and not (source / "checksums").exists():
            raise UsageError(f"{source}: no journal segments (*{SUFFIX}) in this folder; pull a board first")
    return [source]


def segments(source: Path) -> list[Path]:
    """The segments of one board in order: `source` is a segment, a board's folder, or an archive
    with a single board in it. UsageError if it is none of these, or if there are several boards."""
    with readable(source):
        if not source.exists():
            raise FileNotFoundError
        if source.is_file():
            return [source]
        found = sorted(source.glob(f"*{SUFFIX}"))
        if found:
            return found
        boards = sorted({path.parent for path in source.glob(f"*/*{SUFFIX}")})
    if len(boards) > 1:
        names = ", ".join(board.name for board in boards)
        raise UsageError(f"{source}: holds {len(boards)} boards ({names}); name the folder of one of them")
    if not boards:
        raise UsageError(f"{source}: no journal segments (*{SUFFIX}) in this folder; pull a board first")
    return sorted(boards[0].glob(f"*{SUFFIX}"))
