"""A season: what changes from drive to drive and month to month, and what it says of battery, regulator, connection.

How it is told, from which sources, and what cannot be told: docs/season.md.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from underdash.review.rows import Rows
    from underdash.review.season.load_steps import Steps

LEAST_DRIVES = 3


def season(report: dict[str, Any], rows: "Rows | None" = None) -> dict[str, Any] | None:
    """The season of an analysed report, as docs/report.md describes it; None for fewer than three drives.

    rows: those that the report was made of. They add the steps that loads leave in the volts, which tell a bad
    connection from a regulator; without them those quantities are left out.
    """
    if len(report["drives"]) < LEAST_DRIVES:
        return None
    from underdash.review.season.load_steps import load_steps

    return assess(report, None if rows is None else load_steps(rows, report["drives"]))


def assess(report: dict[str, Any], steps: "list[Steps] | None") -> dict[str, Any]:
    """The same, of three drives and more, where the steps are already known: one entry a drive."""
    from underdash.review.season.events import left_on, not_charging
    from underdash.review.season.quantities import quantities
    from underdash.review.season.verdicts import verdicts

    found = quantities(report, steps)
    judged = verdicts(report, found, not_charging(report, steps))

    def first_row(drive: int | None) -> int | None:
        return None if drive is None else report["drives"][drive - 1]["first_row"]

    return {
        "drives": len(report["drives"]),
        "quantities": [one.plain() for one in found.values()],
        "verdicts": {name: {**one.plain(), "row": first_row(one.drive)} for name, one in judged.items()},
        "events": left_on(report),
    }
