"""A folder of pages: the season's, each drive's, and their pictures."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from underdash.problems import write_whole
from underdash.review.pages.drive import drive_page, picture_of
from underdash.review.pages.files import SEASON, file_name
from underdash.review.pages.season import season_page
from underdash.review.pages.season_plots import season_png
from underdash.review.plots import RowsLike


def write_pages(
    report: dict[str, Any],
    rows: RowsLike,
    folder: Path,
    progress: Callable[[int, int], None] | None = None,
) -> list[Path]:
    """Write season.html, drive-001.html and so on, and a PNG beside each; the paths written, in that order.

    Each file is written whole or not at all, the season's last, so that its links lead somewhere. progress: called with
    (pages done, pages in all). Pages that are there already are replaced; others in the folder are left alone.
    UnderdashError if the folder cannot be written.
    """
    total = len(report["drives"]) + 1
    written: list[Path] = []

    def write(name: str, page: str, picture: bytes) -> list[Path]:
        path = folder / name
        write_whole(path.with_suffix(".png"), picture)
        write_whole(path, page.encode())
        return [path, path.with_suffix(".png")]

    for number in range(1, total):
        picture = picture_of(report, rows, number)
        written += write(file_name(number), drive_page(report, rows, number, picture), picture.png())
        if progress:
            progress(number, total)
    quantities = report["season"]["quantities"] if report["season"] else []
    season = write(SEASON, season_page(report), season_png(quantities))
    if progress:
        progress(total, total)
    return season + written
