"""Every kind of wrong input: refused, for the right reason, in one line that says what to do."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.make_believe import METER, amps_point, volts_point
from chargecore.calibration import UNFOLDED_MAX
from underdash.calibrate import amps, checks, meter
from underdash.calibrate.checks import Nominal, Refusal
from underdash.calibrate.points import Point, folded, number, read_amps, read_volts, unfolded
from underdash.calibrate.session import TARGETS, targets_from
from underdash.problems import DataError, UsageError
from underdash.virtual.signal_file import FrontEnd

CLASS = meter.parse(METER)


def five() -> list[Point]:
    return [volts_point(volts) for volts in TARGETS]


def test_five_good_points_pass() -> None:
    line = checks.check_set(five(), CLASS, Nominal())
    assert np.abs(line.residuals).max() < 0.001


def with_point(index: int, point: Point) -> list[Point]:
    return [*five()[:index], point, *five()[index + 1 :]]


VOLTS = {
    "no point": ([], "0 points: too few"),
    "one point": ([volts_point(13.5)], "1 point: too few"),
    "too close": ([volts_point(13.0), volts_point(13.5), volts_point(14.4)], "too close together, 1.40 V"),
    "the same twice": (
        [volts_point(11.8), volts_point(13.5), volts_point(13.5), volts_point(15.4)],
        "points 2 and 3.*the same",
    ),
    "nearly the same": ([volts_point(11.8), volts_point(13.5), volts_point(13.55)], "50 mV apart"),
    "a falling reading": (
        [volts_point(11.8), volts_point(14.4, "12.600"), volts_point(12.6, "14.400"), volts_point(15.4)],
        r"point 2 \(12.600 V\).*board reads",
    ),
    "falls by little": (
        with_point(2, replace(volts_point(13.5), code=44600.0, reading=unfolded(44600.0))),
        "falls from",
    ),
    "swapped, far": (with_point(2, volts_point(13.5, "15.3")), r"point 3 \(15.3 V\).*swapped.*13.5"),
    "swapped, near": (with_point(2, volts_point(13.52, "13.25")), r"point 3 \(13.25 V\).*swapped.*13.52"),
    "swapped at an end": (with_point(4, volts_point(15.41, "14.51")), r"point 5 \(14.51 V\).*swapped.*15.41"),
    "swapped, two points": ([volts_point(11.8), volts_point(15.4, "14.5")], "wrong|swapped"),
    "a digit misread": (with_point(3, volts_point(14.4, "14.700")), r"point 4 \(14.700 V\) lies \+\d+ mV off"),
    "a little off": (with_point(1, volts_point(12.6, "12.655")), r"point 2 \(12.655 V\) lies \+55 mV off"),
    "three, crooked": ([volts_point(11.8), volts_point(13.5, "13.600"), volts_point(15.4)], "three points do not lie"),
    "millivolts": (with_point(0, volts_point(11.8, "11800")), "point 1.*read in mV.*type 11.8"),
    "all in millivolts": ([volts_point(volts, f"{volts * 1000:.0f}") for volts in TARGETS], "read in mV"),
    "decimal point": (with_point(0, volts_point(11.8, "1.18")), "decimal point.*type 11.8"),
    "reversed": (with_point(1, volts_point(12.6, "-12.600")), "point 2.*negative.*reversed"),
    "meter at zero": (with_point(1, volts_point(12.6, "0.000")), "meter reads nothing"),
    "upper end": (with_point(4, replace(volts_point(15.4), code=65520.0, reading=float(UNFOLDED_MAX))), "saturated"),
    "lower end": (with_point(0, replace(volts_point(11.8), code=12.0, reading=12.0)), "lower end"),
    "unstable": (with_point(3, replace(volts_point(14.4), spread=50.0)), "point 4.*unstable.*13.8 mV"),
    "in a wide code": ([volts_point(11.37), *five()[1:]], "point 1.*wide code"),
    "far from the divider": (with_point(2, volts_point(13.5, "17.000")), "point 3.*% away"),
    "wrong divider": (
        [volts_point(volts, front_end=FrontEnd(bus_full_scale=18.29 * 1.08)) for volts in TARGETS],
        r"gain.*\+8.\d %",
    ),
    "an offset": (
        [replace(volts_point(volts), meter=volts + 0.6, text=f"{volts + 0.6:.3f}") for volts in TARGETS],
        r"misses 0 V",
    ),
}


@pytest.mark.parametrize("kind", VOLTS)
def test_volts_that_cannot_be_right(kind: str) -> None:
    points, said = VOLTS[kind]
    with pytest.raises(Refusal, match=said) as refused:
        checks.check_set(points, CLASS, Nominal())
    assert "\n" not in str(refused.value)
    assert ";" in str(refused.value) or "?" in str(refused.value), "no remedy"


@given(st.sampled_from(range(5)), st.integers(0, 2**31))
@settings(max_examples=150)
def test_any_swap_of_two_neighbouring_digits_is_noticed(index: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    volts = [round(float(v + random.uniform(-0.15, 0.15)), 2) for v in TARGETS]
    points = [volts_point(one, f"{one:.2f}") for one in volts]
    typed = checks.swaps(points[index].text)
    for wrong in typed:
        if abs(float(wrong) - volts[index]) < 0.06:
            continue  # 0.05 V are told as a point that lies off, not as a swap, where 0.01 V is the last digit
        changed = [*points[:index], replace(points[index], text=wrong, meter=float(wrong)), *points[index + 1 :]]
        with pytest.raises(Refusal, match=r"swapped|decimal|apart|the same") as refused:
            checks.check_set(changed, meter.parse("0.5% + 2 digits at 0.01"), Nominal())
        assert refused.value.number == index + 1 or "apart" in str(refused.value) or "the same" in str(refused.value)


@given(st.integers(0, 2**31))
@settings(max_examples=150)
def test_honest_points_with_noise_and_a_crooked_meter_pass(seed: int) -> None:
    random = np.random.default_rng(seed)
    front_end = FrontEnd(bus_full_scale=float(18.25 * random.uniform(0.984, 1.017)))
    error = float(random.uniform(-0.001, 0.001))
    points = []
    for volts in TARGETS:
        read = volts * (1 + error) + float(random.uniform(-0.001, 0.001))
        point = volts_point(volts, f"{read:.3f}", front_end)
        reading = point.reading + float(random.normal(0, 3))
        points.append(replace(point, reading=reading, code=folded(reading)))
    line = checks.check_set(points, CLASS, Nominal())
    assert np.abs(line.residuals).max() < 0.006


def test_cautions_are_told() -> None:
    short = [volts_point(volts, f"{volts:.1f}") for volts in (12.5, 14.8)]
    told = " ".join(checks.cautions(short, CLASS))
    assert (
        "Two points" in told
        and "12.50 to 14.80 V" in told
        and "more than 1 decimals" in told
        and "15.5 mV at 13.5 V" in told
    )
    assert not any("decimals" in text for text in checks.cautions(five(), CLASS))


# -- what is typed ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value"), [("13.5", 13.5), (" 13,52 V", 13.52), ("+0.5", 0.5), ("-12.6", -12.6), (".5", 0.5), ("7", 7.0)]
)
def test_numbers(text: str, value: float) -> None:
    assert number(text) == value


@pytest.mark.parametrize(
    "text", ["", "abc", "nan", "inf", "1.2.3", "13,5,0", "1e3", "12 13", "0x1F", "13.5 mV", "--4", "."]
)
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(ValueError, match="type"):
        number(text)


@pytest.mark.parametrize(
    ("text", "limit"), [("0.1% + 2 digits at 0.001", 0.0155), ("0,5 %+3d@0,01", 0.0975), ("1% at 0.01 V", 0.135)]
)
def test_meter_classes(text: str, limit: float) -> None:
    assert meter.parse(text).limit(13.5) == pytest.approx(limit)
    assert meter.parse(text).standard(13.5) == pytest.approx(limit / np.sqrt(3))


@pytest.mark.parametrize(
    "text",
    ["", "0.1%", "good", "0% + 0 digits at 0.001", "50% at 0.01", "0.1% + 2 digits at 5", "0.1% + 2 digits at 0"],
)
def test_meter_classes_that_cannot_be(text: str) -> None:
    with pytest.raises(UsageError, match="meter class"):
        meter.parse(text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("13.5", "two"),
        ("13,13.5", "apart"),
        ("11.4,15", "blind"),
        ("15.9,12", "blind"),
        ("12,17", "16 V"),
        ("12,x", "number"),
        ("4,12", "5 to 16"),
    ],
)
def test_targets_that_cannot_be(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        targets_from(text)


def test_targets() -> None:
    assert targets_from("11.8, 13.5,15.4") == (11.8, 13.5, 15.4)


# -- files ------------------------------------------------------------------------------------

GOOD = "# my bench\nmeter_volts,bus_code,spread,count\n11.800,42600,2.1,16\n\n15.400,55500,,\n"


def test_a_file_of_codes(tmp_path: Path) -> None:
    path = tmp_path / "p.csv"
    path.write_text(GOOD)
    first, second = read_volts(path)
    assert (first.meter, first.text, first.code, first.spread, first.count) == (11.8, "11.800", 42600, 2.1, 16)
    assert first.reading == unfolded(42600) and first.how.endswith("line 3")
    assert np.isnan(second.spread) and second.how.endswith("line 5")


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    path = tmp_path / "p.csv"
    path.write_bytes("\ufeffMeter_Volts;bus_code\r\n11,8;42600,5\r\n".encode())
    (point,) = read_volts(path)
    assert (point.meter, point.code) == (11.8, 42600.5)


def test_shown_volts_go_back_through_the_present_calibration(tmp_path: Path) -> None:
    path = tmp_path / "p.csv"
    path.write_text("meter_volts,shown_volts\n13.500,13.412\n")
    told: list[str] = []
    (point,) = read_volts(path, (276199, 224), told.append)
    assert point.reading == pytest.approx(13.412 / 276199e-9 + 224)
    assert unfolded(point.code) == pytest.approx(point.reading, abs=0.5)
    assert len(told) == 1 and "276199" in told[0] and "WRONG" in told[0]
    path.write_text("meter_volts,shown_volts,bus_gain_nv,bus_zero\n13.500,13.412,276199,224\n")
    assert read_volts(path, (276199, 224), told.append) == [point] and len(told) == 1
    for other in ((276200, 224), (276199, -3)):
        with pytest.raises(DataError, match=r"under bus_(gain_nv 276199|zero 224), and the board now has"):
            read_volts(path, other)


def test_columns_that_are_not_known_are_passed_over_aloud(tmp_path: Path) -> None:
    path = tmp_path / "p.csv"
    path.write_text("meter_volts,colour,bus_code,Remark\n11.8,red,42600,the first\n")
    told: list[str] = []
    (point,) = read_volts(path, None, told.append)
    assert (point.meter, point.code) == (11.8, 42600)
    assert len(told) == 1 and told[0].endswith("colour, remark")


FILES = {
    "": "holds no lines",
    "# only\n": "holds no lines",
    "meter_volts\n1\n": "line 1: no column bus_code or shown_volts",
    "bus_code\n1\n": "line 1: no column meter_volts",
    "volts,code\n1,2\n": "line 1: no column meter_volts, and none bus_code or shown_volts; the header is 'volts,code'",
    "meter_volts,bus_code,bus_code\n1,2,3\n": "twice",
    "meter_volts,bus_code,shown_volts\n1,2,3\n": "both",
    "13.5,48000\n14.4,52000\n": "no column meter_volts",
    "meter_volts,bus_code\n13,5,48000\n": "line 2: 3 values below 2 columns; write numbers with a decimal point",
    "meter_volts,bus_code\n13.5\n": "line 2: 1 values below 2 columns",
    "meter_volts,bus_code\n13.5,\n": "line 2: bus_code is empty",
    "meter_volts,bus_code\n13.5 mV,48000\n": "line 2: meter_volts '13.5 mV' is in mV",
    "meter_volts,bus_code\nabc,48000\n": "line 2: meter_volts 'abc' is not a number",
    "meter_volts,bus_code\nnan,48000\n": "line 2: meter_volts 'nan' is not a number",
    "meter_volts,bus_code\n13.5,70000\n": "line 2: bus_code is 70000: must be 0 to 65520",
    "meter_volts,bus_code\n13.5,-3\n": "line 2: bus_code is -3",
    "meter_volts,bus_code,spread\n13.5,48000,-1\n": "line 2: spread is -1",
    "meter_volts,bus_code,count\n13.5,48000,0\n": "line 2: count is 0",
    "meter_volts,shown_volts\n13.5,13.4\n": "line 2: shown_volts means nothing without",
}


@pytest.mark.parametrize("content", FILES)
def test_files_that_cannot_be_read(content: str, tmp_path: Path) -> None:
    path = tmp_path / "p.csv"
    path.write_text(content)
    with pytest.raises((DataError, UsageError), match=FILES[content]) as refused:
        read_volts(path)
    # What is no points file is a wrong request; a number that cannot be is wrong data.
    assert isinstance(refused.value, DataError) == bool(re.search(r" is (70000|-3|-1|0$)|is 0:", FILES[content]))
    assert str(refused.value).startswith(str(path)) and "\n" not in str(refused.value)


def test_bytes_that_are_no_text_and_no_file_at_all(tmp_path: Path) -> None:
    path = tmp_path / "p.csv"
    path.write_bytes(b"meter_volts,bus_code\n\xff\xfe\n")
    with pytest.raises(UsageError, match="line 2: not UTF-8"):
        read_volts(path)
    with pytest.raises(UsageError, match="no such file"):
        read_volts(tmp_path / "none.csv")


def test_a_file_of_amps(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("meter_amps,clamp_code,turns\n0,30600,\n5.02,36000,10\n")
    zero, load = read_amps(path)
    assert (zero.meter, zero.turns, load.meter, load.turns) == (0.0, 1, pytest.approx(50.2), 10)
    path.write_text("meter_amps,clamp_code,turns\n5.02,36000,2.5\n")
    with pytest.raises(DataError, match="whole number"):
        read_amps(path)


# -- amps -------------------------------------------------------------------------------------

CLAMP_CLASS = meter.parse("1% + 3 digits at 0.01")


def both_ways(
    current: float = 6.0, turns: int = 8, front_end: FrontEnd | None = None, memory: float = 0.1
) -> list[Point]:
    """Zero, in, zero, out, zero; memory [A]: by which the zeros after a load are off, to its side."""
    end = front_end or FrontEnd(clamp_zero=0.4650, clamp_span=267.0)
    total = current * turns
    zero = amps_point(0.0, "0", front_end=end)

    def shifted(by: float) -> Point:
        return replace(amps_point(by, "0", front_end=end), meter=0.0)

    return [
        zero,
        amps_point(total, turns=turns, front_end=end),
        shifted(memory),
        amps_point(-total, turns=turns, front_end=end),
        shifted(-memory),
    ]


def test_a_good_clamp_passes() -> None:
    found = amps.analyse(both_ways(), CLAMP_CLASS)
    assert found.line.gain == pytest.approx(267.0 / UNFOLDED_MAX, rel=0.003) and not found.backwards
    assert found.hysteresis == pytest.approx(0.2, abs=0.02)
    assert found.values["clamp_fitted"] == 1
    assert found.line.volts(amps_point(0.0, "0").reading) == pytest.approx(0.0, abs=0.05)


def test_a_clamp_that_counts_the_other_way_gets_a_negative_gain() -> None:
    end = FrontEnd(clamp_zero=0.4650, clamp_span=-267.0)
    found = amps.analyse(both_ways(front_end=end), CLAMP_CLASS)
    assert found.backwards and found.values["clamp_gain_ua"] < 0
    assert "the other way" in " ".join(amps.cautions(both_ways(), found, CLAMP_CLASS))


def changed(index: int, **fields: object) -> list[Point]:
    points = both_ways()
    return [*points[:index], replace(points[index], **fields), *points[index + 1 :]]  # type: ignore[arg-type]


AMPS = {
    "no zero": ([both_ways()[1], both_ways()[3]], "no point at 0 A"),
    "only zeros": ([both_ways()[0]], "no load: too few"),
    "one direction": (both_ways()[:3], "one direction only"),
    "no zero after": (both_ways()[:4], "no zero after the discharging"),
    "memory": (both_ways(memory=0.5), "differ by .1.0\\d A"),
    "turned not around": (changed(3, reading=both_ways()[1].reading, code=both_ways()[1].code), "same side"),
    "too little current": (both_ways(0.4), "too little"),
    "unplugged": (changed(2, code=3.0, reading=3.0), "lower end.*unplugged"),
    "beyond": (changed(1, code=65519.0, reading=66071.0), "upper end"),
    "unstable": (changed(1, spread=90.0), "unstable"),
    "magnetised": (both_ways(memory=14.0), "with no current"),
    "in a wide code": (changed(1, code=41000.0), "wide code|off the line"),
    "milliamps": (changed(1, meter=48000.0, text="6000"), "read in mA"),
    "turns forgotten": ([replace(p, meter=p.meter / 8, turns=1) for p in both_ways(7.0)], "8 times, not 1"),
    "turns too many": (both_ways(6.0, 8, FrontEnd(clamp_zero=0.465, clamp_span=2 * 267.0)), "4 times, not 8|gain is 2"),
    "uneven": (changed(1, meter=45.0, text="5.625"), "differs by"),
    "swapped digits": (changed(1, text="0.6", meter=0.6 * 8 + 0.5), "too little|digits|clamp reads"),
}


@pytest.mark.parametrize("kind", AMPS)
def test_amps_that_cannot_be_right(kind: str) -> None:
    points, said = AMPS[kind]
    if kind == "in a wide code":
        points = changed(1, code=float(checks.WIDE[2]) + 5, reading=unfolded(checks.WIDE[2] + 5.0))
    with pytest.raises(Refusal, match=said) as refused:
        amps.analyse(points, CLAMP_CLASS)
    assert "\n" not in str(refused.value) and (";" in str(refused.value) or ":" in str(refused.value))


def test_swapped_digits_of_amps() -> None:
    points = both_ways(5.31)
    wrong = replace(points[1], text="3.51", meter=3.51 * 8)
    with pytest.raises(Refusal, match=r"swapped.*5.31"):
        amps.analyse([points[0], wrong, *points[2:]], CLAMP_CLASS)
