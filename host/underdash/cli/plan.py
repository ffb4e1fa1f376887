"""`underdash plan`: what a conversion needs, before a wire is cut."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from underdash.problems import UsageError, write_whole

if TYPE_CHECKING:
    from underdash.carfile import CarFile

_PATH = click.Path(path_type=Path)


@click.command()
@click.argument("car_file", metavar="CAR.toml", type=_PATH, required=False)
@click.option("--html", type=_PATH, help="Write the plan as one page here.")
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON instead of text.")
@click.option("--margin", metavar="PERCENT", help='Output to be left over at idle, instead of the file\'s: "15 %".')
@click.option(
    "--drop", metavar="PERCENT", help="What one load's circuit may lose, instead of the file's: \"5 %\" of 12 V."
)
@click.option("--new", type=_PATH, metavar="FILE", help="Write a commented car file to start from, and stop.")
def plan(
    car_file: Path | None, html: Path | None, as_json: bool, margin: str | None, drop: str | None, new: Path | None
) -> None:
    """Plan the conversion of the car that CAR.toml describes.

    Says which alternator carries everything at hot idle, which cable and fuse each run needs, what the charge path
    and grounds lose, and what the dash ammeter still shows. A shortfall is a finding, not a failure: the exit code
    is 0. Electricity beside fuel: read the cautions at the end.
    """
    if new is not None:
        if car_file is not None:
            raise UsageError("--new: writes a file and plans nothing; leave CAR.toml out")
        _write_new(new)
        return
    if car_file is None:
        raise UsageError("plan: name a car file, such as car.toml; --new FILE writes one to start from")
    from underdash.carfile import read
    from underdash.plan import report

    made = report.plan(_within(read(car_file), margin, drop))
    if html:
        from underdash.plan.show.page import render

        write_whole(html, render(made).encode())
    told = report.as_dict(made)
    if as_json:
        click.echo(json.dumps(told, indent=1, allow_nan=False))
        return
    from underdash.plan.show.text import terminal_columns, text

    click.echo(text(told, terminal_columns()), nl=False)


def _write_new(file: Path) -> None:
    from underdash.carfile import EXAMPLE

    if file.exists():
        raise UsageError(f"{file}: is there already; choose another name, or remove it first")
    write_whole(file, EXAMPLE.read_bytes())
    click.echo(f"{file}: an invented car; make it yours line by line, then: underdash plan {file}")


def _within(car: CarFile, margin: str | None, drop: str | None) -> CarFile:
    """The car with other limits than its file's."""
    limits = car.limits
    if margin is not None:
        limits = replace(limits, margin_share=_share("--margin", margin, 0.0, 100.0))
    if drop is not None:
        limits = replace(limits, load_share=_share("--drop", drop, 0.1, 20.0))
    return replace(car, limits=limits)


def _share(option: str, text: str, least: float, most: float) -> float:
    written = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*%\s*", text)
    if not written or not least <= float(written[1]) <= most:
        raise UsageError(f'{option} {text}: must be {least:g} to {most:g} per cent; write it with its sign, "10 %"')
    return float(written[1]) / 100.0
