"""The archive: a folder for each board, holding its journal's raw segments, which are the truth."""

from pathlib import Path

from underdash.problems import UsageError, readable

SUFFIX = ".seg"


def segment_path(folder: Path, number: int) -> Path:
    """Where a board's folder keeps the segment of that number."""
    return folder / f"{number:08d}{SUFFIX}"


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
