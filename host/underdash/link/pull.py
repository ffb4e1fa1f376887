"""Bringing a board's journal home: incremental, verified, resumable; the board loses nothing."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from chargecore import frames
from underdash.archive import segment_path
from underdash.link.client import Board
from underdash.problems import DataError, LinkError, readable, write_whole


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
    byte has arrived and its frames have been checked. `progress(done, total)` counts bytes.
    DataError if the board's segments are not the archive's (a board whose flash was erased).
    """
    board.ready(journal_only=True)
    folder = archive / board.board_id
    with readable(folder):
        folder.mkdir(parents=True, exist_ok=True)
    listed = board.segments()
    held = {number: _size(segment_path(folder, number)) for number, _ in listed}
    _refuse_other_journal(board, folder, listed, held)
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
                part.write_bytes(target.read_bytes() if held[number] else b"")
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
    write_whole(folder / "board.json", json.dumps(board.hello, indent=1, sort_keys=True).encode() + b"\n")
    return Pulled(folder, total, sum(size for _, size in listed), len(listed))


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def _refuse_other_journal(board: Board, folder: Path, listed: list[tuple[int, int]], held: dict[int, int]) -> None:
    """A board that was erased counts its segments from 1 again: do not mix two lives."""
    for number, size in listed:
        if held[number] > size:
            raise DataError(_other(board, folder, number))
    common = [number for number, _ in listed if held[number]]
    if common:
        mine = segment_path(folder, common[-1]).read_bytes()[:256]
        if b"".join(board.read(common[-1], 0, len(mine))) != mine:
            raise DataError(_other(board, folder, common[-1]))


def _other(board: Board, folder: Path, number: int) -> str:
    return (f"{folder}: holds another segment {number} than board {board.board_id}, whose flash was perhaps "
            "erased; nothing was changed: pull into another archive folder")  # fmt: skip


def _damaged_there(board: Board, number: int, content: bytes) -> bool:
    """Is the damage on the board itself? Then a second reading brings the same bytes."""
    return b"".join(board.read(number, 0, len(content))) == content
