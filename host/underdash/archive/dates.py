"""When each boot was: anchors and the order of boots give every t = 0 a date, bounds, or neither.

What is known of boot b's t = 0, Z(b) [s since 1970]:

* an anchor of b: Z(b) = unix - uptime, give or take its uncertainty and what the board's crystal may be off;
* the order of boots: whatever b did, it did after all that b - 1 did: Z(b) + first(b) >= Z(b - 1) + last(b - 1), with
  first and last its first and last sign of life, a row or an answer to a pull [s since power-up]. A start without a
  power cut goes on counting, and this holds for it too.

With gap(b) = last(b - 1) - first(b) and u(b) = Z(b) - gap(1) - ... - gap(b) the order says that u never falls, and
an anchor is an interval of u. Where no u that never falls meets all anchors, a computer's clock was wrong. Then the
most anchors that one u can meet are looked for, and an anchor counts only if every such choice has it in it: the
others are told, not used. Two that contradict each other, with nothing else to say which, count neither.
"""

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from underdash.archive import anchors, survey
from underdash.archive.anchors import Anchor

# What the board's clock may be off, as a share: twice the 50 ppm that crystals of such boards are sold with at
# room temperature, for the car's heat and cold (from memory, no source).
CRYSTAL = 100e-6
# No board had this firmware before 2024-01-01: a clock that shows less was never set.
EARLIEST_S = 1704067200.0
_INFINITE = float("inf")


@dataclass(frozen=True)
class Told:
    """A segment's header that says when it was opened [s since 1970]: after `after_s` and before `before_s` of
    its boot [s since power-up]."""

    segment: int
    boot: int
    unix_s: float
    after_s: float
    before_s: float


@dataclass(frozen=True)
class Stretch:
    """What the journal holds of one boot: when its first and last row ended [s since power-up], and how many rows."""

    boot: int
    first_s: float
    last_s: float
    rows: int


@dataclass(frozen=True)
class BootDate:
    """When one boot's t = 0 was.

    how: `anchored` (unix_s [s since 1970] give or take uncertainty_s [s]), `bounded` (not before after_s, not after
    before_s [s since 1970], one of them may be None) or `undated`. utc_offset_s: what local time was ahead of UTC at
    the anchor that dates it, or at the next one [s].
    """

    boot: int
    how: str
    unix_s: float | None = None
    uncertainty_s: float | None = None
    after_s: float | None = None
    before_s: float | None = None
    utc_offset_s: int | None = None

    def iso(self, t_s: float = 0.0) -> str | None:
        """Local time at `t_s` [s since power-up] of this boot, ISO 8601 to the second; None where undated."""
        if self.unix_s is None:
            return None
        return _moment(self.unix_s + t_s, self.utc_offset_s or 0).isoformat(timespec="seconds")

    def between(self, t_s: float = 0.0) -> list[str | None] | None:
        """The earliest and the latest that `t_s` of a bounded boot can have been, as `iso`, rounded outwards; one of
        them may be None. None where the boot is dated, or not even bounded."""
        if self.how != "bounded":
            return None
        offset_s = self.utc_offset_s or 0
        early = None if self.after_s is None else math.floor(self.after_s + t_s * (1 - CRYSTAL))
        late = None if self.before_s is None else math.ceil(self.before_s + t_s * (1 + CRYSTAL))
        return [None if one is None else _moment(one, offset_s).isoformat() for one in (early, late)]

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True)
class Dates:
    """Boots by number, and each contradiction between the clocks as one line."""

    boots: dict[int, BootDate]
    contradictions: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Evidence:
    boot: int
    low: float  # of Z [s since 1970]
    high: float
    words: str
    utc_offset_s: int | None = None


def dates(folder: Path) -> Dates:
    """Date the boots of a board's folder. UnderdashError if it cannot be read."""
    segments = survey.folder(folder)
    return reckon(stretches(segments), anchors.read(folder)[0], told_by(segments))


