"""The car file: one description of a car for the plan, the virtual car and the review."""

from importlib.resources import files
from pathlib import Path

from underdash.carfile.model import CarFile
from underdash.carfile.reader import read

__all__ = ["EXAMPLE", "CarFile", "example", "read"]

EXAMPLE = Path(str(files(__name__).joinpath("example.toml")))
"""The car file that is shipped: of the demo's car, and a start for one's own."""


def example() -> CarFile:
    """The demo's car."""
    return read(EXAMPLE)
