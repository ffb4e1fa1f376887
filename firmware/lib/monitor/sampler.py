"""From converter pins to rows: oversampling, calibration, and one row a second.

Around a crank each sample, ten a second, becomes a row of its own, beginning with the second
in which the volts first fell. At rest a row is a minute of samples, five a second.
"""

from array import array

from chargecore.frames import round_clamp
from chargecore.shim import const
from chargecore.units import ABSENT, TICKS_MASK, elapsed_ms

SAMPLE_MS = const(100)
_SAMPLES_A_ROW = const(10)
_OVERSAMPLE = const(64)
_SUPPLY_PHASE = const(4)
_SUPPLY_OVERDUE = const(-10)  # samples so late: it is read, spare or not (sparing the battery, each tick draws)
REST_SAMPLE_MS = const(200)  # often enough for a starter to be seen while it turns
SAVING_SAMPLE_MS = const(1000)  # below the cut-off nothing but a crank or a charger matters
REST_ROW_MS = const(60000)
_BURST = const(2)  # rows handed on in one tick at most: the second that a crank began in comes bit by bit
_FAST_TAIL = const(30)  # samples written singly after the volts have recovered
_FAST_LONGEST = const(400)  # a flat battery stays low: no more single rows than this in a stretch


class Sampler:
    """Reads both channels. After `sample`: `bus_code`, `clamp_code`, `supply_code` (1/16 steps of
    12 bits; the clamp sensor's supply is read each second), `bus_mv`, `clamp_ma`."""

    def __init__(self, bus_adc, clamp_adc, supply_adc, calibration, clamp_supply: int = 0):
        self._bus_adc = bus_adc
        self._clamp_adc = clamp_adc
        self._supply_adc = supply_adc
        self._clamp_supply = clamp_supply
        self._supply_wait = 0
        self.calibration = calibration
        self.bus_code = self.clamp_code = self.supply_code = 0
        self.bus_mv = self.clamp_ma = ABSENT

    def sample(self, spare: bool = True):
        """`spare`: this tick has time for the sensor's supply, too."""
        self.bus_code = self._read(self._bus_adc)
        self.bus_mv = self.calibration.bus_mv(self.bus_code)
        if self.calibration.clamp_fitted:
            self.clamp_code = self._read(self._clamp_adc)
            if self._supply_wait <= (0 if spare else _SUPPLY_OVERDUE) or not self.supply_code:
                # Later not in the tick of a row either: each has enough to do.
                self._supply_wait = _SAMPLES_A_ROW if self.supply_code else _SUPPLY_PHASE
                self.supply_code = self._read(self._supply_adc)
            self._supply_wait -= 1
            self.clamp_ma = self.calibration.clamp_ma(self.clamp_code, self.supply_code, self._clamp_supply)
        else:
            self.clamp_ma = ABSENT

    def _read(self, adc) -> int:
        total = 0
        for _ in range(_OVERSAMPLE // 4):  # by fours: half the time would be the loop's own
            # The lower four bits of each only repeat the upper four.
            total += (adc.read_u16() >> 4) + (adc.read_u16() >> 4) + (adc.read_u16() >> 4) + (adc.read_u16() >> 4)
        return total >> 2  # 64 readings of 12 bits, as sixteenths


class RowBuilder:
    """Gathers samples into rows and hands each row on:
    `emit(t_ms, low_mv, bus_mv, high_mv, clamp_ma)`. A parked car's samples come through `rest`
    and become a row a minute; the first `push` after them closes that row."""

    def __init__(self, emit, crank_mv: int, clear_mv: int):
        self._emit = emit
        self._crank_mv = crank_mv
        self._clear_mv = clear_mv
        # Twice a row: while the second before a crank is handed on, new samples come.
        self._bus = array("i", [0] * (2 * _SAMPLES_A_ROW))
        self._clamp = array("i", [0] * (2 * _SAMPLES_A_ROW))
        self._time = array("i", [0] * (2 * _SAMPLES_A_ROW))
        self._first = self._count = 0
        self._fast = 0
        self._fast_budget = _FAST_LONGEST
        self._sums = Sums()
        self._rest_from_ms = self._rest_to_ms = 0

    def push(self, t_ms: int, bus_mv: int, clamp_ma: int):
        """Take the sample of this moment of the wrapping clock."""
        t_ms &= TICKS_MASK
        self._end_rest_row()
        count = self._count
        self._time[count] = t_ms
        self._bus[count] = bus_mv
        self._clamp[count] = clamp_ma
        self._count = count + 1
        self._follow_crank(bus_mv)
        if self._fast:
            self._fast -= 1
            self._emit_singly(_BURST)
        elif self._count == _SAMPLES_A_ROW:
            self._emit_mean()

    def rest(self, t_ms: int, bus_mv: int, clamp_ma: int):
        """Take a parked car's sample."""
        t_ms &= TICKS_MASK
        self._flush()
        sums = self._sums
        if sums.samples == 0:
            self._rest_from_ms = t_ms
        # Closed before it grows too long for the journal, however late this sample comes.
        elif elapsed_ms(t_ms, self._rest_from_ms) > REST_ROW_MS:
            self._end_rest_row()
            self._rest_from_ms = self._rest_to_ms
        self._rest_to_ms = t_ms
        sums.add(bus_mv, clamp_ma)

    def close(self):
        """Hand on what has gathered."""
        self._flush()
        self._end_rest_row()

    def _flush(self):
        if self._first:
            self._emit_singly(self._count)
        elif self._count:
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

    def _emit_singly(self, most):
        index = self._first
        while index < self._count and most:
            bus_mv = self._bus[index]
            self._emit(self._time[index], bus_mv, bus_mv, bus_mv, round_clamp(self._clamp[index]))
            index += 1
            most -= 1
        self._first = index
        if index == self._count:
            self._first = self._count = 0

    def _emit_mean(self):
        sums = self._sums
        for index in range(self._count):
            sums.add(self._bus[index], self._clamp[index])
        t_ms = self._time[self._count - 1]
        self._count = 0
        self._emit_sums(t_ms)

    def _end_rest_row(self):
        if self._sums.samples:
            self._emit_sums(self._rest_to_ms)

    def _emit_sums(self, t_ms):
        sums = self._sums
        bus_mv, clamp_ma = sums.bus_mv(), sums.clamp_ma()
        low_mv, high_mv = sums.low_mv, sums.high_mv
        sums.reset()
        self._emit(t_ms, low_mv, bus_mv, high_mv, round_clamp(clamp_ma))


class Sums:
    """Lowest, highest and the means of some samples. A row most of whose samples failed was not
    measured."""

    def __init__(self):
        self.reset()

    def reset(self):
        self.samples = 0
        self.low_mv = self.high_mv = ABSENT
        self._bus_sum = self._clamp_sum = self._bus_count = self._clamp_count = 0

    def add(self, bus_mv: int, clamp_ma: int):
        self.samples += 1
        if bus_mv != ABSENT:
            if self._bus_count == 0:
                self.low_mv = self.high_mv = bus_mv
            else:
                self.low_mv = min(self.low_mv, bus_mv)
                self.high_mv = max(self.high_mv, bus_mv)
            self._bus_sum += bus_mv
            self._bus_count += 1
        if clamp_ma != ABSENT:
            self._clamp_sum += clamp_ma
            self._clamp_count += 1

    def bus_mv(self) -> int:
        count = self._bus_count
        return (self._bus_sum + count // 2) // count if count > self.samples // 2 else ABSENT

    def clamp_ma(self) -> int:
        count = self._clamp_count
        return self._clamp_sum // count if count > self.samples // 2 else ABSENT
