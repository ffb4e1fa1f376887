"""A season: what changes from drive to drive and month to month, and what it says of battery, regulator, connection.

How it is told, from which sources, and what cannot be told: docs/season.md.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from underdash.review.rows import Lines, Rows
    from underdash.review.season.load_steps import Steps

LEAST_DRIVES = 3


def season(report: dict[str, Any], rows: "Rows | None" = None, lines: "Lines | None" = None) -> dict[str, Any] | None:
    """The season of an analysed report, as docs/report.md describes it; None for fewer than three drives.

    rows: those that the report was made of. They add the steps that loads leave in the volts, which tell a bad
    connection from a regulator; without them those quantities are left out. lines: a log's own, where it has them.
    """
    if len(report["drives"]) < LEAST_DRIVES:
        return None
    from underdash.review.season.load_steps import load_steps
    from underdash.review.season.nights import early_drifts

    if rows is None:
        return assess(report, None)
    return assess(report, load_steps(rows, report["drives"], lines), early_drifts(rows, report["rests"]))


def assess(
    report: dict[str, Any], steps: "list[Steps] | None", early: list[float | None] | None = None
) -> dict[str, Any]:
    """The same, of three drives and more, where steps and early drifts are already known: an entry a drive, a rest."""
    from underdash.review.season.events import left_on, not_charging
    from underdash.review.season.quantities import quantities
    from underdash.review.season.verdicts import verdicts

    found = quantities(report, steps)
    judged = verdicts(report, found, not_charging(report, steps))

    def first_row(drive: int | None, row: int | None) -> int | None:
        return row if drive is None else report["drives"][drive - 1]["first_row"]

    return {
        "drives": len(report["drives"]),
        "quantities": [one.plain() for one in found.values()],
        "verdicts": {name: {**one.plain(), "row": first_row(one.drive, one.row)} for name, one in judged.items()},
        "events": left_on(report, early),
    }
