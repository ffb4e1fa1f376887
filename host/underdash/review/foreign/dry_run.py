"""The dry run of several logs: each looked at, and whether they go together."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from underdash.problems import UnderdashError
from underdash.review.foreign.covered import no_overlap
from underdash.review.foreign.options import Options
from underdash.review.foreign.several import no_copies
from underdash.review.foreign.understood import Understood, understand


@dataclass(frozen=True)
class Looked:
    """understood: of each log of which at least the layout is plain. refused: why they cannot be reviewed, the gravest
    (by its exit code) last; empty if they can."""

    understood: list[Understood]
    refused: list[UnderdashError]


def look(paths: Sequence[Path], options: Options) -> Looked:
    """Read each of these logs without judging it; nothing is raised for what is wrong with one of them."""
    plain: list[Path] = []
    understood: list[Understood] = []
    refused: list[UnderdashError] = []
    for path in paths:
        try:
            found = understand(path, options)
        except UnderdashError as problem:
            refused.append(problem)
            continue
        plain.append(path)
        understood.append(found)
        if found.refused is not None:
            refused.append(found.refused)
    try:
        no_copies(plain)
        no_overlap([one.covered for one in understood if one.covered is not None])
    except UnderdashError as problem:
        refused.append(problem)
    return Looked(understood, sorted(refused, key=lambda problem: problem.exit_code))
