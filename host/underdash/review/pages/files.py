"""How the pages of a folder are named."""

SEASON = "season.html"


def file_name(number: int) -> str:
    """A drive's page; the drives are counted from 1."""
    return f"drive-{number:03d}.html"


def picture_name(number: int) -> str:
    """The static picture beside it."""
    return f"drive-{number:03d}.png"
