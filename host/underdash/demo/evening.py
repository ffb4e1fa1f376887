"""The demo's evening: one drive, from the plan of the car and its wires to the report."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from chargecore import engine, options, thresholds
from underdash.car import Drive, evening, simulate
from underdash.carfile import CarFile
from underdash.cli.progress import bar
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.problems import readable, write_whole
from underdash.review import review
from underdash.review.page import render
from underdash.review.rows import Rows
from underdash.virtual import bench
from underdash.virtual.board import VirtualBoard
from underdash.virtual.display import save_picture
from underdash.virtual.signal_file import AS_BUILT, write_signal

_LOOK_S = 30.0  # before the end somebody looks at the panel
_WITHIN_S = 6.0  # promise: the deficit's start and length, against the model's truth
_AGREE = 0.12  # share by which the planned mean current may be off: the fan's duty is the owner's estimate


def run(car: CarFile, out: Path, say: Callable[[str], None]) -> list[str]:
    """Run everything into `out`; one line for each thing that is not as promised."""
    with readable(out):
        out.mkdir(parents=True, exist_ok=True)
        for name in ("bench", "board", "archive"):
            shutil.rmtree(out / name, ignore_errors=True)
    say(f"Planning the conversion that {car.path.name} describes (an invented car)")
    _plan(car, out, say)
    say("Driving that very car through its evening (invented data)")
    with bar("drive") as show:
        drive = simulate(evening(car), progress=lambda part: show(int(part * 100), 100))
    with readable(out):
        drive.to_csv(out / "drive.csv")

    say("Calibrating the virtual board on the bench: five voltages, and a load both ways")
    found = bench.calibrate(out / "bench", AS_BUILT)
    say(
        f"  bus {found.bus_gain_nv / 1e3:.2f} uV a code, zero at {found.bus_zero / 16:.1f} steps; "
        f"clamp {found.clamp_gain_ua / 1e3:.3f} mA a code"
    )

    say("The unmodified firmware watches the drive, on MicroPython, at fast clock")
    board_folder = out / "board"
    write_signal(board_folder / "pins.signal", AS_BUILT.fractions(drive.volts, drive.amps),
                 period_ms=round(drive.step_s * 1000))  # fmt: skip
    settings = bench.settings_file(found, thresholds.Thresholds())
    with VirtualBoard(board_folder, settings=settings) as virtual:
        for moment, name in _moments(drive):
            virtual.snapshot_at(moment, name)
        end_s = float(drive.t_s[-1])
        with bar("watch") as show:
            virtual.on_time = lambda seconds: show(int(min(seconds, end_s)), int(end_s))
            virtual.start(board_folder / "pins.signal", fast=True, inputs=_press(end_s - _LOOK_S - 0.5))
            virtual.wait_for_end(240.0)
        for name, picture in virtual.pictures.items():
            save_picture(picture, out / f"panel-{name}.png")
        say(f"  display at {len(virtual.pictures)} moments: {', '.join(virtual.pictures)}")
        say(f"Pulling its journal over {virtual.port}")
        with Board(virtual.port) as board, bar("pull", unit="bytes") as show:
            pulled = pull(board, out / "archive", show)
    say(f"  {pulled.total_bytes} bytes in {pulled.segments} segments, verified")

    say("Reviewing: the same engine over the same rows")
    report, rows = review(pulled.folder, car=car)
    write_whole(out / "report.json", json.dumps(report, indent=1).encode() + b"\n")
    write_whole(out / "report.html", render(report, rows).encode())
    say(
        f"  {report['rows']} rows, {pulled.total_bytes / report['rows']:.2f} bytes a row, "
        f"{report['mismatches']} mismatches, {report['lost_rows']} lost"
    )
    for finding in report["findings"]:
        say(f"  [{finding['weight']}] {finding['text']} ({finding['evidence']})")
    problems = _against_truth(drive, report, say) + _as_planned(drive, report, say)
    return problems + _complete(rows, float(drive.t_s[-1]))


def _plan(car: CarFile, out: Path, say: Callable[[str], None]) -> None:
    """Leave the car file and its plan in `out`, and say what is grave."""
    from underdash.plan.report import as_dict, plan
    from underdash.plan.show.page import render as render_plan

    made = plan(car)
    told = as_dict(made)
    write_whole(out / "car.toml", car.path.read_bytes())
    write_whole(out / "plan.json", json.dumps(told, indent=1, allow_nan=False).encode() + b"\n")
    write_whole(out / "plan.html", render_plan(made).encode())
    for finding in told["findings"]:
        if finding["weight"] == "act":
            say(f"  [act] {finding['text']} ({finding['evidence']})")


def _moments(drive: Drive) -> list[tuple[float, str]]:
    """The display's four telling moments [s]."""
    crank, deficit = drive.cranks()[0], drive.deficits()[0]
    return [
        (crank.start_s + 0.75, "1-crank"),
        (crank.start_s + 600.0, "2-charging"),
        (deficit.start_s + 90.5, "3-deficit"),  # while the warning is inverted
        (float(drive.t_s[-1]) - _LOOK_S, "4-rest"),
    ]


