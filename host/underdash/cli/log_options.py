"""The options that tell how a log of another recorder is to be read; every command that takes a log has them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from underdash.review.foreign import Options

_OPTIONS = (
    click.option("--column", multiple=True, metavar="COLUMN=NAME",
                 help="Which of its columns is t_s, volts, amps, temperature_c or rpm; #2 for the second. "
                 "May be repeated."),
    click.option("--unit", multiple=True, metavar="COLUMN=UNIT",
                 help="Of a column whose name tells none: t_s=s, ms, us, min or h; volts=V or mV; amps=A or mA; "
                 "temperature_c=C or F; rpm=rpm."),
    click.option("--positive", type=click.Choice(["charge", "discharge"]), help="What positive amps do."),
    click.option("--separator", type=click.Choice(["comma", "semicolon", "tab", "pipe", "blank"]), help="Of columns."),
    click.option("--decimal", type=click.Choice(["point", "comma"]), help="Decimal sign."),
    click.option("--encoding", metavar="NAME", help="Of the text, where it is neither UTF-8 nor UTF-16."),
    click.option("--date-order", type=click.Choice(["ymd", "dmy", "mdy"]), help="Of year, month and day."),
    click.option("--time-back", type=click.Choice(["refuse", "sort", "restart"]),
                 help="Where the time goes back: sort the rows, or take it for a recorder that was switched on again."),
    click.option("--hold", type=click.FloatRange(0, 86400), metavar="SECONDS",
                 help="A value stands until the next one, at most so long."),
    click.option("--map", "column_map", type=click.Path(path_type=Path), help="A file that keeps all these options."),
)  # fmt: skip


def log_options(command: Any) -> Any:
    """Give a command these options; `told` makes one value of what it gets."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def told(
    column: tuple[str, ...], unit: tuple[str, ...], column_map: Path | None, hold: float | None, time_back: str | None,
    **others: Any,
) -> Options:  # fmt: skip
    """The options as the library takes them, over those that --map keeps."""
    from underdash.review.foreign import Options, options

    said = Options(
        columns=dict(options.check_pair("--column", pair) for pair in column),
        units=dict(options.check_pair("--unit", pair) for pair in unit),
        hold_s=hold,
        time_back=time_back,
        **others,
    )
    return said.over(options.read_map(column_map)) if column_map else said
