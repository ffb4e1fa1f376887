"""From judged rows to drives, parked episodes and rests. Everything here restates verdicts; none is made."""

from typing import TYPE_CHECKING, Any

import numpy as np

from chargecore import engine
from underdash.review.charge_bounds import Supply, supply_of
from underdash.review.drives import begins, drive, ended_s
from underdash.review.episodes import episodes
from underdash.review.flow import Flow
from underdash.review.rest import rests
from underdash.review.rows import Account, Floats, Rows
from underdash.review.sensors import sensors
from underdash.review.still import doubtful_rests
from underdash.review.stretches import Times, apart_s, awake, boots, cut, gaps, holes, period_s, spans_s, steps_s

if TYPE_CHECKING:
    from underdash.carfile import CarFile

_RUNNING_RPM = 350.0  # a starter turns an engine at 100 to 300 rpm, idle is 500 and more (from memory)
_CRANK_SEEN_S = 1.5  # rows further apart may miss a crank (chosen here)


def analyse(source: str, rows: Rows, account: Account, car: "CarFile | None" = None) -> dict[str, Any]:
    """The review as plain data, as docs/report.md describes it; all but its plan, findings and answers.

    car: its battery's capacity makes a share of a life out of cycles, and its resistances narrow the bounds of charge
    where there is no clamp.
    """
    supply = supply_of(car) if car is not None else Supply()
    capacity_ah = car.battery.capacity_ah if car is not None else None
    apart = apart_s(rows)
    steps = steps_s(rows, apart)
    hole = holes(rows, apart)
    drives: list[dict[str, Any]] = []
    parked: list[dict[str, Any]] = []
    for start, end in awake(rows, apart):
        stretch = rows.part(slice(start, end))
        known = Times(steps[start:end], hole[start:end])
        first = begins(stretch.state, stretch.volts)
        if first is not None and ended_s(stretch) <= stretch.since_s[first] and not known.holes[1:].any():
            first = None  # still since before its charging volts: a charger on a parked car
        alike = list(cut(stretch.state, known.holes))
        spans = zip((run[0] for run in alike), spans_s(stretch, alike, known.holes), strict=True)
        before = [(row, span_s) for row, span_s in spans if first is None or row < first]
        boot = int(stretch.boot[0])
        for episode in episodes(stretch, before, start, vars(account.thresholds), supply, None, known):
            ran = _ran(rows, episode, stretch, None if first is None else int(stretch.state[first]))
            parked.append({"boot": boot, "dated": account.dated(boot, episode["start_s"]), "ran": ran, **episode})
        if first is not None:
            found = drive(rows, (start, end), first, known, account, supply, capacity_ah)
            drives.append({"number": len(drives) + 1, **found})
    nights = [{"dated": account.dated(rest["boot"], rest["start_s"]), **rest} for rest in rests(rows)]
    return {
        "source": source,
        "board": account.board,
        "rows": len(rows),
        "period_s": round(period_s(rows), 3),
        "lost_rows": account.lost_rows,
        "refused_frames": getattr(account, "refused_frames", 0),
        "mismatches": account.mismatches,
        "mismatch_examples": account.mismatch_examples,
        "unchecked_rows": account.unchecked_rows,
        "damaged_bytes": account.damaged_bytes,
        "volts_step": None if account.step_mv is None else account.step_mv / 1000,
        "speed": bool(np.isfinite(rows.rpm).any()),
        "clamp": bool(np.isfinite(rows.amps).any()),
        "capacity_ah": capacity_ah,
        "boots": [{**one, "log": account.logs.get(one["boot"])} for one in boots(rows)],
        "gaps": gaps(rows, apart),
        "thresholds": {name: int(value) for name, value in vars(account.thresholds).items()},
        "sensors": sensors(rows, steps),
        "whole": whole(rows, steps, capacity_ah),
        "drives": drives,
        "parked_episodes": parked,
        "rests": nights,
        "doubtful_rests": doubtful_rests(rows, drives),
    }


def _ran(rows: Rows, episode: dict[str, Any], stretch: Rows, then: int | None) -> bool | None:
    """Whether the engine ran in an episode outside any drive: by its speed where the log has it. Else it was off if its
    key was, or if the car had been at rest and no starter turned; but rows too slow for a crank, or a drive that
    follows without one (`then` is its first verdict, None for no drive), leave it open: None."""
    its = slice(episode["first_row"], episode["last_row"] + 1)
    rpm = rows.rpm[its]
    if np.isfinite(rpm).any():
        return bool(np.nanmedian(rpm) >= _RUNNING_RPM)
    if (rows.key[its] == 0).all():
        return False
    seen = period_s(stretch) <= _CRANK_SEEN_S and then in (None, engine.CRANK)
    return False if seen and stretch.state[0] == engine.REST else None


def whole(rows: Rows, steps: Floats, capacity_ah: float | None) -> dict[str, Any] | None:
    """Charge, energy, cycles over all rows, driven or parked, and clamp_s, the time that the clamp measured [s]; None
    without a clamp. A log may carry other channels in rows of their own: only rows with a current count."""
    known = np.isfinite(rows.amps)
    if not known.any():
        return None
    if not known.all():
        rows = rows.part(known)
        steps = steps_s(rows, apart_s(rows))
    return {"clamp_s": round(float(steps.sum()), 1), **Flow(steps, rows.amps, rows.volts).report(capacity_ah)}
