"""Invented drives for the pages' tests: judged by the real engine and analysed by the real review; a season beside."""

from pathlib import Path
from typing import Any

import numpy as np

from underdash.review import review
from underdash.review.rows import Rows

_CRANK = np.array([11.9, 10.1, 9.87, 10.3, 10.6, 10.8, 11.0, 11.2, 11.4, 11.8])


def signal(seconds: int, deficit: tuple[int, int] | None, rng: Any) -> tuple[Any, Any, Any]:
    """(t_s, volts, amps) of one start: 100 s of rest, a crank in tenths of a second, charging, a deficit, rest."""
    t = np.arange(0.0, 100.0 + seconds + 400.0)
    on = (t >= 101) & (t < 101 + seconds)
    volts = np.where(on, 14.2, 12.6)
    amps = np.where(on, 3.0 + 20.0 * np.exp(-(t - 101) / 120.0), 0.0)
    if deficit:
        short = (t >= 101 + deficit[0]) & (t < 101 + deficit[1])
        volts, amps = np.where(short, 12.4, volts), np.where(short, -14.0, amps)
    after = t >= 101 + seconds
    volts = np.where(after, 12.6 + 0.2 * np.exp(-(t - 101 - seconds) / 60.0), volts)
    volts = volts + rng.normal(0.0, np.where(on, 0.03, 0.0004))
    crank_t = 100.0 + np.arange(10) / 10
    keep = t != 100.0
    t = np.concatenate([t[keep], crank_t])
    volts = np.concatenate([volts[keep], _CRANK])
    amps = np.concatenate([amps[keep], np.full(10, -160.0)])
    order = np.argsort(t)
    return t[order], volts[order], amps[order]


def write_log(path: Path, lengths: list[int], clamp: bool = True, seed: int = 1) -> Path:
    """A CSV log of drives so long [s] one after the other; each of more than 400 s has a deficit in it."""
    rng = np.random.default_rng(seed)
    begin, lines = 0.0, ["t_s,volts,amps" if clamp else "t_s,volts"]
    for seconds in lengths:
        deficit = (seconds // 2, seconds // 2 + 90) if seconds > 400 else None
        for t, volts, amps in zip(*signal(seconds, deficit, rng), strict=True):
            lines.append(f"{begin + t:.1f},{volts:.3f}" + (f",{amps:.2f}" if clamp else ""))
        begin += 100.0 + seconds + 400.0
    path.write_text("\n".join(lines) + "\n")
    return path


def stand(folder: Path, lengths: list[int], clamp: bool = True) -> tuple[dict[str, Any], Rows]:
    """(report, rows) of such drives, every finding about a drive with the place of its evidence (docs/report.md)."""
    report, rows = review(write_log(folder / "log.csv", lengths, clamp))
    assert len(report["drives"]) == len(lengths)
    for number, drive in enumerate(report["drives"], 1):
        for episode in drive["episodes"]:
            row = int(np.searchsorted(rows.t_s, episode["start_s"], side="right"))
            report["findings"].insert(0, {
                "weight": "act", "text": f"The battery fed the car in drive {number}.",
                "evidence": f"lowest {episode['lowest_volts']:.2f} V", "drive": number, "row": row,
                "t_s": episode["start_s"]})  # fmt: skip
    return report, rows


def season(report: dict[str, Any], dates: bool = True) -> dict[str, Any]:
    """A season of the contract's shape over a report's drives, invented."""
    rng = np.random.default_rng(2)
    numbers = np.arange(1, len(report["drives"]) + 1)

    def date(number: int) -> str | None:
        return f"{np.datetime64('2025-10-01') + 3 * int(number)}" if dates else None

    def quantity(name: str, unit: str, values: Any, slope: float | None, change: Any = None) -> dict[str, Any]:
        points = [
            {"drive": int(n), "date": date(n), "value": round(float(v), 4)}
            for n, v in zip(numbers, values, strict=True)
        ]
        edges = (None, None) if slope is None else (slope - abs(slope) * 0.4, slope + abs(slope) * 0.4)
        return {"name": name, "unit": unit, "points": points, "slope": slope, "slope_low": edges[0],
                "slope_high": edges[1], "per": "month" if dates else "drive", "change": change}  # fmt: skip

    noise = rng.normal(0.0, 1.0, (3, len(numbers)))
    middle = len(numbers) // 2 + 1
    step = {"drive": middle, "date": date(middle), "before": 14.2, "after": 13.9, "confidence": 0.99}
    rate = 0.03 if dates else 0.003

    def verdict(said: str, reason: str, evidence: str, drive: int | None = None) -> dict[str, Any]:
        row = None if drive is None else report["drives"][drive - 1]["first_row"]
        return {"verdict": said, "reason": reason, "evidence": evidence, "cause": None, "drive": drive, "row": row}

    return {
        "drives": len(report["drives"]),
        "events": [],
        "quantities": [
            quantity("rested volts", "V", 12.65 - 0.003 * numbers + 0.01 * noise[0], -rate),
            quantity("set point", "V", np.where(numbers < middle, 14.2, 13.9) + 0.02 * noise[1], -rate / 2, step),
            quantity("resistance at the crank", "ohm", 0.008 + 0.0002 * noise[2], None),
        ],
        "verdicts": {
            "battery": verdict("drifting", "Rested volts fall.", "0.09 V in three months"),
            "regulator": verdict("act", "The set point fell at once.", f"drive {middle}", middle),
            "connection": verdict("unknown", "No clamp: nothing to judge it by.", ""),
        },
    }
