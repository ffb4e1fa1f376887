"""What was left beside a journal is told, by every command that reads one."""

from pathlib import Path

import click


def tell_left_out(source: Path) -> None:
    """Say on standard error which .seg files in `source` were not read, and why."""
    from underdash import archive

    for line in archive.left_out(source):
        click.echo(line, err=True)
