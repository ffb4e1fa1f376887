"""The demo: an evening of the shipped car, from the plan to the report, and a season, from the log to the pages."""

import time
from pathlib import Path

import click

from underdash.carfile import example
from underdash.demo import evening, season


def run(out: Path) -> int:
    """Run everything into `out`; return 0, or 1 if what it shows is not what it promises."""
    began = time.monotonic()

    def say(text: str) -> None:
        click.echo(f"[{time.monotonic() - began:5.1f} s] {text}")

    car = example()
    problems = evening.run(car, out, say) + season.run(car, out / "season", say)
    for problem in problems:
        say(f"  NOT AS PROMISED: {problem}")
    say(f"See {out / 'plan.html'}, {out / 'report.html'}, {out}/panel-*.png and {out / 'season' / 'season.html'}")
    return 1 if problems else 0
