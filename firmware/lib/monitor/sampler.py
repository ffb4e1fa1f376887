"""From converter pins to rows: oversampling, calibration, and one row a second.

Around a crank each sample, ten a second, becomes a row of its own, beginning with the second
in which the volts first fell.
"""

from array import array

from chargecore.frames import round_clamp
from chargecore.shim import const
from chargecore.units import ABSENT, TICKS_MASK

SAMPLE_MS = const(100)
_SAMPLES_A_ROW = const(10)
_OVERSAMPLE = const(64)
_FAST_TAIL = const(30)  # samples written singly after the volts have recovered
_FAST_LONGEST = const(400)  # a flat battery stays low: no more single rows than this in a stretch


class Sampler:
    """Reads both channels. After `sample`: `bus_code`, `clamp_code` (1/16 steps of 12 bits),
    `bus_mv`, `clamp_ma`."""

    def __init__(self, bus_adc, clamp_adc, calibration):
        self._bus_adc = bus_adc
        self._clamp_adc = clamp_adc
        self.calibration = calibration
        self.bus_code = self.clamp_code = 0
        self.bus_mv = self.clamp_ma = ABSENT

    def sample(self):
        self.bus_code = self._read(self._bus_adc)
        self.bus_mv = self.calibration.bus_mv(self.bus_code)
        if self.calibration.clamp_fitted:
            self.clamp_code = self._read(self._clamp_adc)
            self.clamp_ma = self.calibration.clamp_ma(self.clamp_code)
        else:
            self.clamp_ma = ABSENT

    def _read(self, adc) -> int:
        read = adc.read_u16
        total = 0
        for _ in range(_OVERSAMPLE):
            total += read() >> 4  # the lower four bits of read_u16 only repeat the upper four
        return total >> 2  # 64 readings of 12 bits, as sixteenths


class RowBuilder:
    """Gathers samples into rows and hands each row on:
    `emit(t_ms, low_mv, bus_mv, high_mv, clamp_ma)`."""

    def __init__(self, emit, crank_mv: int, clear_mv: int):
        self._emit = emit
        self._crank_mv = crank_mv
        self._clear_mv = clear_mv
        self._bus = array("i", [0] * _SAMPLES_A_ROW)
        self._clamp = array("i", [0] * _SAMPLES_A_ROW)
        self._time = array("i", [0] * _SAMPLES_A_ROW)
        self._count = 0
        self._fast = 0
        self._fast_budget = _FAST_LONGEST

    def push(self, t_ms: int, bus_mv: int, clamp_ma: int):
        """Take the sample of this moment of the wrapping clock."""
        t_ms &= TICKS_MASK
        count = self._count
        self._time[count] = t_ms
        self._bus[count] = bus_mv
        self._clamp[count] = clamp_ma
        self._count = count + 1
        self._follow_crank(bus_mv)
        if self._fast:
            self._fast -= 1
            self._emit_singly()
        elif self._count == _SAMPLES_A_ROW:
            self._emit_mean()

    def _follow_crank(self, bus_mv):
        if bus_mv == ABSENT:
            return
        low = bus_mv < self._clear_mv if self._fast else bus_mv < self._crank_mv
        if low and self._fast_budget:
            self._fast = _FAST_TAIL
            self._fast_budget -= 1
        elif not low and not self._fast:
            self._fast_budget = _FAST_LONGEST

    def _emit_singly(self):
        for index in range(self._count):
            bus_mv = self._bus[index]
            self._emit(self._time[index], bus_mv, bus_mv, bus_mv, round_clamp(self._clamp[index]))
        self._count = 0

    def _emit_mean(self):
        low_mv = high_mv = ABSENT
        bus_sum = clamp_sum = bus_count = clamp_count = 0
        for index in range(_SAMPLES_A_ROW):
            bus_mv = self._bus[index]
            if bus_mv != ABSENT:
                if bus_count == 0:
                    low_mv = high_mv = bus_mv
                else:
                    low_mv = min(low_mv, bus_mv)
                    high_mv = max(high_mv, bus_mv)
                bus_sum += bus_mv
                bus_count += 1
            if self._clamp[index] != ABSENT:
                clamp_sum += self._clamp[index]
                clamp_count += 1
        # A second in which most samples failed was not measured.
        half = _SAMPLES_A_ROW // 2
        bus_mv = (bus_sum + bus_count // 2) // bus_count if bus_count > half else ABSENT
        clamp_ma = clamp_sum // clamp_count if clamp_count > half else ABSENT
        self._count = 0
        self._emit(self._time[_SAMPLES_A_ROW - 1], low_mv, bus_mv, high_mv, round_clamp(clamp_ma))
