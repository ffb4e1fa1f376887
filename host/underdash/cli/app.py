"""`underdash`: each command reads its arguments, calls the library, and prints."""

import os
import sys
from pathlib import Path
from typing import Any

import click

from underdash import __version__
from underdash.cli import board as of_board
from underdash.cli.archive import archive
from underdash.cli.calibrate import calibrate
from underdash.cli.frontend import frontend
from underdash.cli.plan import plan
from underdash.cli.review import review
from underdash.cli.settings import settings
from underdash.problems import DataError, UnderdashError, UsageError

_PATH = click.Path(path_type=Path)


class _OneLine(click.Group):
    """Turns every failure into one line on standard error and an exit code (DEVELOPERS.md)."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except UnderdashError as problem:
            for line in str(problem).splitlines():
                click.echo(f"underdash: {line}", err=True)
            ctx.exit(problem.exit_code)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except OSError as problem:
            click.echo(f"underdash: {problem.filename or 'output'}: {problem.strerror or problem}", err=True)
            ctx.exit(1)
        except Exception as problem:
            if os.environ.get("UNDERDASH_DEBUG"):
                raise
            click.echo(
                f"underdash: unexpected {type(problem).__name__}: {problem} "
                "(a defect: please report it with the output of UNDERDASH_DEBUG=1)",
                err=True,
            )
            ctx.exit(1)


@click.group(cls=_OneLine, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def main() -> None:
    """Watch over an older car's charging system: pull a board's journal, review its drives."""


for _command in (
    plan,
    of_board.install,
    settings,
    calibrate,
    of_board.board,
    of_board.watch,
    of_board.pull,
    frontend,
    review,
):
    main.add_command(_command)
main.add_command(archive)


@main.command()
@click.option("--out", type=_PATH, default=Path("drive.csv"), show_default=True)
@click.option("--seed", type=int, default=1, show_default=True, help="Of the noise.")
@click.option("--car", type=_PATH, help="A car file, instead of the demo's own.")
def drive(out: Path, seed: int, car: Path | None) -> None:
    """Drive the virtual car through its evening and write what happened as CSV (invented data)."""
    from underdash import carfile
    from underdash.car import evening, simulate
    from underdash.car.circuit import BusCollapseError
    from underdash.cli.progress import bar

    described = carfile.read(car) if car else carfile.example()
    with bar("drive") as show:
        try:
            driven = simulate(evening(described), seed=seed, progress=lambda part: show(int(part * 1000), 1000))
        except BusCollapseError as problem:
            raise DataError(f"{described.path}: {problem}; look at the loads and at the battery's size") from None
    from underdash.problems import readable

    with readable(out):
        driven.to_csv(out)
    click.echo(f"{out}: {driven.t_s[-1]:.0f} s")


@main.command()
@click.argument("folder", type=_PATH)
@click.option("--log", type=_PATH, required=True, help="CSV with t_s, volts and amps to feed the pins from.")
@click.option("--fast", is_flag=True, help="Hurry through the log, then go on in real time.")
@click.option("--board-id", default="7d5e0000c0ffee01", show_default=True, metavar="HEX16")
@click.option("--adc-curve", type=_PATH, help="A measured converter's curve, instead of the built-in model.")
def virtual(folder: Path, log: Path, fast: bool, board_id: str, adc_curve: Path | None) -> None:
    """Switch on a virtual board with its flash in FOLDER, until Ctrl-C.

    It prints the name of its serial port; pull from it, or use any serial program, as with a board.
    """
    import time

    from underdash.virtual.board import VirtualBoard
    from underdash.virtual.signal_file import Converter, signal_from_log

    if len(board_id) != 16 or any(digit not in "0123456789abcdef" for digit in board_id):
        raise UsageError(f"--board-id {board_id}: must be 16 of the digits 0-9a-f")
    converter = Converter.from_curve(adc_curve) if adc_curve else Converter()
    signal_from_log(log, folder / "pins.signal")
    with VirtualBoard(folder, board_id=board_id, converter=converter) as board:
        board.start(folder / "pins.signal", fast=fast)
        click.echo(board.port)
        sys.stdout.flush()
        try:
            while True:
                time.sleep(1.0)
        except KeyboardInterrupt:
            click.echo("switched off", err=True)


@main.command()
@click.option("--out", type=_PATH, default=Path("build/demo"), show_default=True)
def demo(out: Path) -> None:
    """The whole chain on a virtual board and car: drive, watch, warn, pull, review, explain."""
    from underdash.demo import run

    raise SystemExit(run(out))
