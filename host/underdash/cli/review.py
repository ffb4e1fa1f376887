"""`underdash review`: what the drives show, from a board's journal or any log."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from underdash.cli.left_out import tell_left_out
from underdash.cli.log_options import log_options, told
from underdash.problems import UsageError, write_whole

if TYPE_CHECKING:
    from underdash.review.foreign import Options

_PATH = click.Path(path_type=Path)


@click.command()
@click.argument("sources", type=_PATH, nargs=-1, required=True, metavar="SOURCE...")
@click.option("--html", type=_PATH, help="Write the one-page report here.")
@click.option("--pages", type=_PATH, help="Write a page for each drive, and one for all, into this folder.")
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON instead of text.")
@click.option("--car", type=_PATH, help="A car file: its plan is held against the drives.")
@log_options
@click.option("--dry-run", is_flag=True, help="Say what is understood of the log, and review nothing.")
@click.option("--save-map", type=_PATH, help="Write what was understood of the log as a file for --map.")
def review(
    sources: tuple[Path, ...],
    html: Path | None,
    pages: Path | None,
    as_json: bool,
    car: Path | None,
    dry_run: bool,
    save_map: Path | None,
    **of_log: Any,
) -> None:
    """Say what the drives in SOURCE show.

    SOURCE is a board's folder in the archive, one of its segments, or logs of any recorder, one or several of one car
    or a folder of them: text tables (.csv, .tsv, .txt, .log, .dat) with the columns t_s [s], volts [V] and, optionally,
    amps [A], positive when the battery is charged, temperature_c [C] and rpm, the engine's speed. The options from
    --column on are for logs that are written otherwise; docs/import.md.
    """
    from underdash import carfile
    from underdash import review as reviewing
    from underdash.review.foreign.several import beside_journal

    options = told(**of_log)
    if dry_run or save_map:
        _look(sources, options, dry_run, save_map)
        if dry_run:
            return
    report, rows = reviewing.review(sources, car=carfile.read(car) if car else None, options=options)
    tell_left_out(sources[0])
    if told_beside := beside_journal(sources[0]):
        click.echo(told_beside, err=True)
    if html:
        from underdash.review.page import render

        write_whole(html, render(report, rows).encode())
    if pages:
        from underdash.cli.progress import bar
        from underdash.review.pages import write_pages

        with bar("pages", unit="pages") as show:
            write_pages(report, rows, pages, show)
    if as_json:
        click.echo(json.dumps(report, indent=1))
    else:
        from underdash.review.text import summary

        click.echo(summary(report))


def _look(sources: tuple[Path, ...], options: Options, show: bool, save_map: Path | None) -> None:
    """Say what is understood of each log, one after another, and keep it as a map. UnderdashError, the gravest, where
    the review would be refused; the others on standard error."""
    from underdash.review import foreign
    from underdash.review.foreign import dry_run, several

    logs = several.logs(sources)
    if several.holds_journal(sources[0]):
        raise UsageError(f"{sources[0]}: holds a journal, which is read as it is; name a log beside it to look at that")
    if not logs:
        logs = list(sources)  # what is no log by its name is looked at all the same
    if save_map and len(logs) > 1:
        raise UsageError(f"--save-map {save_map}: is made of one log, and here are {len(logs)}; name one")
    found = dry_run.look(logs, options)
    if show and found.understood:
        click.echo("\n\n".join(one.text for one in found.understood))
    if found.refused:
        *others, gravest = found.refused
        for problem in others:
            click.echo(f"underdash: {problem}", err=True)
        raise gravest
    if save_map:
        write_whole(save_map, foreign.write_map(found.understood[0].options).encode())
        click.echo(f"{save_map}: read the next log of this recorder with --map {save_map}", err=True)
