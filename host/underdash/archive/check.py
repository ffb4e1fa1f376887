"""What is in an archive and how it fares: boards, segments, boots and their dates, gaps, damage, rot."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from chargecore import engine
from underdash import archive
from underdash.archive import anchors, checksums, dates, survey
from underdash.archive.bitstreams import Ints
from underdash.archive.dates import BootDate, Dates, Stretch
from underdash.archive.lockstep import Decoded, decode
from underdash.archive.survey import Segment, Span
from underdash.problems import DataError

# What docs/journal-format.md calls a hole between two rows [ms].
_HOLE_MS = 10_000
_HOLE_AT_REST_MS = 65_535


@dataclass(frozen=True)
class Damage:
    """Bytes of a segment that are no whole frame, or that are gone.

    when: `before the pull`, `since the pull`, or `unknown` where nobody kept a checksum.
    """

    segment: int
    offset: int
    length: int
    when: str
    what: str


@dataclass(frozen=True)
class Gap:
    """A hole between two rows of a boot: after start_s [s since power-up], length_s long [s], rows missing from the
    numbering, and why."""

    boot: int
    start_s: float
    length_s: float
    rows: int
    why: str


@dataclass
class Checked:
    """What one board's folder holds. Everything told here is in docs/archive.md."""

    folder: Path
    board: str
    segments: int = 0
    bytes: int = 0
    rows: int = 0
    lost_rows: int = 0
    boots: list[tuple[Stretch, BootDate]] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    damage: list[Damage] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def damaged(self) -> bool:
        return bool(self.damage or self.problems)

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "folder": str(self.folder),
            "board": self.board,
            "segments": self.segments,
            "bytes": self.bytes,
            "rows": self.rows,
            "lost_rows": self.lost_rows,
            "damaged_bytes": sum(one.length for one in self.damage),
            "boots": [
                {**vars(stretch), **date.as_dict(), "first_row_at": date.iso(stretch.first_s)}
                for stretch, date in self.boots
            ],
            "gaps": [vars(gap) for gap in self.gaps],
            "damage": [vars(one) for one in self.damage],
            "problems": self.problems,
            "notes": self.notes,
        }


def check(source: Path) -> list[Checked]:
    """Look at every board's folder in an archive, or at one. UsageError if it is neither."""
    return [check_board(place) for place in archive.boards(source)]


def check_board(place: Path) -> Checked:
    """Look at one board's folder. A damaged segment costs its damaged frames and is told, never more."""
    segments = survey.folder(place)
    try:
        found = Checked(place, survey.board_of(place, segments))
    except DataError as problem:
        found = Checked(place, survey.owner(place))
        found.problems.append(str(problem))
        segments = [one for one in segments if one.board in (None, found.board)]
    found.segments, found.bytes = len(segments), sum(len(one.content) for one in segments)
    for segment in segments:
        _look_at(found, segment)
    _missing(found, place, segments)
    known, broken = anchors.read(place)
    if broken:
        found.problems.append(f"{place / anchors.FILE}: {broken} damaged lines; the dates in them are lost")
    _rows(found, [one for one in segments if one.misnamed is None])
    boots = {one.boot: one for one in dates.stretches(segments)}
    dated: Dates = dates.reckon(boots.values(), known, dates.told_by(segments))
    found.boots = [(boots.get(boot, Stretch(boot, 0.0, 0.0, 0)), date) for boot, date in dated.boots.items()]
    found.notes += dated.contradictions
    parts, foreign = survey.others(place)
    found.notes += [f"{name}: left behind by a pull that was interrupted; the next pull goes on" for name in parts]
    found.notes += [f"{name}: none of the archive's files; not looked at" for name in foreign]
    return found


def _look_at(found: Checked, segment: Segment) -> None:
    name, size = segment.path.name, len(segment.content)
    kept = segment.checksum
    when = "unknown"
    if kept:
        when = "before the pull" if segment.as_pulled else "since the pull"
        if size < kept.length:
            found.damage.append(Damage(segment.number, size, kept.length - size, "since the pull", "cut off"))
    before = set(kept.damaged) if kept else set()
    for offset, length in segment.damaged:
        then = "before the pull" if (offset, length) in before else when
        if kept and offset >= kept.length:
            then = "unknown"  # it has grown past its checksum: a pull or a merge was interrupted
        found.damage.append(Damage(segment.number, offset, length, then, _what(segment, offset, length)))
    if kept and not segment.as_pulled and size >= kept.length and not set(segment.damaged) - before:
        place = before and f" (bytes {', '.join(f'{a} to {a + n - 1}' for a, n in sorted(before))})"
        found.problems.append(f"{name}: changed since the pull, where it was damaged already{place or ''}")
    if not size:
        found.notes.append(f"{name}: empty")
    elif segment.header is None:
        found.problems.append(f"{name}: no header can be read; whose boot its {_count(segment)} rows are is not known")
    elif segment.misnamed is not None:
        told = archive.misnamed(segment.misnamed, segment.number)
        found.problems.append(f"{name}: its {_count(segment)} rows are left out: it {told}")
    for offset in segment.refused:
        found.problems.append(f"{name}: the frame at byte {offset} is whole but of no form this Underdash reads")


