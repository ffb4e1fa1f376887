"""How fast a season is read and judged, beside the slow way and beside a CSV of the same rows, in one run.

    .venv/bin/python tests/bench/review.py [--hours 1000] [--slow-share 0.1]

The journal is that of season.py. Each contender has a process of its own, one after the other, whose peak
memory is told with it. Seconds are those of a clock on the wall, and of the processor beside them (on a busy
machine look at these), without starting Python. The
slow way (each frame by chargecore, the engine stepped row by row) reads `--slow-share` of the segments and
is scaled up by the rows; the verdicts of both ways over that share are compared. pandas is for comparison only.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "review"), str(Path(__file__).parent)]

from season import season

Told = dict[str, Any]


def ours(paths: list[Path]) -> Told:
    """Every row read and judged."""
    from underdash.review import journal, rows

    began = time.perf_counter()
    journal.read(paths)
    read, busy = time.perf_counter(), time.process_time()
    table, account = rows.from_segments(paths)
    judged, busy = time.perf_counter(), time.process_time() - busy
    assert account.mismatches == account.unchecked_rows == account.lost_rows == 0
    return {"rows": len(table), "read_s": read - began, "s": judged - read, "cpu_s": busy, "mib": _peak_mib()}


def whole(paths: list[Path]) -> Told:
    """All that `underdash review FOLDER` does: read, judged, analysed, put into words."""
    loading = time.process_time()
    from underdash.review import analysis, answers, findings, foreign, review
    from underdash.review.season import events, load_steps, quantities, verdicts
    from underdash.review.text import summary

    # Loaded before the clock starts, as for the others, and told beside it.
    assert analysis and answers and findings and foreign and events and load_steps and quantities and verdicts
    loading = time.process_time() - loading
    began, busy = time.perf_counter(), time.process_time()
    report, table = review(paths[0].parent)
    words = summary(report)
    told: Told = {"rows": len(table), "s": time.perf_counter() - began, "cpu_s": time.process_time() - busy}
    assert report["mismatches"] == report["unchecked_rows"] == report["lost_rows"] == 0
    return told | {
        "mib": _peak_mib(),
        "drives": len(report["drives"]),
        "lines": len(words.splitlines()),
        "loading_s": loading,
    }


def slow(paths: list[Path]) -> Told:
    """The same a row at a time."""
    from one_by_one import read

    from underdash.review import rows
    from underdash.review.stepped import stepped
    from underdash.review.stride import stride

    began, busy = time.perf_counter(), time.process_time()
    found = read(paths)
    told: Told = {"rows": len(found.rows), "s": time.perf_counter() - began, "cpu_s": time.process_time() - busy}
    told["mib"] = _peak_mib()
    count = len(found.rows)
    tables = {}
    for judging in (stride, stepped):
        spent = [0.0]

        def timed(*row_columns: Any, judging: Callable[..., Any] = judging, spent: list[float] = spent) -> Any:
            start = time.perf_counter()
            verdicts = judging(*row_columns)
            spent[0] += time.perf_counter() - start
            return verdicts

        tables[judging.__name__], _ = rows.from_segments(paths, timed)
        told[judging.__name__ + "_s"] = spent[0]
    table = tables["stride"]
    for name in ("state", "warnings", "since_s"):
        assert np.array_equal(getattr(table, name), getattr(tables["stepped"], name)), name
    board = np.array([row[6:9] for row in found.rows])
    assert np.array_equal(board.T, [table.state, table.warnings, np.rint(table.since_s * 1000)])
    assert count == len(table)
    return told


def csv(path: Path) -> Told:
    """pandas over the same rows."""
    import pandas

    began, busy = time.perf_counter(), time.process_time()
    frame = pandas.read_csv(path)
    told: Told = {"rows": len(frame), "s": time.perf_counter() - began, "cpu_s": time.process_time() - busy}
    return told | {"mib": _peak_mib(), "version": pandas.__version__}


def write_csv(paths: list[Path], path: Path) -> None:
    """The rows as CSV, once."""
    if path.exists():
        return
    import pandas

    from underdash.review.rows import from_segments

    table, _ = from_segments(paths)
    draft = path.with_suffix(".part")
    names = ("boot", "t_s", "low", "volts", "high", "amps", "state", "warnings", "since_s")
    frame = pandas.DataFrame({name: getattr(table, name) for name in names})
    frame.to_csv(draft, index=False, float_format="%.3f")
    draft.replace(path)


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _alone(task: str, *words: str) -> Told:
    """Run one contender in a process of its own."""
    command = [sys.executable, __file__, "--only", task, *words]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    told: Told = json.loads(done.stdout)
    return told


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=1000)
    parser.add_argument("--slow-share", type=float, default=0.1)
    parser.add_argument("--only", choices=("ours", "whole", "slow", "csv", "write"), help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    os.chdir(ROOT)
    folder = season(chosen.hours)
    paths = sorted(folder.glob("*.seg"))
    table = folder.with_suffix(".csv")
    if chosen.only == "write":
        write_csv(paths, table)
        print("{}")
    elif chosen.only == "csv":
        print(json.dumps(csv(table)))
    elif chosen.only:
        part = paths[: max(1, round(chosen.slow_share * len(paths)))] if chosen.only == "slow" else paths
        print(json.dumps({"ours": ours, "whole": whole, "slow": slow}[chosen.only](part)))
    else:
        words = ("--hours", f"{chosen.hours:g}", "--slow-share", f"{chosen.slow_share:g}")
        _alone("write", *words)
        _print(paths, table, *(_alone(task, *words) for task in ("ours", "whole", "slow", "csv")))
    return 0


def _print(paths: list[Path], table: Path, fast: Told, full: Told, step: Told, pandas: Told) -> None:
    size = sum(path.stat().st_size for path in paths)
    print(f"{fast['rows']:,} rows of {full['drives']} drives, {len(paths)} segments, {size:,} bytes\n")
    print("| | seconds | of the processor | rows a second | peak memory [MiB] | times ours |")
    print("|---|---|---|---|---|---|")
    for name, told in (
        ("read and judged, `from_segments`", fast),
        (f"read, judged, analysed and summarised, `review` and {full['lines']} lines of text", full),
        (f"a frame and a row at a time ({step['rows']:,} rows, scaled up; memory as it was)", step),
        (f"pandas {pandas['version']} `read_csv`, {table.stat().st_size:,} bytes", pandas),
    ):
        scale = fast["rows"] / told["rows"]
        seconds, busy = told["s"] * scale, told["cpu_s"] * scale
        print(
            f"| {name} | {seconds:.2f} | {busy:.2f} | {fast['rows'] / seconds:,.0f} | {told['mib']:.0f} "
            f"| {seconds / fast['s']:.1f} |"
        )
    print(
        f"\nOf it, reading without judging: {fast['read_s']:.2f} s. "
        f"Not in it, loading what a review needs: {full['loading_s']:.2f} s of the processor."
    )
    print(
        f"The engine alone over {step['rows']:,} rows: stepped {step['stepped_s']:.2f} s, in strides"
        f" {step['stride_s']:.2f} s, {step['stepped_s'] / step['stride_s']:.1f} times as fast; verdicts identical."
    )


if __name__ == "__main__":
    raise SystemExit(main())
