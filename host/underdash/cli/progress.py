"""Progress of long work on standard error: a bar on a terminal, a few lines elsewhere."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click


@contextmanager
def bar(label: str, unit: str = "") -> Iterator[Callable[[int, int], None]]:
    """Yield `show(done, total)`."""
    if sys.stderr.isatty():
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:3.0f} %"),
                   TimeRemainingColumn())  # fmt: skip
        with Progress(*columns, console=Console(stderr=True)) as progress:
            task = progress.add_task(label, total=None)
            yield lambda done, total: progress.update(task, completed=done, total=total)
        return
    told = 0  # quarters

    def show(done: int, total: int) -> None:
        nonlocal told
        if total and done * 4 // total > told:
            told = done * 4 // total
            click.echo(f"  {label} {done * 100 // total} % ({done} of {total} {unit})".replace(" )", ")"), err=True)

    yield show
