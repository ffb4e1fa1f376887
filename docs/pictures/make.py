"""The README's pictures, from what `make demo` left, and the display's: `make pictures`."""

import json
import sys
from pathlib import Path

import ammeter
import pages

from underdash.review import review
from underdash.review.pages.season_plots import season_png
from underdash.review.plots import Picture

_SEASON = ("deficits while driving", "running volts", "crank dip", "resistance seen by the key's loads")


def main(demo: Path, target: Path) -> None:
    (target / "panel.png").write_bytes((demo / "panel-3-deficit.png").read_bytes())
    report = json.loads((demo / "report.json").read_text())
    _, rows = review(next((demo / "archive").iterdir()))
    undated = {**report["drives"][0], "dated": None}  # the same whatever the day
    (target / "drive.png").write_bytes(Picture(undated, rows, report["thresholds"]).png())
    season = json.loads((demo / "season" / "report.json").read_text())["season"]["quantities"]
    told = [one for one in season if one["name"] in _SEASON]
    (target / "season.png").write_bytes(season_png(told))
    pages.main(target)
    ammeter.main(target)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