def _press(at_s: float) -> dict[int, list[tuple[float, int]]]:
    """The button, pressed once: a parked board's panel is dark until then."""
    return {options.default_pins()["button"]: [(0.0, 1), (at_s, 0), (at_s + 0.4, 1)]}


def _against_truth(drive: Drive, report: dict[str, Any], say: Callable[[str], None]) -> list[str]:
    """Compare what the review found with what the model knows; one line for each broken promise."""
    problems = []
    truth = drive.deficits()
    found = [episode for one in report["drives"] for episode in one["episodes"]]
    if len(found) != len(truth) or any(episode["kind"] != "discharging" for episode in found):
        problems.append(f"{len(truth)} deficits happened, {[e['kind'] for e in found]} were reported")
    for real, episode in zip(truth, found, strict=False):
        late_s = episode["start_s"] - real.start_s
        longer_s = episode["length_s"] - (real.end_s - real.start_s)
        say(
            f"  deficit: truth {real.start_s:.1f} s + {real.end_s - real.start_s:.1f} s, lowest "
            f"{real.lowest_volts:.2f} V, {real.charge_as / 3600:.3f} Ah; found {late_s:+.1f} s, {longer_s:+.1f} s, "
            f"lowest {episode['lowest_volts']:.2f} V, {-episode['charge_ah']:.3f} Ah; "
            f"shown after {episode['shown_s'] - real.start_s:.1f} s"
        )
        if max(abs(late_s), abs(longer_s), episode["shown_s"] - real.start_s) > _WITHIN_S:
            problems.append(f"the deficit at {real.start_s:.0f} s was not found within {_WITHIN_S:g} s")
    if report["mismatches"] or report["lost_rows"] or report["unchecked_rows"]:
        problems.append("board and desk do not agree on every row")
    return problems


def _as_planned(drive: Drive, report: dict[str, Any], say: Callable[[str], None]) -> list[str]:
    """Compare what the plan foresaw with the drive's truth and the review's finding; one line for each disagreement."""
    problems = []
    for real, episode in zip(drive.deficits(), report["plan"]["episodes"], strict=False):
        true_a, near = real.charge_as / (real.end_s - real.start_s), episode["nearest"]
        if near is None or not episode["foreseen"]:
            problems.append(f"the plan did not foresee the deficit at {real.start_s:.0f} s")
            continue
        off = near["battery_a"] / true_a - 1.0
        say(
            f"  out of the battery: planned {near['battery_a']:.1f} A ({near['least_a']:.1f} to {near['most_a']:.1f}), "
            f"driven {true_a:.1f} A, found {episode['found_a']:.1f} A; the plan is {off:+.1%} off"
        )
        if abs(off) > _AGREE:
            problems.append(f"the planned current is {off:+.0%} off, more than {_AGREE:.0%}")
    return problems


def _complete(rows: Rows, end_s: float) -> list[str]:
    """A row each second, a row a minute at rest, from the board's start to the last commit."""
    steps = np.diff(rows.t_s, prepend=0.0)
    missing = steps > np.where(rows.state == engine.REST, 60.5, 1.5)
    missing[0] = rows.t_s[0] > 5.0  # the start window
    problems = [f"no row for {steps[index]:.1f} s before {rows.t_s[index]:.1f} s" for index in np.flatnonzero(missing)]
    if rows.t_s[-1] < end_s - 70.0:
        problems.append(f"the last row is of {rows.t_s[-1]:.0f} s, the drive ended at {end_s:.0f} s")
    return problems
