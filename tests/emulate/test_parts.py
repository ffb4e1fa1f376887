"""The harness's own parts, those that need neither an image nor the emulator."""

import numpy as np
import pytest

import underdash
from chargecore import calibration, thresholds
from chargecore.units import ABSENT
from emulate import feed, image
from emulate.compare import compare
from emulate.feed import Sample
from emulate.glass import read_volts
from panel.theatre import play
from underdash.virtual.bench import settings_file
from underdash.virtual.signal_file import Converter, FrontEnd


def test_the_file_system_holds_what_an_installation_lays_down() -> None:
    settings = settings_file(calibration.Calibration(), thresholds.Thresholds())
    files = image.installed_files(underdash.firmware_dir(), settings)
    disk = image.file_system(files)

    firmware = underdash.firmware_dir()
    assert len(disk) == 352 * 4096
    assert image.read_folder(disk, "/")["main.py"] == (firmware / "main.py").read_bytes()
    assert image.read_folder(disk, "/")["settings.json"].decode() == settings
    assert "boot.py" in image.read_folder(disk, "/")
    for package in ("chargecore", "monitor"):
        compiled = image.read_folder(disk, f"/lib/{package}")
        assert {name.removesuffix(".mpy") for name in compiled} == {
            path.stem for path in (firmware / "lib" / package).glob("*.py")
        }
        assert all(content[:2] == b"M\x06" for content in compiled.values())


def test_moments_of_the_evening_are_found_in_its_stretches() -> None:
    fed = feed.Feed(np.arange(8.0), np.zeros(8), 1.0, ((10.0, 13.0), (100.0, 105.0)))
    assert fed.when(10.0) == 0.0
    assert fed.when(102.0) == 5.0
    with pytest.raises(ValueError, match="in no stretch"):
        fed.when(13.0)


def test_the_panel_is_read_as_it_was_drawn() -> None:
    for bus_mv in (9_060, 10_300, 12_345, 13_470, 14_449, 15_800):
        (moment,) = play({"view": {"bus_mv": bus_mv}, "ticks": 1})
        assert read_volts(moment.picture) == (bus_mv + 50) // 100 / 10.0
    assert read_volts(np.zeros((64, 128), bool)) is None


def _samples(millivolts: list[int], cal: calibration.Calibration, step_s: float = 0.1) -> list[Sample]:
    """Samples whose codes give about these volts."""
    found = []
    for index, millivolt in enumerate(millivolts):
        code = next(code for code in range(4096) if cal.bus_mv(code * 16) >= millivolt)
        found.append(Sample((index + 1) * step_s, 0.0, (0.0, 0.0), 16, 16 * code, 16 * cal.bus_mv(16 * code) / 1000.0))
    return found


def test_rows_must_tile_the_samples() -> None:
    cal = calibration.Calibration()
    bus = _samples([12000 + 7 * index for index in range(40)], cal)
    mv = [cal.bus_mv(sample.codes) for sample in bus]

    def row(t_ms: int, begin: int, end: int) -> tuple[int, ...]:
        part = mv[begin:end]
        return (t_ms, min(part), round(sum(part) / len(part)), max(part), ABSENT, 0, 0)

    rows = [row(1000, 0, 10), row(1100, 10, 11), row(2100, 11, 21)]
    found = compare(rows, bus, [], cal)
    assert found.differing == []
    assert max(map(abs, found.off_mv)) < 1.0
    assert found.unrecorded_s == pytest.approx(1.9)

    wrong = [rows[0], rows[1], (*rows[2][:2], rows[2][2] + 3, *rows[2][3:])]
    assert len(compare(wrong, bus, [], cal).differing) == 1
    # A second that is missing is found missing.
    assert compare([rows[0], row(3000, 20, 30)], bus, [], cal).differing


def test_the_offset_of_the_converter_is_calibrated_away() -> None:
    converter = Converter()
    cal = feed.calibration_for(converter)
    mean = np.frombuffer(converter.table()[: 4097 * 2], "<u2").astype(float)
    code = int(np.interp(13.5 / FrontEnd().bus_full_scale, np.arange(4097) / 4096, mean))
    assert abs(cal.bus_mv(code) - 13500) < 15
