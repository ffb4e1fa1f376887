"""The commands for an archive: check, merge, export."""

import json
from pathlib import Path

import click

from underdash.cli.left_out import tell_left_out
from underdash.problems import UnderdashError

_PATH = click.Path(path_type=Path)


@click.group()
def archive() -> None:
    """Look after pulled journals: check them, merge two computers' archives, make tables of them."""


@archive.command()
@click.argument("folder", type=_PATH)
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON instead of text.")
@click.pass_context
def check(ctx: click.Context, folder: Path, as_json: bool) -> None:
    """Say what is in FOLDER, an archive or one board's folder in it, and what is damaged; 1 if anything is.

    Boards, segments, rows, boots with their dates, gaps, lost rows, damage on the board, rot since the pull.
    """
    from underdash.archive import text
    from underdash.archive.check import check as run

    found = run(folder)
    if as_json:
        click.echo(json.dumps({"boards": [one.as_dict() for one in found]}, indent=1, allow_nan=False))
    else:
        for one in found:
            click.echo("\n".join(text.checked(one)))
    ctx.exit(1 if any(one.damaged for one in found) else 0)


@archive.command()
@click.argument("into", type=_PATH)
@click.argument("sources", type=_PATH, nargs=-1, required=True, metavar="FROM...")
@click.option("--dry-run", is_flag=True, help="Say what would happen; write nothing.")
def merge(into: Path, sources: tuple[Path, ...], dry_run: bool) -> None:
    """Add to the archive INTO what the archives FROM have more of; FROM is never changed.

    Of two copies of a segment the longer stays, and the whole one instead of the damaged. What contradicts each other
    is told and left as it is (exit code 1).
    """
    from underdash.archive import text
    from underdash.archive.merge import merge as run
    from underdash.cli.progress import bar

    with bar("merge", unit="folders") as show:
        done = run(into, sources, dry_run, show)
    for one in done:
        click.echo("\n".join(text.merged(one, dry_run)))
    refused = [line for one in done for line in one.refused]
    if refused:
        raise UnderdashError("\n".join(refused))


@archive.command()
@click.argument("folder", type=_PATH)
@click.option("--to", type=_PATH, required=True, help="Folder for the tables; an earlier export in it is replaced.")
def export(folder: Path, to: Path) -> None:
    """Write a Parquet table for each drive in FOLDER, and for what lies between drives."""
    from underdash.archive.export import export as run

    done = run(folder, to)
    tell_left_out(folder)
    drives = [one for one in done if one.kind == "drive"]
    undated = sum(1 for one in done if one.date.unix_s is None)
    click.echo(
        f"{to}: {len(done)} tables, {len(drives)} of them drives, {sum(one.rows for one in done)} rows"
        + (f"; {undated} undated" if undated else "")
    )
