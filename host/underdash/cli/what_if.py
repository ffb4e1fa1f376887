"""`underdash what-if`: the same drives under other thresholds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from underdash.cli.left_out import tell_left_out
from underdash.cli.log_options import log_options, told
from underdash.problems import UsageError, write_whole

if TYPE_CHECKING:
    from underdash.review.what_if import Outcome
    from underdash.review.what_if.judged import Rows
    from underdash.review.what_if.sets import Asked, ThresholdSet

_PATH = click.Path(path_type=Path)
_LONG = 500_000  # rows to judge, from which on the progress is told


@click.command(name="what-if")
@click.argument("source", type=_PATH)
@click.argument("changes", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--set", "sets", multiple=True, metavar='"NAME=VALUE ..."', help="A set of its own. May be repeated.")
@click.option("--json", "as_json", is_flag=True, help="Print the comparison as JSON instead of text.")
@click.option("--png", type=_PATH, help="Draw it: the drives before and after, or the sweep.")
@click.option("--write", type=_PATH, metavar="FILE", help="Write the set as a settings file.")
@click.option("--car", type=_PATH, help="A car file: its thresholds are those in force for a log.")
@log_options
def what_if(
    source: Path,
    changes: tuple[str, ...],
    sets: tuple[str, ...],
    as_json: bool,
    png: Path | None,
    write: Path | None,
    car: Path | None,
    **of_log: Any,
) -> None:
    """Say which warnings the drives in SOURCE would show under other thresholds.

    SOURCE is what `underdash review` takes. NAME=VALUE changes a threshold or dwell, such as discharging_mv=12900 or
    discharging_ms=8000; the others stay as the board has them. NAME=FROM..TO:STEP goes through values, such as
    discharging_mv=12600..13000:100. Names and limits are in docs/thresholds.md, the rest in docs/what-if.md.
    """
    from underdash import carfile
    from underdash.review.what_if import as_dict, judged
    from underdash.review.what_if import sets as choosing

    wanted = choosing.asked(changes, sets)
    _check_write(write, wanted)
    rows = judged.read(source, told(**of_log), carfile.read(car).thresholds if car else None)
    tell_left_out(source)
    chosen = choosing.sets_beside(rows.thresholds, wanted)
    outcome = _compare(rows, chosen, wanted)
    if png:
        from underdash.review.what_if.plot import png as drawn

        write_whole(png, drawn(source.name, outcome))
    if as_json:
        click.echo(json.dumps(as_dict(source.name, outcome), indent=1, allow_nan=False))
    else:
        from underdash.review.what_if.text import text

        click.echo(text(source.name, outcome))
    if write:
        from underdash.settings.toml_file import write_toml

        write_whole(write, write_toml({"thresholds": dict(vars(chosen[0].thresholds))}).encode())
        click.echo(f"{write}: the set, whole; send it to the board: underdash settings send {write}", err=True)


def _check_write(write: Path | None, wanted: Asked) -> None:
    if write is None:
        return
    if len(wanted.sets) > 1:
        raise UsageError(f"--write {write}: there are {len(wanted.sets)} sets; name the one you choose, by itself")
    if write.exists():
        raise UsageError(f"{write}: is there already; choose another name, or remove it first")


def _compare(rows: Rows, chosen: list[ThresholdSet], wanted: Asked) -> Outcome:
    from underdash.cli.progress import bar
    from underdash.review.what_if import compare

    if (len(chosen) + 1) * len(rows) < _LONG:
        return compare(rows, chosen, wanted.sweep)
    with bar("judged", "rows") as show:
        return compare(rows, chosen, wanted.sweep, show)
