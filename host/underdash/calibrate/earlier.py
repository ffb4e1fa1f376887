"""What the certificates of earlier calibrations, in the same folder, say against a file of points."""

import json
from datetime import datetime
from pathlib import Path
from typing import Any

from underdash.problems import DataError, readable


def refuse_if_older(points: Path, folder: Path, board_id: str, present: tuple[int, int]) -> None:
    """Refuse a file of shown_volts that is older than the calibration which the board has: it was shown under another.

    present: the board's bus_gain_nv and bus_zero. The certificate that brought them is looked for in `folder`. A
    file's age is not proof of anything newer: a copy may be young. DataError with both times.
    """
    with readable(points):
        text = points.read_text("utf-8-sig")
        written = datetime.fromtimestamp(points.stat().st_mtime)
    header = next((line for line in text.splitlines() if line.strip() and line.lstrip()[0] != "#"), "")
    if "shown_volts" not in header.lower():
        return
    for path in sorted(folder.glob(f"volts-{board_id}-*.json"), reverse=True):
        told = _stored(path)
        found = told.get("found", {})
        if (found.get("bus_gain_nv"), found.get("bus_zero")) != present:
            continue
        made = datetime.fromisoformat(told["made"])
        if written.replace(microsecond=0) <= made:
            raise DataError(
                f"{points}: its shown_volts were written at {written:%Y-%m-%d %H:%M:%S}, before the board got the "
                f"calibration that it has ({made:%Y-%m-%d %H:%M:%S}, {path.name}), so they were shown under another; "
                "take the points anew, or give bus_code"
            )
        return


def _stored(path: Path) -> dict[str, Any]:
    """A certificate's record, if it is one and was stored; else {}."""
    try:
        told = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return {}
    return told if isinstance(told, dict) and told.get("stored") and isinstance(told.get("found"), dict) else {}
