"""Warnings under two sets of thresholds, matched by overlap in time: what is the same, appears, vanishes, changes."""

from collections.abc import Sequence
from dataclasses import dataclass

from underdash.review.what_if.warned import KINDS, Warned

SAME = "same"


@dataclass(frozen=True)
class Match:
    """Warnings of one kind that overlap in time: under the set in force, and under the other. One of the two may be
    empty; several on a side are one long one on the other, cut up."""

    now: tuple[Warned, ...]
    then: tuple[Warned, ...]

    @property
    def first(self) -> Warned:
        return min(self.now + self.then, key=lambda one: one.start_ms)

    @property
    def effects(self) -> tuple[str, ...]:
        """What the other set does to it, in words; (SAME,) if nothing."""
        if not self.now:
            return ("appears",)
        if not self.then:
            return ("vanishes",)
        found = []
        if len(self.then) != len(self.now):
            found.append("splits" if len(self.then) > len(self.now) else "joins")
        if longer_ms := length_ms(self.then) - length_ms(self.now):
            found.append("longer" if longer_ms > 0 else "shorter")
        if later_ms := self.then[0].shown_ms - self.now[0].shown_ms:
            found.append("shown later" if later_ms > 0 else "shown earlier")
        if not found and [one.start_ms for one in self.now] != [one.start_ms for one in self.then]:
            found.append("moves")
        return tuple(found) or (SAME,)


def length_ms(several: Sequence[Warned]) -> int:
    """How long they were together [ms]."""
    return sum(one.length_ms for one in several)


def match(now: Sequence[Warned], then: Sequence[Warned]) -> list[Match]:
    """Every warning of both sides once, in order of time."""
    found = []
    for kind in KINDS:
        pool = sorted(
            ((one.part, one.start_ms, one.end_ms, side, one)
             for side, warnings in enumerate((now, then)) for one in warnings if one.kind == kind),
            key=lambda entry: entry[:4],
        )  # fmt: skip
        sides: tuple[list[Warned], list[Warned]] = ([], [])
        part, until_ms = -1, 0
        for in_part, start_ms, end_ms, side, one in pool:
            if (in_part != part or start_ms >= until_ms) and any(sides):
                found.append(Match(tuple(sides[0]), tuple(sides[1])))
                sides = ([], [])
            until_ms = max(until_ms if any(sides) else start_ms, end_ms, start_ms + 1)
            part = in_part
            sides[side].append(one)
        if any(sides):
            found.append(Match(tuple(sides[0]), tuple(sides[1])))
    return sorted(found, key=lambda each: (each.first.part, each.first.start_ms))