def of_board(folder: Path, board: str | None) -> dict[int, BootDate]:
    """The boots of a board whose segments stand in this folder: none where it holds another board's too, for then
    nobody knows whose its anchors are. UnderdashError if it cannot be read."""
    segments = survey.folder(folder)
    if {segment.board for segment in segments} - {None, board}:
        return {}
    return reckon(stretches(segments), anchors.read(folder)[0], told_by(segments)).boots


def stretches(segments: list[survey.Segment]) -> list[Stretch]:
    """The boots in these segments. Rows behind a damaged header belong to no boot for sure: they date nothing. Nor do
    those of a segment under another's name."""
    spans: dict[int, list[survey.Span]] = {}
    for segment in segments:
        if segment.header and segment.misnamed is None:
            spans.setdefault(segment.header.boot, []).extend(span for span in segment.spans if span.count)
    return [
        Stretch(boot, min(one.first_s for one in found), max(found, key=lambda one: one.first_s).last_s,
                sum(one.count for one in found))
        for boot, found in sorted(spans.items()) if found
    ]  # fmt: skip


def told_by(segments: list[survey.Segment]) -> list[Told]:
    """What segments' headers say of the time: nothing, unless the board was ever told it."""
    found = []
    last: dict[int, float] = {}
    for segment in segments:
        if (header := segment.header) is None or segment.misnamed is not None:
            continue
        if header.unix_s:
            before = segment.spans[0].first_s if segment.spans else last.get(header.boot, 0.0) + _INFINITE
            found.append(Told(segment.number, header.boot, header.unix_s, last.get(header.boot, 0.0), before))
        if segment.spans:
            last[header.boot] = segment.spans[-1].last_s
    return found


def reckon(boots: Iterable[Stretch], known: Iterable[Anchor], told: Iterable[Told] = ()) -> Dates:
    """Date the boots from what is known of them."""
    known = list(known)
    lived = _lived({one.boot: one for one in boots}, known)
    heard = [_from_anchor(anchor) for anchor in known]
    heard += [_from_header(header) for header in told if header.boot in lived]
    said = [one for one in heard if one.high >= EARLIEST_S]
    order = sorted(lived)
    shift = _shifts(order, lived)
    used = _agreeing(said, order, shift)
    found = {boot: _date(boot, order, shift, used) for boot in order}
    unset = [f"{one.words}; that clock was not set: not used" for one in heard if one not in said]
    return Dates(found, unset + [_told(one, found[one.boot], used) for one in said if one not in used])


def _from_anchor(anchor: Anchor) -> _Evidence:
    middle = anchor.unix_s - anchor.uptime_s
    doubt = anchor.uncertainty_s + CRYSTAL * anchor.uptime_s
    return _Evidence(anchor.boot, middle - doubt, middle + doubt,
                     f"a pull's clock said {utc(anchor.unix_s)} at {anchor.uptime_s:.0f} s of boot {anchor.boot}",
                     anchor.utc_offset_s)  # fmt: skip


def _from_header(told: Told) -> _Evidence:
    low = told.unix_s - told.before_s * (1 + CRYSTAL)
    high = told.unix_s + 1 - told.after_s * (1 - CRYSTAL)
    return _Evidence(told.boot, low, high, f"segment {told.segment} of boot {told.boot} says {utc(told.unix_s)}")


def _lived(journal: dict[int, Stretch], known: list[Anchor]) -> dict[int, tuple[float, float]]:
    """When each boot's first and last sign of life was, a row or an answer to a pull [s since power-up]."""
    found = {boot: (one.first_s, one.last_s) for boot, one in journal.items()}
    for anchor in known:
        early, late = anchor.uptime_s + anchor.uncertainty_s, anchor.uptime_s - anchor.uncertainty_s
        first, last = found.get(anchor.boot, (early, late))
        found[anchor.boot] = min(first, early), max(last, late)
    return found


def _shifts(order: list[int], lived: dict[int, tuple[float, float]]) -> dict[int, float]:
    """Z(b) - u(b): the gaps summed, each taken as short as the crystal allows."""
    shift = {}
    total = 0.0
    before_s: float | None = None
    for boot in order:
        first_s, last_s = lived[boot]
        if before_s is not None:
            total += before_s * (1 - CRYSTAL) - first_s * (1 + CRYSTAL)
        before_s = last_s
        shift[boot] = total
    return shift


