"""What has changed in a board's folder since it was pulled: verified again by whoever reads it."""

from pathlib import Path

from underdash import archive
from underdash.archive import checksums
from underdash.problems import readable


def since_pull(source: Path) -> list[str]:
    """A line for each segment that is gone, cut off or changed since it was pulled, and one if the list of checksums is
    damaged itself; none where nobody kept a checksum.

    source: what `archive.segments` takes; of a single segment only that one is looked at.
    """
    if source.is_file():
        folder, only = source.parent, {source.name}
    else:
        folder, only = archive.board(source), None
    kept, damaged = checksums.read(folder)
    lines = []
    if damaged:
        what = "1 damaged line" if damaged == 1 else f"{damaged} damaged lines"
        lines.append(f"{checksums.FILE}: {what}; whether what they told of is as it was pulled is not known")
    for number, known in sorted(kept.items()):
        path = archive.segment_path(folder, number)
        if only is not None and path.name not in only:
            continue
        if not path.exists():
            lines.append(f"{path.name}: was pulled, {known.length} bytes of it, and is gone")
            continue
        with readable(path):
            content = path.read_bytes()
        if len(content) < known.length:
            lines.append(f"{path.name}: {known.length - len(content)} of its {known.length} bytes are gone")
        elif not known.fits(content):
            lines.append(f"{path.name}: is not what was pulled")
    return lines
