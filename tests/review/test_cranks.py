"""The resistance that a crank shows: by what volts and amps both changed, row by row."""

from pathlib import Path

import numpy as np
import pytest
from dips import with_clamp
from test_drives import car_of, logged

from underdash.car.from_file import build
from underdash.review import review

RUN, PARKED = (300, 14.1, 5.0), (120, 12.7, 0.0)


def resistance(path: Path) -> float | None:
    (drive,) = review(path)[0]["drives"]
    (crank,) = drive["cranks"]
    ohm: float | None = crank["resistance_ohm"]
    return ohm


@pytest.mark.parametrize("before_a", [0.0, -19.0])
def test_what_was_drawn_before_is_taken_off(tmp_path: Path, before_a: float) -> None:
    """15 mohm: 12.65 V without current, 180 A while it turns."""
    volts = 12.65 + 0.015 * before_a
    path = with_clamp(
        tmp_path / "log.csv", (120, 12.65, 0.0), (90, volts, before_a), (1, 12.65 - 2.7, -180.0), RUN, PARKED
    )
    assert resistance(path) == pytest.approx(0.015, rel=0.01)


def test_a_row_that_is_partly_of_the_crank_does_no_harm(tmp_path: Path) -> None:
    """Three rows of which the starter turned in the half."""
    path = with_clamp(tmp_path / "log.csv", (120, 12.65, 0.0), (1, 12.65 - 2.7, -180.0), RUN, PARKED)
    head, *lines = path.read_text().splitlines()
    t_s, volts, amps = np.array([line.split(",") for line in lines], dtype=float).T
    mixed = (t_s >= 120.0) & (t_s < 120.25)
    volts[mixed], amps[mixed] = (12.65 + 9.95) / 2, -90.0
    rows = (f"{t:.1f},{v:.3f},{a:.2f}" for t, v, a in zip(t_s, volts, amps, strict=True))
    path.write_text("\n".join([head, *rows]) + "\n")
    assert resistance(path) == pytest.approx(0.015, rel=0.02)


def test_no_resistance_where_it_cannot_be_told(tmp_path: Path) -> None:
    for amps in (0.0, 180.0):  # a clamp that sleeps, one the wrong way round
        path = with_clamp(tmp_path / "log.csv", (120, 12.65, 0.0), (1, 10.0, amps), RUN, PARKED)
        assert resistance(path) is None
    head, *lines = path.read_text().splitlines()
    path.write_text("\n".join([head, *(line.rsplit(",", 1)[0] + "," for line in lines)]) + "\n")
    assert resistance(path) is None


@pytest.mark.parametrize("end_a", [100.0, 125.0, 1000.0])
def test_a_clamp_at_its_end_tells_no_resistance(tmp_path: Path, end_a: float) -> None:
    """The virtual car's starter draws 136 to 305 A; what the clamp cannot read it reads as its end."""
    path, drive = logged(car_of(0.94, 0.006, 60.0), tmp_path / "log.csv", clamp=True)
    head, *lines = path.read_text().splitlines()
    cells = [line.split(",") for line in lines]
    path.write_text("\n".join([head, *(f"{t},{v},{max(float(a), -end_a):.2f}" for t, v, a in cells)]) + "\n")
    (found,) = review(path)[0]["drives"]
    (crank,) = found["cranks"]
    if drive.amps.min() > -end_a:
        assert not crank["clipped"] and crank["resistance_ohm"] is not None
    else:
        assert crank["clipped"] and crank["resistance_ohm"] is None and crank["most_amps"] == -end_a


@pytest.mark.parametrize(("ohm", "seed"), [(0.004, 1), (0.008, 2), (0.015, 3)])
def test_the_virtual_cars_resistance_is_found(tmp_path: Path, ohm: float, seed: int) -> None:
    """Battery and cable to the starter, as the model was told; up to a tenth more while its surface charge goes, and
    0.9 mohm, with the best of batteries."""
    car = car_of(0.94, ohm, 60.0)
    path, _ = logged(car, tmp_path / "log.csv", clamp=True, seed=seed)
    true = car.battery.internal_ohm + build(car).wiring.battery_cable_ohm
    found = resistance(path)
    assert found is not None
    assert true < found < max(1.11 * true, true + 0.0011)
