"""Findings that say the same of several drives, told once: what differs between them is figures."""

import re
from typing import Any

_FIGURES = re.compile(r"(at most )?[\d.,]*\d( (s|min|h)\b)?( \d+ (s|min)\b)?")  # a number; a length of time whole
_STRETCHES = re.compile(r", in # stretches| in # stretches")


def alike(findings: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """The findings in groups, each where its first stands. Those of no single drive stand alone."""
    found: dict[Any, list[dict[str, Any]]] = {}
    for at, finding in enumerate(findings):
        words = _STRETCHES.sub("", _FIGURES.sub("#", finding["text"]))
        found.setdefault(at if finding["drive"] is None else (finding["weight"], words), []).append(finding)
    return list(found.values())
