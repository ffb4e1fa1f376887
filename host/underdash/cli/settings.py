"""`underdash settings`: the file on the desk, the values on the board."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from underdash.cli.left_out import tell_left_out
from underdash.cli.port import port_option
from underdash.problems import LinkError, UsageError, write_whole

if TYPE_CHECKING:
    from underdash.link.client import Board

_PATH = click.Path(path_type=Path)


@click.group()
def settings() -> None:
    """Thresholds, options, pins and calibration: write a file, check it, send it, show, restore."""


@settings.command()
@click.argument("file", type=_PATH, default=Path("settings.toml"))
def new(file: Path) -> None:
    """Write a FILE to start from: every setting as a comment with meaning, range and default."""
    from underdash.settings.toml_file import write_toml

    if file.exists():
        raise UsageError(f"{file}: is there already; choose another name, or remove it first")
    write_whole(file, write_toml().encode())
    click.echo(f"{file}: take the # away from the lines that you change")


@settings.command()
@click.argument("file", type=_PATH, default=Path("settings.toml"))
def check(file: Path) -> None:
    """Say what is wrong in FILE, line by line; what it leaves out is taken at its default."""
    from underdash.settings.toml_file import SettingsFile

    read = SettingsFile(file)
    read.check()
    count = sum(len(values) for values in read.values.values())
    click.echo(f"{file}: {count} settings, no mistake")


@settings.command()
@click.argument("file", type=_PATH, default=Path("settings.toml"))
@port_option
def send(file: Path, port: str | None) -> None:
    """Have the board keep what FILE sets; the rest stays. Says what changed."""
    from underdash.link.client import find
    from underdash.settings.toml_file import SettingsFile

    read = SettingsFile(file)
    with find(port) as board:
        board.ready()
        read.check(board.settings())
        _store(board, read.values)


@settings.command()
@port_option
@click.option("--toml", is_flag=True, help="Print a settings file that sets all of it.")
def show(port: str | None, toml: bool) -> None:
    """Print what is in force on the board; a star marks what is not the default."""
    from underdash.link.client import find
    from underdash.settings.catalogue import FIELDS, PARTS
    from underdash.settings.toml_file import write_toml

    with find(port) as board:
        board.ready()
        values = board.settings()
    if toml:
        click.echo(write_toml({part: values[part] for part in PARTS if part in values}), nl=False)
        return
    for part in (part for part in PARTS if part in values):
        click.secho(part, bold=True)
        for name, field in FIELDS[part].items():
            value = values[part].get(name, field.default)
            star = "*" if value != field.default else " "
            unit = f"GPIO {value}" if part == "pins" else f"{value:>7} {field.unit}"
            click.echo(f"{star} {name:15} {unit:17} {field.meaning}")


@settings.command()
@click.argument("archive_folder", type=_PATH)
@port_option
@click.option("--from-another-board", is_flag=True, help="Take the archive of a board with another id.")
def restore(archive_folder: Path, port: str | None, from_another_board: bool) -> None:
    """Give a board its calibration and thresholds back from the newest segment in ARCHIVE_FOLDER."""
    from underdash.link.client import find
    from underdash.settings.restore import newest

    kept = newest(archive_folder)
    tell_left_out(archive_folder)
    with find(port) as board:
        if kept.board_id != board.board_id and not from_another_board:
            raise UsageError(
                f"{archive_folder}: is of board {kept.board_id}, not of {board.board_id} at {board.port}, whose "
                "calibration is its own; name its folder, or add --from-another-board"
            )
        board.ready()
        newer = f"; {kept.skipped} newer cannot be read" if kept.skipped else ""
        click.echo(f"from {kept.segment}{newer}")
        _store(board, kept.values)


def _store(board: Board, values: dict[str, dict[str, int]]) -> None:
    """Send, wait for the monitor to begin anew, and tell what is now different."""
    from underdash.settings.toml_file import differences

    before = board.settings()
    wanted = differences(before, {part: {**before.get(part, {}), **given} for part, given in values.items()})
    if not wanted:
        click.echo(f"board {board.board_id}: nothing to change, all of it is in force")
        return
    board.store(values)
    board.ready()
    after = board.settings()
    for field, old, new in differences(before, after):
        click.echo(f"{field.part}.{field.name}: {old} -> {new} {'' if field.part == 'pins' else field.unit}".rstrip())
    if differences(after, {part: {**after[part], **given} for part, given in values.items()}):
        raise LinkError(f"{board.port}: the board did not keep all of it; send it again, then see `underdash board`")
    click.echo(f"board {board.board_id}: kept")
