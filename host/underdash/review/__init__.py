"""The review: rows from a board or a log, judged by chargecore, explained."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from underdash import archive
from underdash.review.rows import Rows

if TYPE_CHECKING:
    from underdash.carfile import CarFile
    from underdash.review.foreign import Options


def review(
    source: Path | Sequence[Path],
    columns: Mapping[str, str] | None = None,
    car: "CarFile | None" = None,
    options: "Options | None" = None,
) -> tuple[dict[str, Any], Rows]:
    """Review a board's folder, an archive, a segment, a log, a folder of logs or several logs: (report, rows).

    columns, options: see foreign.from_csv. car: held against what the drives show; its thresholds judge a log (a
    journal is judged by those that its board had). UnderdashError tells what is wrong with the source.
    """
    from underdash.archive import rot
    from underdash.review import analysis, answers, findings, foreign, lost_volts, rows
    from underdash.review.foreign import several
    from underdash.review.season import season

    sources = [source] if isinstance(source, Path) else list(source)
    source = sources[0]
    if logs := several.logs(sources):
        table, account = several.from_logs(logs, columns, car.thresholds if car else None, options)
    else:
        several.no_options(source, foreign.Options(columns=columns) if columns else options or foreign.Options())
        table, account = rows.from_segments(archive.segments(source))
    report = analysis.analyse(several.name(sources, logs), table, account, car)
    report["left_out"] = archive.left_out(source)
    report["rotten"] = [] if logs else rot.since_pull(source)
    if car is not None:
        from underdash.review.against_plan import against_plan

        report["plan"] = against_plan(report, car)
    report["season"] = season(report, table, account.lines)
    report["findings"] = findings.findings(report)
    report["answers"] = answers.answers(report)
    lost_volts.heed(report)
    return report, table
