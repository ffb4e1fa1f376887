"""What several tests need: a short drive for the board's pins, and the means to look at its flash."""

import csv
import os
import shutil
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import pytest
from littlefs import LittleFS, UserContext

from chargecore import calibration, thresholds
from underdash.review.foreign import Options
from underdash.virtual.bench import settings_file
from underdash.virtual.board import FLASH_BLOCKS, VirtualBoard
from underdash.virtual.signal_file import Converter, FrontEnd, write_signal

# A quiet converter of the kind that nominal calibration is for, so that the rows can be foretold.
PLAIN = Converter(noise_rms=0.5)


def clamp_settings(**options: int) -> str:
    """The board's settings file for nominal calibration with a clamp fitted, and these options."""
    cal = calibration.Calibration()
    cal.clamp_fitted = 1
    return settings_file(cal, thresholds.Thresholds(), **options)


def short_drive() -> tuple[np.ndarray, np.ndarray]:
    """(volts, amps) every 20 ms for 300 s: rest, crank at 40 s, charging, a deficit from 120 to
    200 s, charging, key off at 250 s."""
    t = np.arange(0.0, 300.0, 0.02)
    volts = np.select(
        [t < 40, t < 41, t < 120, t < 200, t < 250], [12.6, 10.4, 14.0, 12.4, 14.0], 12.9 - (t - 250) * 0.002
    )
    amps = np.select([t < 40, t < 41, t < 120, t < 200, t < 250], [0.0, -120.0, 4.0, -15.0, 6.0], 0.0)
    running = (t > 40) & (t < 250)
    noise = np.random.default_rng(7).normal(0.0, 1.0, len(t))
    return volts + noise * np.where(running, 0.012, 0.0003), amps + noise * np.where(running, 0.1, 0.01)


@pytest.fixture(scope="session")
def drive_signal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A signal file of `short_drive`."""
    path = tmp_path_factory.mktemp("signal") / "short.signal"
    write_signal(path, FrontEnd().fractions(*short_drive()), period_ms=20)
    return path


@pytest.fixture
def board(tmp_path: Path) -> Iterator[VirtualBoard]:
    """A virtual board, switched off, with a clamp."""
    with VirtualBoard(tmp_path / "board", settings=clamp_settings(), converter=PLAIN) as virtual:
        yield virtual


def read_flash(folder: Path) -> dict[str, bytes]:
    """The journal's segments in a switched-off board's flash, read by an independent littlefs."""
    image = (folder / "flash.img").read_bytes()
    context = UserContext(buffsize=len(image))
    context.buffer[:] = image
    # mount=False: the constructor's own mounting would format what it cannot mount.
    files = LittleFS(context=context, block_size=4096, block_count=FLASH_BLOCKS, prog_size=256, mount=False)
    files.mount()
    found = {}
    for name in sorted(files.listdir("/journal")):
        with files.open(f"/journal/{name}", "rb") as file:
            found[name] = file.read()
    return found


def until(condition: Callable[[], Any], seconds: float = 60.0) -> Any:
    """Wait until the condition is true, and return what it gave; AssertionError after `seconds`."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if found := condition():
            return found
        time.sleep(0.05)
    raise AssertionError(f"did not come about in {seconds} s")


def absent(missing: str) -> NoReturn:
    """What a test needs is not here: the test is skipped, but fails under CI (which sets the variable of that name)."""
    if os.environ.get("CI"):
        pytest.fail(missing)
    pytest.skip(missing)


def gnu_units() -> str:
    """The program `units`, an independent oracle of gauges and units."""
    return shutil.which("units") or absent("GNU units not found; install the Debian package `units`")


def _measured(name: str) -> Path:
    root = Path(os.environ.get("UNDERDASH_DATA", Path(__file__).resolve().parents[2] / "shared" / "data"))
    return root / name


def measured_data(name: str) -> Path:
    """A folder of measured data: under UNDERDASH_DATA, or beside the checkout's shared folder."""
    folder = _measured(name)
    if not folder.is_dir():
        absent(f"measured data {name} not found; set UNDERDASH_DATA to the folder that holds it")
    return folder


def measured_drives() -> list[Path]:
    """Every recording of the one petrol car that is there, whatever its name."""
    found = sorted(measured_data("measured-drives").glob("*.csv"))
    return found or absent("measured-drives holds no *.csv")


@pytest.fixture(
    params=sorted(_measured("measured-drives").glob("*.csv")) or [None], ids=lambda path: path.stem if path else "none"
)
def measured_drive(request: pytest.FixtureRequest) -> Path:
    """Each of the measured drives. One 2014 petrol car, github.com/eron93br/carOBD at bf09e1c (docs/check-values.md);
    other recordings of it, put beside them, are tried as well."""
    path: Path | None = request.param
    return path or measured_drives()[0]


def of_engine_run(path: Path, **columns: str) -> Options:
    """How such a recording is read. Its time is the engine's: where that goes back, the engine was started again."""
    with path.open() as file:
        t_s = [float(row["engine_run_s"]) for row in csv.DictReader(file)]
    again = any(after < before for before, after in pairwise(t_s))
    return Options(columns={"t_s": "engine_run_s", **columns}, time_back="restart" if again else None)


def last_run(path: Path) -> list[dict[str, str]]:
    """The lines of such a recording from where the engine was last started on."""
    with path.open() as file:
        table = list(csv.DictReader(file))
    t_s = [float(row["engine_run_s"]) for row in table]
    return table[max((at for at in range(1, len(t_s)) if t_s[at] < t_s[at - 1]), default=0) :]
