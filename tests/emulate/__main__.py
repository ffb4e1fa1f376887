"""Run the firmware on an emulated RP2040 under your MicroPython image, and report (docs/emulate.md)."""

import argparse
import platform
import sys
import time
from importlib.metadata import version
from pathlib import Path

import underdash
from chargecore import thresholds
from emulate import drive, feed, image, report
from underdash.car.drive import simulate
from underdash.problems import UnderdashError
from underdash.virtual.bench import settings_file
from underdash.virtual.signal_file import Converter

# Moments of the evening [s].
_CRANKING, _CHARGING, _DEFICIT, _CUT_AFTER, _KEY_OFF = 303.75, 330.0, 4160.3, 4150.0, 6534.0
_DARK_S = 5.0  # how long the power stays away
_PLUG_S = 30.0  # the host is plugged in so long before the end


def main() -> int:
    given = _arguments()
    began = time.monotonic()

    def say(text: str) -> None:
        print(f"[{time.monotonic() - began:6.1f} s] {text}", flush=True)

    say(f"rp2040py {version('rp2040py')}, Python {platform.python_version()}; driving the virtual car")
    whole = feed.stretches_of(simulate())
    converter = Converter()
    cal = feed.calibration_for(converter)
    files = image.installed_files(underdash.firmware_dir(), settings_file(cal, thresholds.Thresholds()))
    disk = image.file_system(files)
    say(f"{len(files)} files, {sum(map(len, files.values()))} bytes on the board")

    found = report.Report(given.out, cal)
    say("Boot 1: no host, the key, the crank, the deficit; then the power goes within a flash operation")
    first = drive.power_on(given.image, whole, converter, files=disk)
    for moment, name in ((_CRANKING, "1-crank"), (_CHARGING, "2-charging"), (_DEFICIT, "3-deficit")):
        first.picture_at(whole.when(moment), name)
    drive.until_cut(first, whole.when(_CUT_AFTER), given.operation, _progress)
    found.first(first, whole)
    found.say_first(say)

    rest = whole.rest_from(first.ended_s + _DARK_S)
    key_off_s = whole.when(_KEY_OFF) - first.ended_s - _DARK_S
    say(f"Boot 2: the rest of the drive, {given.hour:g} s in all, parked from {key_off_s:.0f} s on")
    second = drive.power_on(given.image, rest, converter, flash=first.chip.flash())
    second.picture_at(15.0, "4-after-the-cut")
    second.picture_at(min(key_off_s + 60.0, given.hour - 1), "5-parked")
    drive.live(second, 10.0, _progress)
    second.probe_heap()
    drive.live(second, given.hour - _PLUG_S, _progress)
    second.probe_heap()
    second.ended_s = second.chip.now_s
    found.second(second, rest)
    found.say_second(say)

    say("The host is plugged in and pulls the journal")
    folder, health = drive.bring_home(second, given.out / "archive")
    found.pulled(folder, health)
    found.say_pulled(say)

    if given.profile:
        say("From the prompt, with clocks around the parts (they cost time themselves)")
        busy = whole.rest_from(whole.when(_CHARGING) - 20.0)
        found.profile(say, lambda: drive.power_on(given.image, busy, converter, files=disk))
    for problem in found.problems:
        say(f"NOT AS PROMISED: {problem}")
    say(f"Pictures and journal are in {given.out}")
    return 1 if found.problems else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="emulate", description=__doc__)
    parser.add_argument("image", type=Path, help="a MicroPython image (.uf2) of the RPI_PICO board, 1.21 or newer")
    parser.add_argument("--out", type=Path, default=Path("build/emulate"), help="folder for pictures and journal")
    parser.add_argument("--hour", type=float, default=3600.0, help="emulated length of the second boot [s]")
    parser.add_argument("--operation", type=int, default=2, help="the flash operation of a commit that loses its power")
    parser.add_argument("--no-profile", dest="profile", action="store_false", help="leave the parts' times out")
    given = parser.parse_args()
    if not given.image.is_file():
        parser.error(f"{given.image}: no such file; bring a MicroPython image of the RPI_PICO board (.uf2)")
    if given.image.read_bytes()[:4] != b"UF2\n":
        parser.error(f"{given.image}: not a UF2 file; bring a MicroPython image of the RPI_PICO board")
    if given.hour < 200.0:
        parser.error(f"--hour {given.hour:g}: at least 200 s, for the drive to come to its end")
    return given


def _progress(seconds: float) -> None:
    if sys.stderr.isatty():
        print(f"\r{seconds:6.0f} s lived", end="\r", file=sys.stderr, flush=True)


if __name__ == "__main__":
    try:
        sys.exit(main())
    except (UnderdashError, RuntimeError, TimeoutError, ValueError) as problem:
        print(f"emulate: {problem}", file=sys.stderr)
        sys.exit(1)
