"""The commands that talk to a board: install, board, watch, pull."""

import json
import sys
from pathlib import Path

import click

from underdash.cli.port import port_option
from underdash.problems import UnderdashError


@click.command()
@port_option
@click.option("--firmware", type=click.Path(path_type=Path), help="Folder of other firmware than this package's own.")
@click.option("--udev-rule", is_flag=True, help="Print the rule for Linux that opens the port to you, and stop.")
def install(port: str | None, firmware: Path | None, udev_rule: bool) -> None:
    """Put the firmware on a board and start it; settings, calibration and journal stay.

    Only what differs is copied. An installation that broke off is finished by the next.
    """
    from underdash import firmware_dir
    from underdash.cli.progress import bar
    from underdash.install import UDEV_RULE
    from underdash.install.build import build
    from underdash.install.installer import install as run
    from underdash.link.client import choose_port

    if udev_rule:
        click.echo(UDEV_RULE.read_text(), nl=False)
        return
    files = build(firmware or firmware_dir())
    port = choose_port(port)
    try:
        with bar("install", unit="bytes") as show:
            done = run(port, files, show)
    except KeyboardInterrupt:
        raise UnderdashError(
            f"{port}: interrupted; the board stands at its prompt and monitors nothing: run underdash install again"
        ) from None
    click.echo(
        f"{port}: {done.copied} files copied and verified, {done.kept} were right already, {done.removed} removed; "
        f"MicroPython {done.probe.micropython}"
    )
    click.echo(
        f"board {done.hello['board']} says hello: firmware {done.hello['firmware']}, {done.hello['mode']} running"
    )


@click.command()
@port_option
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON instead of text.")
def board(port: str | None, as_json: bool) -> None:
    """Say who a board is, how it fares, how much room its journal has, and its last errors."""
    from underdash.link.checkup import checkup, lines
    from underdash.link.client import find

    with find(port) as link:
        told = checkup(link)
    click.echo(json.dumps(told, indent=1) if as_json else "\n".join(lines(told)))


@click.command()
@port_option
@click.option("--plain", is_flag=True, help="One line for each row, as in a pipe.")
@click.option("--seconds", type=click.FloatRange(min=0.0), help="Stop after so long; else with Ctrl-C.")
def watch(port: str | None, plain: bool, seconds: float | None) -> None:
    """Show live volts, amps, state, warnings and a trace, until Ctrl-C."""
    from underdash.cli.watch import run
    from underdash.link.client import find

    with find(port) as link:
        link.ready()
        run(link, plain=plain or not sys.stdout.isatty(), seconds=seconds)


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
