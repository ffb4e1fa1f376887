"""The review: rows from a board or a log, judged by chargecore, explained."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from underdash import archive
from underdash.problems import UsageError
from underdash.review.rows import Rows

if TYPE_CHECKING:
    from underdash.carfile import CarFile


def review(
    source: Path, columns: Mapping[str, str] | None = None, car: "CarFile | None" = None
) -> tuple[dict[str, Any], Rows]:
    """Review a board's folder, an archive, a segment or a CSV log: (report, rows).

    columns: see foreign.from_csv. car: held against what the drives show; its thresholds judge a CSV log (a journal
    is judged by those that its board had). UnderdashError tells what is wrong with the source.
    """
    from underdash.review import analysis, answers, findings, foreign, rows

    if source.suffix.lower() == ".csv":
        table, account = foreign.from_csv(source, columns, car.thresholds if car else None)
    elif columns:
        raise UsageError(f"{source}: columns can be named for CSV files only")
    else:
        table, account = rows.from_segments(archive.segments(source))
    report = analysis.analyse(source.name, table, account, car)
    if car is not None:
        from underdash.review.against_plan import against_plan

        report["plan"] = against_plan(report, car)
    report["findings"] = findings.findings(report)
    report["answers"] = answers.answers(report)
    return report, table
