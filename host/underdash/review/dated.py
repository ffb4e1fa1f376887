"""When a journal's boots were: archive.dates, from the rows that have been read already."""

from collections.abc import Mapping
from pathlib import Path

from underdash.archive import anchors, dates
from underdash.archive.dates import BootDate, Stretch
from underdash.review.journal import Journal


def origins(paths: list[Path], found: Journal) -> Mapping[int, BootDate]:
    """Date the boots of a journal that was read from these segments by the anchors beside them.

    The same as dates.dates says of their folder; but that reads the folder once more, which is done only where a single
    segment of it was read, or where headers tell the time themselves.
    """
    folder = paths[0].parent
    if found.clocked or len(paths) == 1:
        return dates.of_board(folder, found.board)
    t_s = found.columns["t_ms"] / 1000.0
    lived: dict[int, Stretch] = {}
    for run in found.runs:
        if run.vouched and run.boot is not None:
            first_s, last_s = float(t_s[run.begin]), float(t_s[run.rows.stop - 1])
            one = lived.get(run.boot, Stretch(run.boot, first_s, last_s, 0))
            lived[run.boot] = Stretch(
                run.boot, min(first_s, one.first_s), max(last_s, one.last_s), one.rows + run.count
            )
    return dates.reckon(lived.values(), anchors.read(folder)[0]).boots
