"""Findings that say the same, told once: what differs between them is figures."""

import re
from typing import Any

_FIGURES = re.compile(r"(at most )?[\d.,]*\d( (s|min|h)\b)?( \d+ (s|min)\b)?")  # a number; a length of time whole
_STRETCHES = re.compile(r", in # stretches| in # stretches")


def alike(findings: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """The findings in groups, each where its first stands; those of a drive apart from those of none."""
    found: dict[Any, list[dict[str, Any]]] = {}
    for finding in findings:
        words = _STRETCHES.sub("", _FIGURES.sub("#", finding["text"]))
        found.setdefault((finding["drive"] is None, finding["weight"], words), []).append(finding)
    return list(found.values())


def in_others(same: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Of a group a finding for each other drive that shows it, by number; none for the first's own, and none where it
    is about no drive."""
    first: dict[int, dict[str, Any]] = {}
    for one in same:
        if one["drive"] not in (None, same[0]["drive"]):
            first.setdefault(one["drive"], one)
    return [first[number] for number in sorted(first)]


def again(same: list[dict[str, Any]]) -> str:
    """How often else a group's first is so, in words, where that is in no other drive: nothing for once."""
    more = len(same) - 1
    if not more or in_others(same):
        return ""
    often = "once more" if more == 1 else f"{more} more times"
    if same[0]["drive"] is not None:
        return f"much the same {often} in this drive"
    last = max(same[1:], key=lambda one: -1 if one["row"] is None else one["row"])
    return f"much the same {often}, {'' if more == 1 else 'the last '}{last['evidence']}"
