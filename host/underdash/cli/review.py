"""`underdash review`: what the drives show, from a board's journal or any log."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from underdash.problems import write_whole

if TYPE_CHECKING:
    from underdash.review.foreign import Options

_PATH = click.Path(path_type=Path)
_LOG_OPTIONS = (
    click.option("--column", multiple=True, metavar="COLUMN=NAME",
                 help="Which of its columns is t_s, volts or amps; #2 for the second. May be repeated."),
    click.option("--unit", multiple=True, metavar="COLUMN=UNIT",
                 help="Of a column whose name tells none: t_s=s, ms, us, min or h; volts=V or mV; amps=A or mA."),
    click.option("--positive", type=click.Choice(["charge", "discharge"]), help="What positive amps do."),
    click.option("--separator", type=click.Choice(["comma", "semicolon", "tab", "pipe", "blank"]), help="Of columns."),
    click.option("--decimal", type=click.Choice(["point", "comma"]), help="Decimal sign."),
    click.option("--encoding", metavar="NAME", help="Of the text, where it is neither UTF-8 nor UTF-16."),
    click.option("--date-order", type=click.Choice(["ymd", "dmy", "mdy"]), help="Of year, month and day."),
    click.option("--time-back", type=click.Choice(["refuse", "sort", "restart"]),
                 help="Where the time goes back: sort the rows, or take it for a recorder that was switched on again."),
    click.option("--hold", type=click.FloatRange(0, 86400), metavar="SECONDS",
                 help="A value stands until the next one, at most so long."),
    click.option("--map", "column_map", type=_PATH, help="A file that keeps all these options."),
    click.option("--dry-run", is_flag=True, help="Say what is understood of the log, and review nothing."),
    click.option("--save-map", type=_PATH, help="Write what was understood of the log as a file for --map."),
)  # fmt: skip


def _log_options(command: Any) -> Any:
    for option in reversed(_LOG_OPTIONS):
        command = option(command)
    return command


@click.command()
@click.argument("source", type=_PATH)
@click.option("--html", type=_PATH, help="Write the one-page report here.")
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON instead of text.")
@click.option("--car", type=_PATH, help="A car file: its plan is held against the drives.")
@_log_options
def review(
    source: Path,
    html: Path | None,
    as_json: bool,
    car: Path | None,
    dry_run: bool,
    save_map: Path | None,
    **of_log: Any,
) -> None:
    """Say what the drives in SOURCE show.

    SOURCE is a board's folder in the archive, one of its segments, or a log of any recorder: a text table (.csv, .tsv,
    .txt, .log, .dat) with the columns t_s [s], volts [V] and, optionally, amps [A], positive when the battery is
    charged. The options from --column on are for a log that is written otherwise; docs/import.md.
    """
    from underdash import carfile
    from underdash import review as reviewing

    options = _options(**of_log)
    if dry_run or save_map:
        from underdash.review import foreign

        understood = foreign.understand(source, options)
        if dry_run:
            click.echo(understood.text)
        if understood.refused:
            raise understood.refused
        if save_map:
            write_whole(save_map, foreign.write_map(understood.options).encode())
            click.echo(f"{save_map}: read the next log of this recorder with --map {save_map}", err=True)
        if dry_run:
            return
    report, rows = reviewing.review(source, car=carfile.read(car) if car else None, options=options)
    if html:
        from underdash.review.page import render

        write_whole(html, render(report, rows).encode())
    if as_json:
        click.echo(json.dumps(report, indent=1))
    else:
        from underdash.review.text import summary

        click.echo(summary(report))


def _options(
    column: tuple[str, ...], unit: tuple[str, ...], column_map: Path | None, hold: float | None, time_back: str | None,
    **others: Any,
) -> Options:  # fmt: skip
    from underdash.review.foreign import Options, options

    told = Options(
        columns=dict(options.check_pair("--column", pair) for pair in column),
        units=dict(options.check_pair("--unit", pair) for pair in unit),
        hold_s=hold,
        time_back=time_back,
        **others,
    )
    return told.over(options.read_map(column_map)) if column_map else told
