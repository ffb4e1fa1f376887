"""`underdash calibrate`: volts and amps against the owner's meter, guided on a terminal or from a file."""

from __future__ import annotations

import select
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import click

from underdash.cli.port import port_option
from underdash.problems import UsageError

_PATH = click.Path(path_type=Path)


@click.group()
def calibrate() -> None:
    """Fit a board's volts and amps to your own meter, at the bench; docs/calibration.md leads through it."""


def _common(command: Callable[..., Any]) -> Callable[..., Any]:
    for option in reversed(
        (
            port_option,
            click.option(
                "--points", type=_PATH, metavar="FILE.csv", help="Points from a file instead of a guided session."
            ),
            click.option("--meter", metavar="CLASS", help='The meter\'s class, as "0.1% + 2 digits at 0.001".'),
            click.option(
                "--out",
                type=_PATH,
                metavar="FOLDER",
                help="Folder of the certificate.  [default: calibration; none with --dry-run]",
            ),
            click.option(
                "--values", type=_PATH, metavar="FILE", help="Your own parts, a copy of hardware/values.toml."
            ),
            click.option("--dry-run", is_flag=True, help="Fit and show; store nothing."),
            click.option("--yes", is_flag=True, help="Store without asking."),
        )
    ):
        command = option(command)
    return command


@calibrate.command()
@_common
@click.option("--at", metavar="V,V,...", help="Volts to take points at.  [default: 11.8,12.6,13.5,14.4,15.4]")
def volts(at: str | None, **given: Any) -> None:
    """The bus volts: five points, a supply, a meter.

    FILE.csv has the columns meter_volts and bus_code (as `status` tells it), or meter_volts and shown_volts.
    """
    from underdash.calibrate import work
    from underdash.calibrate.session import targets_from

    if at and given["points"]:
        raise UsageError("--at is for a guided session, and --points for a file; give one of them")
    _run(work.volts, given, **({"at": targets_from(at)} if at else {}))


@calibrate.command()
@_common
@click.option(
    "--turns", type=click.IntRange(1, 200), default=1, show_default=True, help="Of the wire through the clamp."
)
def amps(turns: int, **given: Any) -> None:
    """The clamp: its zero, and a known current in both directions.

    FILE.csv has the columns meter_amps (positive INTO the battery), clamp_code and, if you like, turns; a line
    with 0 A after each load.
    """
    from underdash.calibrate import work

    _run(work.clamp, given, turns=turns)


def _run(calibration: Callable[..., dict[str, Any]], given: dict[str, Any], **wanted: Any) -> None:
    from underdash.calibrate.desk import Left
    from underdash.calibrate.ending import ended_as_by_ctrl_c
    from underdash.calibrate.meter import parse
    from underdash.calibrate.work import Wishes
    from underdash.link.client import find

    desk = _Terminal() if sys.stdin.isatty() else None
    meter = parse(given["meter"]) if given["meter"] else None
    out = given["out"] or (None if given["dry_run"] else Path("calibration"))
    wishes = Wishes(
        desk,
        click.echo,
        meter,
        given["points"],
        out=out,
        dry_run=given["dry_run"],
        yes=given["yes"],
        values=given["values"],
        **wanted,
    )
    if wishes.points and wishes.dry_run and not given["port"]:
        calibration(None, wishes)
        return
    if desk is None and not wishes.points:
        raise UsageError("a guided calibration needs a terminal; here use --points FILE.csv with --yes or --dry-run")
    if desk is None and not (wishes.yes or wishes.dry_run):
        raise UsageError("nobody is there to be asked: add --yes to store, or --dry-run to look only")
    with ended_as_by_ctrl_c(), find(given["port"]) as board:
        board.ready()
        try:
            calibration(board, wishes)
        except KeyboardInterrupt:  # Ctrl-C, a closed window, a kill: what had to be put back has been
            with suppress(OSError):  # the window may be gone
                click.echo()
            raise Left from None


def _wait_for_a_line() -> None:
    """Wait in slices: a signal that comes just before a blocking read would not be acted upon until Enter."""
    if sys.platform != "win32":  # where only sockets can be waited for
        while not select.select([sys.stdin], [], [], 0.25)[0]:
            pass


class _Terminal:
    """The Desk of a person at a terminal."""

    def __init__(self) -> None:
        self._live = False

    def say(self, text: str) -> None:
        self._end_live()
        click.echo(text)

    def ask(self, question: str) -> str:
        from underdash.calibrate.desk import Left

        self._end_live()
        try:
            click.echo(question, nl=False)  # input's own prompt would go to standard error
            _wait_for_a_line()
            return input()
        except EOFError:
            with suppress(OSError):
                click.echo()
            raise Left from None
        except OSError:  # the window is gone
            raise Left from None

    def live(self, text: str) -> None:
        if sys.stdout.isatty():
            click.echo(f"\r\x1b[K{text}", nl=False)
            self._live = True

    def _end_live(self) -> None:
        if self._live:
            click.echo("\r\x1b[K", nl=False)
            self._live = False
