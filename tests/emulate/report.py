"""What came of a run: figures for the eye, and a line for each promise that was not kept."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from chargecore.calibration import Calibration
from emulate import image, profile
from emulate.compare import Outcome, Row, compare, rows_by_boot
from emulate.drive import Boot
from emulate.feed import Feed
from emulate.glass import read_volts
from emulate.ticks import Work, work
from underdash import archive
from underdash.review import review
from underdash.virtual.display import save_picture

Say = Callable[[str], None]

_SLOWEST = 1.4  # a real chip may take so much longer (the emulator against published benchmarks)
_TICK_MS, _TICK_SHOWN_MS = 10.0, 35.0  # goals, of 100 ms: without and with the display's bus
_SHOWN_OFF_V = 0.15  # half a tenth, and what the volts move between sample and drawing
# Inside 11.6 to 15.6 V, and outside, where wide codes lie (docs/check-values.md).
_NEAR_MV, _FAR_MV = 15.0, 50.0
_HEAP_DRIFT = 1024  # bytes
_PROFILE_S = 45.0
_MEMORY_S = 20.0


@dataclass
class Report:
    out: Path
    calibration: Calibration
    problems: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        shutil.rmtree(self.out / "archive", ignore_errors=True)
        self.out.mkdir(parents=True, exist_ok=True)

    # -- in the car ---------------------------------------------------------------------------

    def first(self, boot: Boot, fed: Feed) -> None:
        self._first, self._fed = boot, fed
        self._committed = _rows_of(boot.flash.settled)

    def say_first(self, say: Say) -> None:
        boot = self._first
        self._say_start(say, boot)
        self._say_pictures(say, boot, self._fed)
        say(f"  power cut at {boot.ended_s:.2f} s, half-way through the {boot.flash.cut_in} of flash operation "
            f"{boot.flash.erases + boot.flash.programs + 1}")  # fmt: skip
        self._say_work(say, work(boot.inputs.bus), "  ")
        self._say_flash(say, boot)

    def second(self, boot: Boot, fed: Feed) -> None:
        self._second, self._fed = boot, fed

    def say_second(self, say: Say) -> None:
        boot = self._second
        self._say_start(say, boot)
        self._say_pictures(say, boot, self._fed)
        self._say_work(say, work(boot.inputs.bus, tuple(boot.probes_s)), "  ")
        self._say_flash(say, boot)
        (early_raw, early), (late_raw, late) = boot.heap
        say(f"  free heap: {early} bytes {boot.probes_s[0]:.0f} s after the start, {late} bytes at "
            f"{boot.probes_s[1]:.0f} s (before collecting {early_raw} and {late_raw})")  # fmt: skip
        if early - late > _HEAP_DRIFT:
            self.problems.append(f"{early - late} bytes of heap went in {boot.probes_s[1] - boot.probes_s[0]:.0f} s")

    def _say_start(self, say: Say, boot: Boot) -> None:
        frame = "none" if boot.first_frame_s is None else f"{boot.first_frame_s:.2f} s"
        say(f"  boot to first reading {boot.inputs.bus[0].at_s:.2f} s, to first picture {frame}")
        if boot.chip.resets:
            self.problems.append(f"the watchdog reset the board {boot.chip.resets} times")

    def _say_pictures(self, say: Say, boot: Boot, fed: Feed) -> None:
        for name, picture in boot.pictures.items():
            save_picture(picture, self.out / f"panel-{name}.png")
            shown = read_volts(picture)
            nearest = min(boot.inputs.bus, key=lambda sample: abs(sample.at_s - boot.taken_s[name] + 0.1))
            truth = nearest.truth / nearest.count
            say(f"  panel {name}: {'no figures' if shown is None else f'{shown:.1f} V'}; at the car {truth:.2f} V")
            if shown is not None and name != "1-crank" and abs(shown - truth) > _SHOWN_OFF_V:
                self.problems.append(f"the panel showed {shown:.1f} V at {truth:.2f} V ({name})")
        if not boot.display.model.frames:
            self.problems.append("nothing was drawn on the display")

    def _say_work(self, say: Say, spent: Work, indent: str) -> None:
        bare, shown = spent.processor, spent.processor + spent.display
        say(f"{indent}tick: {bare.mean():.1f} ms mean, {bare.max():.1f} ms worst; with the display's bus "
            f"{shown.mean():.1f} ms, {shown.max():.1f} ms; {len(bare)} ticks "
            f"(on a slow chip worst {_SLOWEST * bare[spent.quiet].max():.1f} ms without flash)")  # fmt: skip
        quiet = spent.quiet
        busy = bare[~quiet] + spent.display[~quiet] + spent.flash[~quiet]
        if len(busy):
            say(f"{indent}ticks with flash work: {len(busy)}, {busy.mean():.0f} ms mean, {busy.max():.0f} ms worst, "
                f"of which the processor at most {bare[~quiet].max():.0f} ms")  # fmt: skip
        if bare[quiet].max() > _TICK_MS:
            self.problems.append(f"a tick took {bare[quiet].max():.1f} ms without bus and flash, not {_TICK_MS:g}")
        if shown[quiet].max() > _TICK_SHOWN_MS:
            self.problems.append(f"a tick took {shown[quiet].max():.1f} ms with the display, not {_TICK_SHOWN_MS:g}")

    def _say_flash(self, say: Say, boot: Boot) -> None:
        memory = boot.flash
        say(f"  flash: {memory.bursts} commits, {memory.erases} erases, {memory.programs} pages, "
            f"{memory.stalled_s:.1f} s busy in {boot.ended_s:.0f} s")  # fmt: skip

    # -- at the desk --------------------------------------------------------------------------

    def pulled(self, folder: Path, health: dict[str, Any]) -> None:
        self._health = health
        segments = [path.read_bytes() for path in archive.segments(folder)]
        self._rows = rows_by_boot(segments)
        self._review, _ = review(folder)

    def say_pulled(self, say: Say) -> None:
        health, told = self._health, self._review
        say(f"  MicroPython {health['micropython']} on {health['machine']}; latest sample {health['late_ms']} ms late, "
            f"{health['skipped']} skipped, heap {health['heap_free']} bytes free with a host attached")  # fmt: skip
        if health["errors"] or health["skipped"] or health["notice"]:
            self.problems.append(f"the board skipped {health['skipped']} samples, noticed {health['notice']!r} and "
                                 f"recorded {health['errors'][-3:]}")  # fmt: skip
        boots = sorted(self._rows)
        say(f"  {told['rows']} rows of boots {boots}; {told['mismatches']} mismatches with the desk's engine, "
            f"{told['lost_rows']} lost, {told['unchecked_rows']} unchecked, "
            f"{told['damaged_bytes']} damaged bytes")  # fmt: skip
        if told["mismatches"] or told["lost_rows"] or told["unchecked_rows"]:
            self.problems.append("board and desk do not agree on every row")
        if len(boots) != 2:
            self.problems.append(f"two boots were lived, the journal knows {boots}")
            return
        missing = sum(self._rows[boots[0]].get(number) != row for number, row in self._committed.items())
        say(f"  {len(self._committed)} rows were committed when the power went; {missing} of them missing or changed")
        if missing or not self._committed:
            self.problems.append(f"of {len(self._committed)} committed rows {missing} did not survive the power cut")
        for boot, number in ((self._first, boots[0]), (self._second, boots[1])):
            rows = list(self._rows[number].values())
            outcome = compare(rows, boot.inputs.bus, boot.inputs.clamp, self.calibration)
            self._say_outcome(say, number, outcome)

    def _say_outcome(self, say: Say, number: int, outcome: Outcome) -> None:
        off, level = np.abs(outcome.off_mv), np.array(outcome.mv)
        near = (level >= 11600) & (level <= 15600)
        say(f"  boot {number}: {outcome.rows} rows, {len(outcome.differing)} not what the converter's codes make; "
            f"the last {outcome.unrecorded_s:.1f} s are not in the journal")  # fmt: skip
        say(f"    against the car: {off[near].max():.1f} mV worst of {near.sum()} rows within 11.6 to 15.6 V, "
            f"{off[~near].max(initial=0):.1f} mV of {(~near).sum()} outside; "
            f"{np.abs(outcome.off_ma).max(initial=0):.0f} mA")  # fmt: skip
        for line in outcome.differing[:5]:
            say(f"    {line}")
        if outcome.differing:
            self.problems.append(f"{len(outcome.differing)} rows of boot {number} are not what was sampled")
        if off[near].max() > _NEAR_MV or off[~near].max(initial=0) > _FAR_MV:
            self.problems.append(f"rows of boot {number} are off by more than {_NEAR_MV:g} ({_FAR_MV:g}) mV")

    # -- parts --------------------------------------------------------------------------------

    def profile(self, say: Say, new_board: Callable[[], Boot]) -> None:
        boot = new_board()
        profile.at_prompt(boot.chip)
        table = profile.run(boot.chip, _PROFILE_S)
        clock_us = table.pop("clock", [1, 0, 0])
        for name, (times, micros, most) in table.items():
            if times:
                say(f"  {name:15s} {times:6d} times, {micros / times / 1e3:7.2f} ms mean, {most / 1e3:7.2f} ms longest")
        say(f"  (a clock costs its part {clock_us[1] / clock_us[0]:.0f} us, and what calls it more)")
        boot = new_board()
        profile.at_prompt(boot.chip)
        ticks, some, total, most = profile.memory(boot.chip, _MEMORY_S)
        say(f"  {some} of {ticks} ticks allocated, {total} bytes in all, {most} at most in one")


def _rows_of(files: bytes) -> dict[int, Row]:
    """Number -> row of all that a file system holds."""
    segments = image.read_folder(files, "/journal")
    found: dict[int, Row] = {}
    for rows in rows_by_boot([segments[name] for name in sorted(segments)]).values():
        found.update(rows)
    return found
