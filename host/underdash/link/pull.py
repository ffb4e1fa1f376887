"""Bringing a board's journal home: incremental, verified, resumable; the board loses nothing."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from chargecore import frames
from underdash.archive import anchors, checksums, numbered, segment_path
from underdash.link.client import Board
from underdash.problems import DataError, LinkError, readable, write_whole

_SAME_BYTES = 256  # at either end of a segment, compared before more is added to it


@dataclass(frozen=True)
class Pulled:
    """What a pull did: the archive's folder, new and total bytes, segments on the board."""

    folder: Path
    new_bytes: int
    total_bytes: int
    segments: int


def pull(board: Board, archive: Path, progress: Callable[[int, int], None] = lambda done, total: None) -> Pulled:
    """Copy what `archive` lacks of the board's journal into `archive/<board id>/`.

    Each segment grows in a .part file, which a later pull resumes, and takes its name once every
    byte has arrived and its frames have been checked; its checksum is kept beside it. A running monitor's boot and
    uptime are kept with this computer's time, which dates them (underdash.archive.dates). `progress(done, total)`
    counts bytes. DataError if the board's segments are not the archive's (a board whose flash was erased), or if the
    archive's have rotted.
    """
    board.ready(journal_only=True)
    folder = archive / board.board_id
    with readable(folder):
        folder.mkdir(parents=True, exist_ok=True)
    listed = board.segments()
    held = {number: _size(segment_path(folder, number)) for number, _ in listed}
    _refuse_other_journal(board, folder, listed, held)
    if board.mode == "monitor":
        anchors.append(folder, anchors.take(board))
    total = sum(size - held[number] for number, size in listed)
    done = 0
    progress(0, total)
    for number, size in listed:
        if held[number] == size:
            continue
        target = segment_path(folder, number)
        part = target.with_suffix(".part")
        with readable(part):
            if _size(part) <= held[number] or _size(part) > size:
                mine = target.read_bytes() if held[number] else b""
                if mine:
                    _refuse_rot(folder, target, mine)
                part.write_bytes(mine)
            done += _size(part) - held[number]
            with part.open("ab") as file:
                for data in board.read(number, file.tell(), size - file.tell()):
                    file.write(data)
                    file.flush()
                    done += len(data)
                    progress(done, total)
            content = part.read_bytes()
            damage = [offset for kind, _, offset in frames.scan(content) if kind == 0]
            if len(content) != size or (damage and not _damaged_there(board, number, content)):
                part.unlink()
                if damage and damage[0] < held[number]:
                    raise DataError(f"{target}: is damaged in the archive; move it away and pull again")
                raise LinkError(f"{board.port}: segment {number} arrived damaged; pull again")
            part.replace(target)
        checksums.keep(folder, checksums.of(number, content))
    write_whole(folder / "board.json", json.dumps(board.hello, indent=1, sort_keys=True).encode() + b"\n")
    return Pulled(folder, total, sum(size for _, size in listed), len(listed))


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def _refuse_other_journal(board: Board, folder: Path, listed: list[tuple[int, int]], held: dict[int, int]) -> None:
    """A board that was erased counts its segments from 1 again: do not mix two lives."""
    newest = max((number for number, path in numbered(folder).items() if _size(path)), default=0)
    if listed and newest > listed[-1][0]:
        raise DataError(_other(board, folder, newest))
    for number, size in listed:
        if held[number] > size:
            raise DataError(_other(board, folder, number))
    common = [number for number, _ in listed if held[number]]
    if common:
        path = segment_path(folder, common[-1])
        mine = path.read_bytes()
        if not _same(board, common[-1], 0, mine[:_SAME_BYTES]):
            raise DataError(_other(board, folder, common[-1]))
        _refuse_rot(folder, path, mine)
        # The first segments of two lives may open alike; what was written into them last does not.
        if not _same(board, common[-1], max(0, len(mine) - _SAME_BYTES), mine[-_SAME_BYTES:]):
            raise DataError(_other(board, folder, common[-1]))


def _same(board: Board, number: int, offset: int, mine: bytes) -> bool:
    return b"".join(board.read(number, offset, len(mine))) == mine


def _refuse_rot(folder: Path, path: Path, content: bytes) -> None:
    """Add nothing to a segment that is no longer what was pulled."""
    kept = checksums.read(folder)[0].get(int(path.stem))
    if kept and not kept.fits(content):
        raise DataError(f"{path}: is damaged in the archive; move it away and pull again")


def _other(board: Board, folder: Path, number: int) -> str:
    return (f"{folder}: holds another segment {number} than board {board.board_id}, whose flash was perhaps "
            "erased; nothing was changed: pull into another archive folder")  # fmt: skip


def _damaged_there(board: Board, number: int, content: bytes) -> bool:
    """Is the damage on the board itself? Then a second reading brings the same bytes."""
    return b"".join(board.read(number, 0, len(content))) == content
