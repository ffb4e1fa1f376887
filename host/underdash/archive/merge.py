"""Two pulls from two computers become one archive; nothing is lost, nothing is mixed, nothing is half-written.

Of two copies of a segment one may serve for the other:

* it begins with all of the other: segments only grow;
* it is as long or longer, and where the two differ there is a whole frame in it and damage in the other.

"Serves for" is an order: reflexive, transitive, and two copies that serve for each other are the same. A merge keeps
the copy that serves for the other and refuses the segment where neither does, so where one copy serves for all, it is
what remains in whatever order the copies come.
"""

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from underdash import archive
from underdash.archive import anchors, checksums, records, survey
from underdash.archive.checksums import Stretches
from underdash.archive.survey import Segment
from underdash.problems import DataError, UsageError, readable, write_whole

_BOARD = "board.json"


@dataclass
class Merged:
    """What a merge did, or would do, to one board's folder: numbers of the segments it added, that grew, and that
    it mended; how many were there already; one line for each that was refused, and for what else was left out."""

    folder: Path
    added: list[int] = field(default_factory=list)
    grown: list[int] = field(default_factory=list)
    mended: list[int] = field(default_factory=list)
    same: int = 0
    anchors: int = 0
    refused: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)

    @property
    def changes(self) -> bool:
        return bool(self.added or self.grown or self.mended or self.anchors)


def merge(
    into: Path, sources: Iterable[Path], dry_run: bool = False, progress: Callable[[int, int], None] = lambda a, b: None
) -> list[Merged]:
    """Merge archives, or boards' folders, into the archive `into`, which need not be there yet.

    One Merged for each folder read. dry_run: say it, but write nothing. UsageError where `into` is no archive or a
    source holds none; DataError where a folder mixes boards.
    """
    if into.is_dir() and archive.numbered(into):
        raise UsageError(f"{into}: is a board's folder; name the archive that it stands in")
    with readable(into):
        if into.exists() and not into.is_dir():
            raise NotADirectoryError
    folders: list[Path] = []
    for source in sources:
        if source.resolve() == into.resolve():
            raise UsageError(f"{source}: cannot be merged into itself; name another archive")
        folders += archive.boards(source)
    plans: list[_Plan] = []
    for done, place in enumerate(folders):
        segments = survey.folder(place)
        board = survey.board_of(place, segments)
        target = _home(into, board)
        # A dry run writes nothing, so what came before this folder has to be remembered.
        earlier = [plan for plan in plans if plan.done.folder == target] if dry_run else []
        plan = _plan(place, segments, target, earlier)
        if not dry_run:
            plan.carry_out()
        plans.append(plan)
        progress(done + 1, len(folders))
    return [plan.done for plan in plans]


def _home(into: Path, board: str) -> Path:
    """The folder that the archive has for a board: the one that holds it, else the one of its name."""
    inside = sorted(path for path in into.iterdir() if path.is_dir()) if into.is_dir() else []
    homes = [path for path in inside if archive.numbered(path) and survey.owner(path) == board]
    if len(homes) > 1:
        raise DataError(
            f"{into}: {homes[0].name} and {homes[1].name} both hold board {board}; merge them elsewhere first"
        )
    if not homes and into / board in inside and archive.numbered(into / board):
        holds = survey.owner(into / board)
        raise DataError(f"{into / board}: holds board {holds}; give that folder the name {holds} and merge again")
    return homes[0] if homes else into / board


def serves(copy: bytes, damage: Stretches, other: bytes, other_damage: Stretches) -> bool:
    """Can `copy` stand in the other's place? `damage`: their stretches that are no whole frame."""
    if len(copy) < len(other):
        return False
    if copy.startswith(other):
        return True
    return all(
        _within(place, other_damage) and not _within(place, damage)
        for place, (mine, theirs) in enumerate(zip(copy, other, strict=False))
        if mine != theirs
    )


def _within(place: int, stretches: Stretches) -> bool:
    return any(offset <= place < offset + length for offset, length in stretches)


@dataclass
class _Plan:
    """What is to be written to one board's folder, and what will be told of it."""

    done: Merged
    segments: dict[int, Segment]  # of the folder as it will be
    contents: dict[int, bytes]  # to write
    checksums: dict[int, checksums.Checksum]
    anchors: set[str]
    board_json: bytes | None

    def carry_out(self) -> None:
        """Segments first: a checksum that is behind is of a segment that has grown, one ahead would look like rot."""
        for number, content in self.contents.items():
            write_whole(archive.segment_path(self.done.folder, number), content)
        if self.checksums:
            checksums.write(self.done.folder, self.checksums.values())
        if self.anchors:
            records.write(self.done.folder / anchors.FILE, self.anchors)
        if self.board_json is not None and self.board_json != _content(self.done.folder / _BOARD):
            write_whole(self.done.folder / _BOARD, self.board_json)


