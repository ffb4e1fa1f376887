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
from underdash.review.foreign.covered import Covered, in_order, no_overlap
from underdash.review.foreign.options import Options
from underdash.review.foreign.times import Begun
from underdash.review.rows import Account, Lines, Rows


def logs(sources: Sequence[Path]) -> list[Path]:
    """The logs that `sources` are: each one itself, or those in a folder that holds no journal. None if it is a single
    source of another kind; UsageError if there are several and not all are logs."""
    found: list[Path] = []
    for source in sources:
        inside = _inside(source) if source.is_dir() else [source] if source.suffix.lower() in SUFFIXES else []
        if not inside and len(sources) > 1:
            what = "holds a journal, no logs alone" if holds_journal(source) else "is no log"
            raise UsageError(f"{source}: {what}; of several sources each has to be one ({', '.join(sorted(SUFFIXES))})")
        found += inside
    return found


def _inside(folder: Path) -> list[Path]:
    return [] if holds_journal(folder) else [path for path in _files(folder) if path.suffix.lower() in SUFFIXES]


def holds_journal(folder: Path) -> bool:
    """Whether it is a folder with segments of a board in it: then what else is there is not read."""
    return folder.is_dir() and any(path.suffix == SUFFIX for path in _files(folder))


def beside_journal(source: Path) -> str | None:
    """What to say of a folder in which logs stand beside a journal, for they are not read; None of any other source."""
    if not holds_journal(source):
        return None
    found = [path.name for path in _files(source) if path.suffix.lower() in SUFFIXES]
    if not found:
        return None
    more = f" and {len(found) - 1} more" if len(found) > 1 else ""
    return f"{source}: holds a journal, and that is read; {found[0]}{more} beside it not: name logs to review them"


def no_options(source: Path, options: Options) -> None:
    """UsageError where options of logs are given for what is no log."""
    if options == Options():
        return
    why = "holds a journal; " if holds_journal(source) else ""
    known = ", ".join(sorted(SUFFIXES))
    raise UsageError(f"{source}: {why}columns and the like can be told of logs only ({known})")


def _files(folder: Path) -> list[Path]:
    with readable(folder):
        return sorted(path for path in folder.iterdir() if path.is_file())


def no_copies(paths: Sequence[Path]) -> None:
    """UsageError where two of these logs are the same, byte for byte."""
    seen: dict[bytes, Path] = {}
    for path in paths:
        with readable(path):
            content = sha256(path.read_bytes()).digest()
            if other := seen.get(content):
                if path.samefile(other):
                    raise UsageError(f"{path}: is named twice; name it once")
                raise UsageError(f"{path}: is the same as {other}; leave one of them out")
        seen[content] = path


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
    two logs are the same, or hold the same time.
    """
    no_copies(paths)
    read = [(path, *from_csv(path, columns, thresholds, options)) for path in paths]
    covered = [Covered.of(path, _begun(account), rows.t_s) for path, rows, account in read]
    no_overlap(covered)
    read = [read[at] for at in in_order(covered)]
    whole, boots = Account(thresholds=read[0][2].thresholds), 0
    parts: list[Rows] = []
    known: list[Lines] = []
    whole.step_mv = max((one.step_mv for _, _, one in read if one.step_mv is not None), default=None)
    for path, rows, account in read:
        rows = replace(rows, boot=rows.boot + boots)
        whole.origins = {**whole.origins, **{boot + boots: origin for boot, origin in account.origins.items()}}
        whole.logs.update(dict.fromkeys(np.unique(rows.boot).tolist(), path.name))
        if account.lines is not None:
            known.append(replace(account.lines, boot=account.lines.boot + boots))
        boots = int(rows.boot[-1])
        parts.append(rows)
    if known:
        whole.lines = Lines(**_joined(known))
    return Rows(**_joined(parts)), whole


def _begun(account: Account) -> Begun | None:
    origin = next(iter(account.origins.values()), None)
    return origin if isinstance(origin, Begun) else None


def _joined(parts: Sequence[Rows] | Sequence[Lines]) -> dict[str, Any]:
    """The columns of all parts, one part after the other."""
    return {one.name: np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(parts[0])}
