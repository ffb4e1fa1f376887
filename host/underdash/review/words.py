"""Findings while they are gathered, and times as words."""

from collections.abc import Mapping, Sized
from dataclasses import dataclass, field
from typing import Any

# From the gravest to the reassuring.
WEIGHTS = ("act", "watch", "note", "well")


def duration(seconds: float) -> str:
    """A length of time in words."""
    whole = round(seconds)
    if whole < 120:
        return f"{whole} s"
    if whole < 7200:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole // 60 % 60} min"


def count(many: int | Sized, what: str, several: str = "") -> str:
    """So many of a thing that takes an s for its plural, if not `several`."""
    number = many if isinstance(many, int) else len(many)
    return f"{number} {what if number == 1 else several or what + 's'}"


def figure(value: float, digits: int) -> str:
    """A number with so many decimals, and nothing without a minus."""
    told = f"{value:.{digits}f}"
    return told.lstrip("-") if float(told) == 0.0 else told


def three(value: float) -> str:
    """A number of at most three digits that say something."""
    return f"{float(f'{value:.3g}'):,.10g}"


def times(many: int) -> str:
    """How often, in words."""
    return {1: "once", 2: "twice"}.get(many, f"{many} times")


def on(dated: str | None) -> str:
    """The day of a moment: "on 2026-05-03"; nothing where it is undated."""
    return f"on {dated[:10]}" if dated else ""


def named(number: int, dated: str | None, undated: str = "(undated)") -> str:
    """A drive and its day: "drive 3 on 2026-05-03"; of an undated one `undated` stands for the day."""
    return f"drive {number} {on(dated) or undated}".rstrip()


def furthest(episode: Mapping[str, Any]) -> str:
    """How far an episode's volts went, the way that its kind is about: "lowest 12.41 V"; an overcharge's highest."""
    way = "highest" if episode["kind"] == "overcharge" else "lowest"
    volts = episode[f"{way}_volts"]
    return f"{way} not measured" if volts is None else f"{way} {volts:.2f} V"


def moment(dated: str) -> str:
    """A moment to the minute: "2026-05-03 07:12"."""
    return dated[:16].replace("T", " ")


@dataclass
class Said:
    """Findings in the making."""

    several: bool
    """More than one drive: then the evidence names it."""
    days: dict[int, str | None] = field(default_factory=dict)
    """By a drive's number, when it began, ISO 8601; the evidence names its day, too."""
    found: list[tuple[float, dict[str, Any]]] = field(default_factory=list)

    def add(
        self,
        weight: str,
        text: str,
        evidence: str,
        *,
        drive: int | None = None,
        row: int | None = None,
        t_s: float | None = None,
        cost: float = 0.0,
        dated: str = "",
    ) -> None:
        """One finding. `cost` ranks it among those of its weight, in ampere-hours or what compares with them; `dated`
        is its day in words, where it is of no drive."""
        day = self.days.get(drive or 0)
        if about := dated or (named(drive, day, "") if drive is not None and self.several else on(day)):
            evidence = f"{about}, {evidence}"
        finding = {"weight": weight, "text": text, "evidence": evidence, "drive": drive, "row": row, "t_s": t_s}
        self.found.append((cost, finding))

    def ranked(self) -> list[dict[str, Any]]:
        """The gravest first, and among equals the costlier."""
        order = sorted(self.found, key=lambda pair: (WEIGHTS.index(pair[1]["weight"]), -pair[0]))
        return [finding for _, finding in order]