def _what(segment: Segment, offset: int, length: int) -> str:
    if offset == 0:
        return "header" if segment.spans else "everything"
    return "end" if offset + length == len(segment.content) else "middle"


def _count(segment: Segment) -> int:
    return sum(span.count for span in segment.spans)


def _missing(found: Checked, place: Path, segments: list[Segment]) -> None:
    kept, broken = checksums.read(place)
    if broken:
        found.problems.append(f"{place / checksums.FILE}: {broken} damaged lines; what they told is lost")
    numbers = {one.number for one in segments}
    for number in sorted(set(kept) - numbers):
        found.problems.append(f"{archive.segment_path(place, number).name}: was pulled, and is gone")
    if unknown := sorted(numbers - set(kept)):
        found.notes.append(f"no checksum of segment {_ranges(unknown)}: rot cannot be told from damage on the board")
    inner = set(range(min(numbers, default=0), max(numbers, default=-1) + 1)) - numbers - set(kept)
    if inner:
        found.notes.append(f"no segment {_ranges(sorted(inner))}: an empty one, or gone from the board before a pull")


def _ranges(numbers: list[int]) -> str:
    """1, 3 to 5."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][1] == number - 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(f"{first}" if first == last else f"{first} to {last}" for first, last in runs)


def _rows(found: Checked, segments: list[Segment]) -> None:
    """Count rows, the numbers that are missing, and the holes within each boot."""
    decoded = decode([span.payload for segment in segments for span in segment.spans])
    starts = (np.cumsum(decoded.count) - decoded.count).tolist()
    frames = zip(starts, decoded.count.tolist(), decoded.refused.tolist(), strict=True)
    expected: int | None = 0 if len(segments) > 1 else None  # one segment alone: nobody knows of others
    boot: int | None = None
    chains: list[int | None] = []  # the boot of each run of segments within which holes are looked for
    kept: list[tuple[int, int, int, int]] = []  # first row, one past the last, chain, rows missing before them
    for segment in segments:
        here = segment.header.boot if segment.header else None
        if here is None or here != boot:
            boot = here
            chains.append(boot)
        lost_here = 0
        if segment.header:
            first = segment.header.first_row
            lost_here = max(0, first - expected) if expected is not None else 0
            found.lost_rows += lost_here
            expected = max(expected or 0, first)
        for span in segment.spans:
            start, count, refused = next(frames)
            if refused:
                where = f"{segment.path.name}: the frame at byte {span.offset}"
                found.problems.append(f"{where} is whole but cannot be read: {_unreadable(span)}")
                continue
            jump = max(0, span.number - expected) if expected is not None else 0
            found.lost_rows += jump
            seen = max(0, expected - span.number) if expected is not None else 0
            if seen < count:  # of rows of the same number the first are kept
                kept.append((start + seen, start + count, len(chains) - 1, jump + lost_here))
                lost_here = 0
            expected = max(expected or 0, span.number + count)
    found.rows += sum(stop - first for first, stop, _, _ in kept)
    if kept:
        found.gaps += _holes(decoded, np.array(kept), chains)


def _unreadable(span: Span) -> str:
    try:
        span.rows()
    except ValueError as problem:
        return str(problem)
    raise AssertionError(f"the frame at byte {span.offset} can be read after all")


def _holes(decoded: Decoded, kept: Ints, chains: list[int | None]) -> list[Gap]:
    """The holes between successive rows of a chain. kept: as in _rows."""
    counts = kept[:, 1] - kept[:, 0]
    begins = np.cumsum(counts) - counts
    place = np.arange(counts.sum()) + np.repeat(kept[:, 0] - begins, counts)
    t_ms, state, chain = decoded.t_ms[place], decoded.state[place], np.repeat(kept[:, 2], counts)
    missing = np.zeros(len(place), np.int64)
    missing[begins] = kept[:, 3]
    limit_ms = np.where(state[:-1] == engine.REST, _HOLE_AT_REST_MS, _HOLE_MS)
    holes = (chain[1:] == chain[:-1]) & ((np.diff(t_ms) > limit_ms) | (missing[1:] > 0))
    found = []
    for before in np.flatnonzero(holes).tolist():
        boot, lost = chains[int(chain[before])], int(missing[before + 1])
        if boot is not None:
            start_ms, end_ms = int(t_ms[before]), int(t_ms[before + 1])
            why = f"{lost} rows are lost" if lost else "nothing was written"
            found.append(Gap(boot, start_ms / 1000, (end_ms - start_ms) / 1000, lost, why))
    return found
