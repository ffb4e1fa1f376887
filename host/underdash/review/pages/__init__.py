"""Pages to look at: one a drive, one for the season, each a file that needs nothing but itself."""

from underdash.review.pages.drive import drive_page
from underdash.review.pages.season import season_page
from underdash.review.pages.write import write_pages

__all__ = ["drive_page", "season_page", "write_pages"]
