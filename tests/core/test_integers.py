"""No integer of the sample path leaves [-2**30, 2**30): beyond, a board boxes it on its heap."""

import itertools

import pytest
import vectors

from chargecore import calibration, crc, engine, frames, ledger, thresholds
from chargecore.units import ABSENT, CODE_MAX, TICKS_MASK, elapsed_ms


class Small(int):
    """An integer whose arithmetic gives integers of its own kind, and fails beyond 31 bits."""

    def __new__(cls, value: int) -> "Small":
        assert -(2**30) <= value < 2**30, f"{value} would be boxed"
        return super().__new__(cls, value)


def bounded(name: str):
    plain = getattr(int, name)

    def method(self, *others):
        result = plain(self, *others)
        return result if result is NotImplemented else Small(result)

    return method


for _name in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift", "and", "or", "xor"):
    for _side in ("__", "__r"):
        setattr(Small, f"{_side}{_name}__", bounded(f"{_side}{_name}__"))
for _name in ("__neg__", "__abs__", "__invert__"):
    setattr(Small, _name, bounded(_name))


def test_the_guard_sees_what_it_is_to_see() -> None:
    top = Small(2**30 - 1)
    for beyond in (
        lambda: top + 1,
        lambda: 4 * Small(2**28),
        lambda: Small(1) << 30,
        lambda: -(2**29) - Small(2**29 + 1),
        lambda: -Small(-(2**30)),
    ):
        with pytest.raises(AssertionError, match="would be boxed"):
            beyond()
    kept = (sum([Small(1), Small(2)]), top // 2, 7 % Small(4), ~top, 5 ^ top)
    assert all(type(value) is Small for value in kept)


@pytest.mark.parametrize("name", vectors.NAMES)
def test_every_row_from_engine_to_frame(name: str) -> None:
    rows, start_ms = vectors.one(name)
    limits = thresholds.Thresholds()
    for field, default, _, _ in thresholds.FIELDS:
        setattr(limits, field, Small(default))
    judge, book, frame = engine.Engine(limits), ledger.Ledger(), frames.RowsFrame(1)
    t_ms = Small(start_ms)
    frame.start(0, 0, 0)
    for row in rows:
        dt_ms, low_mv, bus_mv, high_mv, clamp_ma = map(Small, row)
        before_ms, t_ms = t_ms, Small((int(t_ms) + row[0]) & TICKS_MASK)
        assert elapsed_ms(t_ms, before_ms) == dt_ms
        clamp_ma = frames.round_clamp(clamp_ma)
        state = judge.step(t_ms, low_mv, bus_mv, high_mv, clamp_ma)
        book.add(dt_ms, bus_mv, clamp_ma, state, limits.discharging_mv)
        frame.add(dt_ms, low_mv, bus_mv, high_mv, clamp_ma, state, judge.warnings)
        if frame.is_full():
            frame.close()
            frame.start(0, 0, 0)
    assert Small in map(type, judge.snapshot()), "the guard was lost on the way"
    assert type(frame._coder.bus._mean16) is Small


def widest_amps() -> list[int]:
    """The current at both ends of the converter, for calibrations at the ends of what is allowed."""
    cal = calibration.Calibration()
    cal.clamp_fitted = 1
    amps = []
    for cal.clamp_zero, cal.clamp_gain_ua in itertools.product((0, 32760, CODE_MAX), (-16000, 16000)):
        amps += [int(cal.clamp_ma(Small(code))) for code in (64, CODE_MAX - 64)]
    return amps


def test_calibration_at_the_ends_of_what_check_allows() -> None:
    amps = widest_amps()
    assert ABSENT not in amps
    assert max(amps) > 1_000_000 and min(amps) < -1_000_000
    bounds = {name: (lowest, highest) for name, lowest, highest in calibration.FIELDS}
    cal = calibration.Calibration()
    for zero, gain in itertools.product(bounds["bus_zero"], bounds["bus_gain_nv"]):
        cal.bus_zero, cal.bus_gain_nv = Small(zero), Small(gain)
        for code in (64, 255, 256, 32768, 65535):
            assert abs(cal.bus_mv(Small(code)) - (calibration.unfold(code) - zero) * gain / 1e6) <= 0.51


def test_a_clamp_in_proportion_to_its_supply() -> None:
    cal = calibration.Calibration()
    cal.clamp_fitted = 1
    for gain, zero, code in itertools.product((-16000, 16000), (0, CODE_MAX), (64, CODE_MAX - 64)):
        cal.clamp_gain_ua, cal.clamp_zero = Small(gain), Small(zero)
        for calibrated, share in itertools.product((4000, 31000, CODE_MAX), (0.92, 1.0, 1.1)):
            supply = min(round(calibrated * share), CODE_MAX)
            found = int(cal.clamp_ma(Small(code), Small(supply), Small(calibrated)))
            ratio = (calibration.unfold(calibrated) - cal.bus_zero) / (calibration.unfold(supply) - cal.bus_zero)
            reading = cal.bus_zero + (calibration.unfold(code) - cal.bus_zero) * ratio
            reading = min(max(reading, 0), calibration.UNFOLDED_MAX)
            assert found == pytest.approx((reading - zero) * gain / 1000, abs=17)
    # A supply that the sensor cannot work from gives no reading, and no calibrated supply is not heeded.
    assert cal.clamp_ma(30000, 26000, 31000) == ABSENT
    assert cal.clamp_ma(30000, 0, 31000) == ABSENT
    assert cal.clamp_ma(30000, 0, 0) == cal.clamp_ma(30000)


def test_ledger_and_frame_with_the_widest_amps_and_the_longest_row() -> None:
    for clamp_ma in widest_amps():
        for dt_ms in (100, 1000, 2300, 5000):
            book = ledger.Ledger()
            book.add(Small(dt_ms), Small(12500), Small(clamp_ma), engine.DISCHARGING, 13000)
            counted_mas = (book.in_as - book.out_as) * 1000 + book.in_mas - book.out_mas
            assert int(counted_mas) == clamp_ma * dt_ms // 1000
    frame = frames.RowsFrame(1)
    frame.start(0, 0, 0)
    for clamp_ma in widest_amps():
        for bus_mv in (-3700, 62700):
            volts = [Small(bus_mv)] * 3
            frame.add(Small(65535), *volts, frames.round_clamp(Small(clamp_ma)), Small(0), Small(255))


def test_checksum(monkeypatch: pytest.MonkeyPatch) -> None:
    for table in ("_LOW", "_HIGH"):
        monkeypatch.setattr(crc, table, [Small(value) for value in getattr(crc, table)])
    buffer = [Small(value) for value in range(256)] + [0] * 4
    crc.put_crc32(buffer, 256)
    assert all(type(value) is Small for value in buffer[-4:])
