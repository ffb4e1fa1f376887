"""The README's pictures, from what `make demo` left, and the display's: `make pictures`."""

import json
import sys
from pathlib import Path

import ammeter
import pages

from underdash.review import review
from underdash.review.plots import drive_png


def main(demo: Path, target: Path) -> None:
    (target / "panel.png").write_bytes((demo / "panel-3-deficit.png").read_bytes())
    report = json.loads((demo / "report.json").read_text())
    _, rows = review(next((demo / "archive").iterdir()))
    drive_png(report["drives"][0], rows, report["thresholds"], target / "drive.png")
    pages.main(target)
    ammeter.main(target)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
