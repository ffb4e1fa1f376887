"""The clamp sensor's supply: when it is read, and what is made of it."""

import pytest

from chargecore.calibration import Calibration
from chargecore.units import ABSENT
from monitor.sampler import Sampler


class Adc:
    """Holds a level [steps]; counts the samples, of 64 readings each."""

    def __init__(self, steps: int) -> None:
        self.steps = steps
        self.readings = 0

    def read_u16(self) -> int:
        self.readings += 1
        return self.steps << 4 | self.steps >> 8

    @property
    def samples(self) -> int:
        return self.readings // 64


def sampler(clamp: Adc, supply: Adc, kept: int = 0) -> Sampler:
    calibration = Calibration()
    calibration.clamp_fitted = 1
    return Sampler(Adc(3000), clamp, supply, calibration, kept)


def test_it_is_read_once_a_second_where_there_is_time() -> None:
    supply = Adc(1944)
    found = sampler(Adc(1900), supply)
    found.sample(False)
    assert supply.samples == 1, "the first sample has none to go by"
    for _ in range(100):
        found.sample()
    assert 10 <= supply.samples <= 12


@pytest.mark.parametrize("spare", [True, False])
def test_it_waits_for_a_tick_with_time_but_not_for_ever(spare: bool) -> None:
    supply = Adc(1944)
    found = sampler(Adc(1900), supply)
    for _ in range(400):
        found.sample(spare)
    assert supply.samples == pytest.approx(40 if spare else 20, abs=3)


def test_the_amps_stay_when_sensor_and_supply_sink_together() -> None:
    clamp, supply = Adc(2200), Adc(1944)
    whole = sampler(clamp, supply, 1944 * 16)
    whole.sample()
    before = whole.clamp_ma
    clamp.steps, supply.steps = round(14 + (2200 - 14) * 0.95), round(14 + (1944 - 14) * 0.95)
    # Within three steps of the converter, 65 mA each: both levels were rounded to whole ones.
    sunk = sampler(clamp, supply, 1944 * 16)
    sunk.sample()
    assert before > 10_000
    assert sunk.clamp_ma == pytest.approx(before, abs=200)
    taken_as_it_is = sampler(clamp, supply)
    taken_as_it_is.sample()
    assert abs(taken_as_it_is.clamp_ma - before) > 4_000
    supply.steps = 1500
    whole = sampler(clamp, supply, 1944 * 16)
    whole.sample()
    assert whole.clamp_ma == ABSENT
