"""Underdash on the desk: the virtual car and board, the link to a real one, the review."""

from importlib import resources
from pathlib import Path

__version__ = "0.1.0"


def firmware_dir() -> Path:
    """The firmware as it is put on a board: beside the package when installed, else the checkout's."""
    installed = Path(str(resources.files("underdash"))) / "firmware"
    if installed.is_dir():
        return installed
    return Path(__file__).resolve().parents[2] / "firmware"
