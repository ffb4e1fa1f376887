"""The commands that talk to a board: install, board, watch, pull."""

from pathlib import Path

import click

from underdash.cli.port import port_option


@click.command()
@port_option
@click.option("--archive", type=click.Path(path_type=Path), default=Path("archive"), show_default=True,
              help="Folder to keep journals in.")  # fmt: skip
def pull(port: str | None, archive: Path) -> None:
    """Copy what is new of a board's journal into the archive; the board keeps everything."""
    from underdash.cli.progress import bar
    from underdash.link.client import find
    from underdash.link.pull import pull as run

    with find(port) as board, bar("pull", unit="bytes") as show:
        pulled = run(board, archive, show)
    click.echo(
        f"{pulled.folder}: {pulled.new_bytes} new bytes, {pulled.total_bytes} in {pulled.segments} segments, verified"
    )
