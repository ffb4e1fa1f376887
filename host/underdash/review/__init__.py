"""The review: rows from a board or a log, judged by chargecore, explained."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from underdash import archive
from underdash.problems import UsageError
from underdash.review.rows import Rows


def review(source: Path, columns: Mapping[str, str] | None = None) -> tuple[dict[str, Any], Rows]:
    """Review a board's folder, an archive, a segment or a CSV log: (report, rows).

    columns: see foreign.from_csv. UnderdashError tells what is wrong with the source.
    """
    from underdash.review import analysis, findings, foreign, rows

    if source.suffix.lower() == ".csv":
        table, account = foreign.from_csv(source, columns)
    elif columns:
        raise UsageError(f"{source}: columns can be named for CSV files only")
    else:
        table, account = rows.from_segments(archive.segments(source))
    report = analysis.analyse(source.name, table, account)
    report["findings"] = findings.findings(report)
    return report, table
