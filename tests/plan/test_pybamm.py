"""The plan's battery against PyBaMM's lead-acid model, which shares neither code nor data with it.

PyBaMM (`pip install underdash[oracle]`) discharges a porous-electrode model, `lead_acid.Full`, with the parameter set
Sulzer2019: a sealed 12 V, 17 Ah battery. What it can't do and is not asked here: charge acceptance, end of charge, a
start from anything but full. Its volts are the whole battery's.

It is another battery than the one of the BCI table: sealed, with less and stronger acid, which rests at 12.99 V when
full. So rested volts are compared at the same acid, sag and recovery at the same current for each Ah.
"""

import os
import warnings
from dataclasses import replace
from functools import cache
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from conftest import absent
from plan.cars import car
from underdash.car import from_file
from underdash.car.battery import Battery, BatteryState, rested_volts
from underdash.plan.budget import budget
from underdash.plan.budget.whole import minutes

LABEL_AH = 17.0
SULZER = "Sulzer2019"


@pytest.fixture(scope="module")
def pybamm() -> ModuleType:
    """The library; without it these tests are skipped, but fail under CI."""
    os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"
    try:
        with warnings.catch_warnings():
            # Its own dependencies' deprecations while they are imported, nothing of ours.
            warnings.simplefilter("ignore", DeprecationWarning)
            import pybamm as library
    except ImportError:
        absent("PyBaMM is not installed; pip install 'underdash[oracle]'")
    return library


@cache
def run(library: ModuleType, *steps: str) -> tuple[np.ndarray, np.ndarray]:
    """(hours, volts of the whole battery) of a full battery that goes through `steps`."""
    simulation = library.Simulation(
        library.lead_acid.Full(),
        experiment=library.Experiment([steps]),
        parameter_values=library.ParameterValues(SULZER),
    )
    solution = simulation.solve()
    return solution["Time [h]"].entries, solution["Battery voltage [V]"].entries


def shortfall_share() -> float:
    """The hand-built car's shortfall at hot idle, for each Ah of its battery [1/h]."""
    file = car()
    (short,) = budget(file).shortfalls
    return short.battery_a / file.battery.capacity_ah


def ours() -> Battery:
    """Our battery of 17 Ah, scaled as a car file's is: resistance up, everything else down with capacity."""
    file = car()
    size = LABEL_AH / file.battery.capacity_ah
    small = replace(file.battery, capacity_ah=LABEL_AH, internal_ohm=file.battery.internal_ohm / size)
    return from_file.build(replace(file, battery=small)).battery


# -- minutes ----------------------------------------------------------------------------------


@pytest.mark.parametrize("share", ["shortfall", 0.1, 0.2, 0.4])
def test_minutes_to_half_charge(pybamm: ModuleType, share: Any) -> None:
    # The plan: half the label's Ah at constant current. PyBaMM: half of its own time to 10.5 V at that current.
    # Its battery is new and holds more than its label: 19.6 to 21.3 Ah of 17 at 0.4 to 0.1 of the capacity an hour
    # (the measured one, github.com/valentinsulzer/faster-lead-acid, gave 19.8 Ah at 3 A). The plan goes by the label,
    # so it has to be on the short side, and by that surplus: label / held is 0.80 to 0.87, give or take 0.03 for
    # versions of the library.
    share = shortfall_share() if share == "shortfall" else share
    amps = share * LABEL_AH
    hours, volts = run(pybamm, f"Discharge at {amps} A until 10.5 V")
    assert volts[-1] == pytest.approx(10.5, abs=0.01)
    ratio = minutes(LABEL_AH, 0.5, amps) / (0.5 * hours[-1] * 60.0)
    assert 0.77 <= ratio <= 0.90


def test_more_current_takes_more_than_its_share_of_the_time(pybamm: ModuleType) -> None:
    # Why the page says that capacity falls with current, which the plan's sum leaves out.
    held = [amps * run(pybamm, f"Discharge at {amps} A until 10.5 V")[0][-1] for amps in (1.7, 3.4, 6.8)]
    assert held[0] > held[1] > held[2]
    assert held[2] / held[0] == pytest.approx(0.92, abs=0.03)


# -- sag and recovery -------------------------------------------------------------------------


