"""Several logs of one car as one source, a start of the recorder each: the usual case is a file a drive."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from underdash.archive import SUFFIX
from underdash.problems import UsageError, readable
from underdash.review.foreign import SUFFIXES, from_csv
from underdash.review.foreign.options import Options
from underdash.review.rows import Account, Lines, Rows


def logs(sources: Sequence[Path]) -> list[Path]:
    """The logs that `sources` are: each one itself, or those in a folder that holds no journal. None if it is a single
    source of another kind; UsageError if there are several and not all are logs."""
    found: list[Path] = []
    for source in sources:
        inside = _inside(source) if source.is_dir() else [source] if source.suffix.lower() in SUFFIXES else []
        if not inside and len(sources) > 1:
            raise UsageError(
                f"{source}: is no log; of several sources each has to be one ({', '.join(sorted(SUFFIXES))})"
            )
        found += inside
    return found


def _inside(folder: Path) -> list[Path]:
    with readable(folder):
        files = sorted(path for path in folder.iterdir() if path.is_file())
    return [] if any(path.suffix == SUFFIX for path in files) else [
        path for path in files if path.suffix.lower() in SUFFIXES
    ]  # fmt: skip


def name(sources: Sequence[Path], logs: Sequence[Path]) -> str:
    """What a report calls its source."""
    return sources[0].name if len(sources) == 1 else f"{logs[0].name} and {len(logs) - 1} more"


def from_logs(
    paths: Sequence[Path],
    columns: Mapping[str, str] | None = None,
    thresholds: Mapping[str, int] | None = None,
    options: Options | None = None,
) -> tuple[Rows, Account]:
    """Read and judge logs as `from_csv` does each, in the order of their dates, or as they come if not all have one.

    Boots count on from log to log; `Account.logs` tells of which each is. Errors as from_csv's; UsageError also where
    two logs are the same.
    """
    seen: dict[bytes, Path] = {}
    for path in paths:
        with readable(path):
            other = seen.setdefault(sha256(path.read_bytes()).digest(), path)
        if other is not path:
            raise UsageError(f"{path}: is the same as {other}; leave one of them out")
    read = [(path, *from_csv(path, columns, thresholds, options)) for path in paths]
    if len(read) > 1 and all(account.origins for _, _, account in read):
        read.sort(key=lambda one: one[2].origins[int(one[1].boot[0])].iso(float(one[1].t_s[0])) or "")
    whole, boots = Account(thresholds=read[0][2].thresholds), 0
    parts: list[Rows] = []
    lines: list[Lines | None] = []
    whole.step_mv = min((one.step_mv for _, _, one in read if one.step_mv is not None), default=None)
    for path, rows, account in read:
        rows = replace(rows, boot=rows.boot + boots)
        whole.origins = {**whole.origins, **{boot + boots: origin for boot, origin in account.origins.items()}}
        whole.logs.update(dict.fromkeys(np.unique(rows.boot).tolist(), path.name))
        lines.append(account.lines and replace(account.lines, boot=account.lines.boot + boots))
        boots = int(rows.boot[-1])
        parts.append(rows)
    known = [one for one in lines if one is not None]
    if len(known) == len(lines):
        whole.lines = Lines(**_joined(known))
    return Rows(**_joined(parts)), whole


def _joined(parts: Sequence[Rows] | Sequence[Lines]) -> dict[str, Any]:
    """The columns of all parts, one part after the other."""
    return {one.name: np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(parts[0])}
