"""Cut the power at every flash operation of every workload; print the table of docs/power-cuts.md.

    .venv/bin/python tests/bench/flash_cuts.py [SEEDS]

SEEDS: how often, each time with other random bits and other disorder (default 3). Exit code 1 if a
committed row was lost, a wrong one accepted, or a board could not go on.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "power"))

from cut_script import FILES, JOURNAL, cuts

HEAD = (
    "| workload | operations | commits | cuts before, torn, in disorder, of a recovery "
    "| at risk: rows, awake, parked | committed lost | wrong accepted | not mounted, stuck |"
)


def line(runs: list[dict[str, Any]]) -> str:
    """A row of the table: several runs of one workload together."""
    first = runs[0]
    images = [sum(run["images"].get(kind, 0) for run in runs) for kind in ("before", "torn", "disordered", "nested")]
    bad = {name: sum(run[name] for run in runs) for name in ("lost", "wrong", "refused", "stuck")}
    most = {name: max(run[name] for run in runs) for name in ("at_risk", "awake_s", "parked_s")}
    risk = f"{most['at_risk']}, {most['awake_s']} s, {most['parked_s']} s" if first["rows"] else "-"
    return (
        f"| {first['workload']} | {first['operations']} | {first['commits']} | {', '.join(f'{n:,}' for n in images)} "
        f"| {risk} | {bad['lost']} | {bad['wrong']} | {bad['refused']}, {bad['stuck']} |"
    )


def main() -> int:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    began = time.monotonic()
    names = [*JOURNAL, *FILES]
    jobs = [(name, seed) for name in names for seed in range(1, seeds + 1)]
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda job: cuts(job[0], seed=job[1]), jobs))
    print(HEAD)
    print("|---" * 8 + "|")
    for name in names:
        print(line([run for run in found if run["workload"] == name]))
    total = sum(sum(run["images"].values()) for run in found)
    bad = [example for run in found for example in run["examples"]]
    for example in bad:
        print(f"NOT AS PROMISED: {example}")
    late = cuts("whole drive", fault="late sync")
    print(
        f"\n{total:,} images in {time.monotonic() - began:.0f} s. For comparison, a flash that finishes what it was "
        f"told to finish only when told again (none of ours does): {late['lost']:,} committed rows lost, "
        f"{late['wrong']} wrong accepted, {late['refused']} not mounted, {late['stuck']} stuck "
        f"in {sum(late['images'].values()):,} images."
    )
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