def _plan(place: Path, segments: list[Segment], target: Path, earlier: list[_Plan]) -> _Plan:
    if earlier:
        last = earlier[-1]
        mine, sums, lines, said = last.segments, last.checksums, last.anchors, last.board_json
    else:
        there = survey.folder(target) if target.is_dir() else []
        mine = {one.number: one for one in there}
        sums, _ = checksums.read(target)
        lines, said = set(records.lines(target / anchors.FILE)), _content(target / _BOARD)
    theirs = {one.number: one for one in segments}
    done = Merged(target)
    plan = _Plan(done, dict(mine), {}, dict(sums), set(lines), said)
    parts, _ = survey.others(place)
    done.left_out += [f"{place / name}: left behind by a pull that was interrupted; pull again" for name in parts]
    lives = [_two_lives(mine[number], their) for number, their in theirs.items() if number in mine]
    if not any(lives):
        lives.append(_out_of_order(place, segments, target, mine))
    if found := [line for line in lives if line]:
        done.refused += found  # of another life of the board, nothing belongs here, its times neither
        return plan
    for number, their in theirs.items():
        _settle(plan, number, mine.get(number), their)
    their_lines = records.lines(place / anchors.FILE)
    good = {line for line in their_lines if records.opened(line) is not None}
    if broken := len(their_lines) - len(good):
        done.left_out.append(f"{place / anchors.FILE}: {broken} damaged lines; the dates in them are lost")
    done.anchors = len(good - plan.anchors)
    plan.anchors |= good
    plan.board_json = _newer(mine, said, theirs, _content(place / _BOARD))
    return plan


def _settle(plan: _Plan, number: int, mine: Segment | None, their: Segment) -> None:
    """Decide which of two copies of a segment stays."""
    done = plan.done
    for one in filter(None, (their, mine)):
        if one.misnamed is not None:
            done.refused.append(f"{one.path}: not merged: it {archive.misnamed(one.misnamed, number)}")
            return
    if mine is None and their.content and their.header is None and not their.spans:
        done.refused.append(f"{their.path}: not merged: nothing in it can be read; pull that board once more")
        return
    own = plan.checksums.get(number)
    stays = None
    if mine is None:
        done.added.append(number)
    elif serves(mine.content, mine.damaged, their.content, their.damaged):
        done.same += 1
        stays = checksums.best(mine.content, own, their.checksum)
    elif serves(their.content, their.damaged, mine.content, mine.damaged):
        (done.grown if their.content.startswith(mine.content) else done.mended).append(number)
    else:
        done.refused.append(
            f"{mine.path} and {their.path}: each has damage where the other is whole or goes on; both stay as they "
            "are: pull the board once more into a new archive and merge that"
        )
        return
    if not (mine and serves(mine.content, mine.damaged, their.content, their.damaged)):
        plan.contents[number] = their.content
        plan.segments[number] = their
        stays = checksums.best(their.content, their.checksum, own)
    plan.checksums.pop(number, None)
    if stays:
        plan.checksums[number] = stays


def _two_lives(mine: Segment, their: Segment) -> str | None:
    """The line for two copies that differ where both are whole: no damage explains that, nor a name."""
    if mine.misnamed is not None or their.misnamed is not None:
        return None
    for place, (ours, other) in enumerate(zip(mine.content, their.content, strict=False)):
        if ours != other and not _within(place, mine.damaged) and not _within(place, their.damaged):
            return (
                f"{mine.path} and {their.path}: whole, but not the same: another life of the board, whose flash was "
                f"erased; nothing of {their.path.parent} was merged: keep it in an archive of its own"
            )
    return None


def _out_of_order(place: Path, segments: list[Segment], target: Path, mine: dict[int, Segment]) -> str | None:
    """Why nothing of this folder can belong to the target: numbers, boots and rows count up for a board's life."""
    both = {**mine, **{one.number: one for one in segments if one.number not in mine}}
    headed = [(one.header, one.path) for _, one in sorted(both.items()) if one.header and one.misnamed is None]
    for (before, first), (after, second) in pairwise(headed):
        if after.boot < before.boot or after.first_row < before.first_row:
            return (
                f"{first} and {second}: boots and rows do not count on from one to the other: another life of the "
                f"board; nothing of {place} was merged into {target}: keep it apart"
            )
    return None


def _content(path: Path) -> bytes | None:
    with readable(path):
        return path.read_bytes() if path.exists() else None


def _newer(
    mine: dict[int, Segment], my_json: bytes | None, theirs: dict[int, Segment], their_json: bytes | None
) -> bytes | None:
    """What the board said of itself where more of its journal was there already."""

    def reach(segments: dict[int, Segment], said: bytes) -> tuple[int, int, bytes]:
        newest = max((number for number, one in segments.items() if one.misnamed is None), default=0)
        return newest, len(segments[newest].content) if newest else 0, said

    if their_json is None or not _is_json(their_json):
        return my_json
    if my_json is None or reach(theirs, their_json) > reach(mine, my_json):
        return their_json
    return my_json


def _is_json(content: bytes) -> bool:
    try:
        return isinstance(json.loads(content), dict)
    except ValueError:
        return False