@pytest.mark.parametrize(("amps", "hours"), [(3.4, 2.0), (5.0, 1.36), (6.8, 1.0)])
def test_sag_and_recovery(pybamm: ModuleType, amps: float, hours: float) -> None:
    # 40 % of the label's Ah out at currents such as a shortfall takes, then two hours of rest. What comes back is what
    # the current cost in volts. Ours has 6.5 mohm at 60 Ah, from memory out of 4 to 8, and invented polarisation:
    # within half of PyBaMM's, which has no posts and straps, is as close as such constants can be expected to come.
    times, volts = run(pybamm, f"Discharge at {amps} A for {hours} hours", "Rest for 2 hours")
    under_load = float(np.interp(hours - 1e-3, times, volts))
    theirs = float(volts[-1]) - under_load

    battery, state = ours(), BatteryState(1.0)
    for _ in range(round(hours * 3600.0)):
        state = battery.step(state, -amps, 1.0)
    loaded = battery.emf(state) - amps * battery.internal_ohm
    for _ in range(7200):
        state = battery.step(state, 0.0, 1.0)
    recovered = battery.emf(state) - loaded
    assert battery.emf(state) == pytest.approx(rested_volts(state.charge), abs=0.01)
    assert 1.0 <= recovered / theirs <= 1.5


def test_both_recover_most_of_it_at_once(pybamm: ModuleType) -> None:
    # A minute after the current stops, PyBaMM is back to within 0.02 V of its rest; ours, slower, within 0.05 V.
    times, volts = run(pybamm, "Discharge at 3.4 A for 2.0 hours", "Rest for 2 hours")
    after_a_minute = float(np.interp(2.0 + 1.0 / 60.0, times, volts))
    assert 0.0 < float(volts[-1]) - after_a_minute < 0.02

    battery, state = ours(), BatteryState(1.0)
    for _ in range(7200):
        state = battery.step(state, -3.4, 1.0)
    for _ in range(60):
        state = battery.step(state, 0.0, 1.0)
    assert 0.0 < rested_volts(state.charge) - battery.emf(state) < 0.05


# -- rest -------------------------------------------------------------------------------------


def acid_volts(library: ModuleType, gravity: float) -> float:
    """Six cells' open-circuit volts by the library's functions (Bode 1977) in acid of this specific gravity."""
    values = library.ParameterValues(SULZER)
    water_m3, anion_m3, cation_m3 = (
        values[f"Partial molar volume of {of} [m3.mol-1]"] for of in ("water", "anions", "cations")
    )
    water_kg, anion_kg, cation_kg = (values[f"Molar mass of {of} [kg.mol-1]"] for of in ("water", "anions", "cations"))
    acid_m3, acid_kg = anion_m3 + cation_m3, anion_kg + cation_kg
    # Density of the mixture by its partial molar volumes, solved for the acid's concentration; then its molality.
    concentration = (1000.0 * gravity - water_kg / water_m3) / (acid_kg - acid_m3 * water_kg / water_m3)
    molality = concentration * water_m3 / ((1.0 - concentration * acid_m3) * water_kg)
    positive, negative = (values[f"{which} electrode open-circuit potential [V]"] for which in ("Positive", "Negative"))
    at = library.Scalar(molality)
    return 6.0 * float(values.evaluate(positive(at)) - values.evaluate(negative(at)))


@pytest.mark.parametrize(
    # The BCI table (studylib.net/doc/18054160) has specific gravity beside volts.
    ("charge", "gravity", "within_v"),
    [(1.0, 1.265, 0.03), (0.75, 1.225, 0.03), (0.5, 1.190, 0.03), (0.25, 1.155, 0.1), (0.0, 1.120, 0.1)],
)
def test_rested_volts_at_the_same_acid(pybamm: ModuleType, charge: float, gravity: float, within_v: float) -> None:
    assert acid_volts(pybamm, gravity) == pytest.approx(rested_volts(charge), abs=within_v)


def test_the_library_rests_at_the_volts_of_its_own_acid(pybamm: ModuleType) -> None:
    # 5,650 mol/m3 has a specific gravity of 1.321 by the same sum; at rest the whole model shows those volts.
    _, volts = run(pybamm, "Rest for 1 hours")
    assert float(volts[-1]) == pytest.approx(acid_volts(pybamm, 1.32118), abs=0.002)
