"""Low volts that the battery does not account for: lost between it and the board, or a fault of the season's."""

from typing import Any

from underdash.review.charge_bounds import HALF_V, HIGHEST_RESTED_V, LEAST_AH, MOST_FALL_V, POLARISATION_V

_OHM = 0.030  # more than a bad battery's 20 mohm with its cables' 5 (charge_bounds)
_LOST_V = 0.3  # beyond all that: above what a shop allows one side, 0.2 V, and the noise of a mean


def lost_volts(drive: dict[str, Any], episode: dict[str, Any]) -> float | None:
    """How far the mean of a discharging episode is below what a battery that gave so little still holds [V]: volts
    lost on the way from it to the board, by what the loads draw. None without a clamp, or where the battery explains
    them."""
    amps, volts, charge = episode["mean_amps"], episode["mean_volts"], episode["charge_ah"]
    if amps is None or volts is None or charge is None:
        return None
    rested = HALF_V if drive["rested_volts"] is None else min(drive["rested_volts"], HIGHEST_RESTED_V)
    fall = MOST_FALL_V / LEAST_AH * max(-charge, 0.0)
    least = rested - POLARISATION_V - _OHM * max(-amps, 0.0) - fall
    return round(least - volts, 2) if least - volts > _LOST_V else None


def blamed(report: dict[str, Any], number: int) -> list[str]:
    """What the season's verdicts lay the low volts of this drive to: regulator, connection, or both; often neither."""
    season = report.get("season")
    if season is None:
        return []
    return [
        name
        for name in ("regulator", "connection")
        if (found := season["verdicts"][name])["verdict"] in ("drifting", "act")
        and found["cause"] is not None
        and (found["drive"] or 0) <= number
    ]


def heed(report: dict[str, Any]) -> None:
    """Put before what closes an episode by the plan what the season's verdicts lay its drive to."""
    for drive in report["drives"]:
        names = blamed(report, drive["number"])
        first = [f"First the {name}: {report['season']['verdicts'][name]['reason']}" for name in names]
        for episode in drive["episodes"]:
            if episode["kind"] == "discharging":
                episode["closes"] = [*first, *episode["closes"]]