def _agreeing(said: list[_Evidence], order: list[int], shift: dict[int, float]) -> list[_Evidence]:
    """Those that every largest set of evidence without contradiction has in it.

    u may be taken from the intervals' lower ends alone: moving it down to the next one loses no interval.
    """
    if not said:
        return []
    values = sorted({one.low - shift[one.boot] for one in said})
    values.insert(0, -_INFINITE)  # below all of them: meets none
    met = {boot: [0] * len(values) for boot in order}
    for one in said:
        low, high = one.low - shift[one.boot], one.high - shift[one.boot]
        for index, value in enumerate(values):
            met[one.boot][index] += low <= value <= high
    # The most that can be met up to each boot with u there at a value, and from each boot on.
    until: dict[int, list[int]] = {}
    best = [0] * len(values)
    for boot in order:
        until[boot] = [most + here for most, here in zip(_running_max(best), met[boot], strict=True)]
        best = until[boot]
    most = max(best)
    if most == len(said):
        return said
    since: dict[int, list[int]] = {}
    best = [0] * len(values)
    for boot in reversed(order):
        since[boot] = [top + here for top, here in zip(_running_max(best[::-1])[::-1], met[boot], strict=True)]
        best = since[boot]
    needed = []
    for one in said:
        low, high = one.low - shift[one.boot], one.high - shift[one.boot]
        without = [
            before + after - here
            for value, before, after, here in zip(values, until[one.boot], since[one.boot], met[one.boot], strict=True)
            if not low <= value <= high
        ]
        if max(without) < most:
            needed.append(one)
    return needed


def _running_max(values: list[int]) -> list[int]:
    found: list[int] = []
    for value in values:
        found.append(max(value, found[-1]) if found else value)
    return found


def _date(boot: int, order: list[int], shift: dict[int, float], used: list[_Evidence]) -> BootDate:
    before = [one for one in used if one.boot <= boot]
    after = [one for one in used if one.boot >= boot]
    low = max((one.low - shift[one.boot] for one in before), default=-_INFINITE) + shift[boot]
    high = min((one.high - shift[one.boot] for one in after), default=_INFINITE) + shift[boot]
    offsets = [one.utc_offset_s for one in [*after, *reversed(before)] if one.utc_offset_s is not None]
    offset = offsets[0] if offsets else None
    if any(one.boot == boot and one.high < _INFINITE and one.low > -_INFINITE for one in used):
        middle, half = (low + high) / 2, (high - low) / 2
        return BootDate(boot, "anchored", round(middle, 3), round(half, 3), utc_offset_s=offset)
    if low == -_INFINITE and high == _INFINITE:
        return BootDate(boot, "undated")
    return BootDate(
        boot, "bounded", utc_offset_s=offset,
        after_s=round(low, 3) if low > -_INFINITE else None,
        before_s=round(high, 3) if high < _INFINITE else None)  # fmt: skip


def _told(one: _Evidence, date: BootDate, used: list[_Evidence]) -> str:
    """What a reader of the dates is told of evidence that was not used."""
    if not used:
        return f"{one.words}; the clocks contradict each other, and none of them is used"
    if date.how == "anchored":
        assert date.unix_s is not None
        return f"{one.words}; the others put the boot's start at {utc(date.unix_s)}: not used"
    after = f"after {utc(date.after_s)}" if date.after_s is not None else ""
    until = f"before {utc(date.before_s)}" if date.before_s is not None else ""
    return f"{one.words}; the others put the boot's start {' and '.join(filter(None, (after, until)))}: not used"


def utc(unix_s: float) -> str:
    """A moment [s since 1970] as text."""
    return _moment(unix_s, 0).strftime("%Y-%m-%d %H:%M:%S UTC")


def _moment(unix_s: float, offset_s: int) -> datetime:
    zone = timezone(timedelta(seconds=offset_s)) if offset_s else UTC
    return datetime(1970, 1, 1, tzinfo=UTC).astimezone(zone) + timedelta(seconds=unix_s)
