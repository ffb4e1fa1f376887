"""The car file: what is read from it, and one line for each mistake."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underdash.car import build, evening, simulate
from underdash.carfile import EXAMPLE, CarFile, example, paths, read
from underdash.carfile.model import BATTERY, BODY, ENGINE, GROUND, NOMINAL_V, STARTER, Load
from underdash.problems import DataError, UsageError
from underdash.wire.gauge import Gauge
from underdash.wire.network import between, potentials

TEXT = EXAMPLE.read_text(encoding="utf-8")


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "car.toml"
    path.write_text(text, encoding="utf-8")
    return path


def changed(old: str, new: str, count: int = 1) -> str:
    assert old in TEXT
    return TEXT.replace(old, new, count)


def line_of(text: str, part: str) -> int:
    return next(n for n, line in enumerate(text.splitlines(), 1) if part in line and not line.startswith("#"))


# -- what is read ------------------------------------------------------------------------------


def test_the_shipped_file_reads_as_it_stands() -> None:
    car = example()
    assert car.bus == "fuse box"
    assert (car.engine.hot_idle_rpm, car.alternator.rated_a, car.battery.capacity_ah) == (800.0, 75.0, 60.0)
    fan = next(load for load in car.loads if load.coolant_switch)
    assert (fan.amps, fan.inrush, fan.when, fan.duty) == (16.0, 2.6, frozenset({"hot idle"}), 0.45)
    charge = car.cables[0]
    assert (charge.start, charge.end, charge.gauge) == ("alternator", "starter", Gauge("AWG", "4"))
    assert (charge.insulation_c, charge.ambient_c, charge.carries) == (105.0, 50.0, ("charge",))
    assert car.ammeter is not None
    assert car.ammeter.full_scale_a == 60.0


def test_what_is_left_out_has_the_value_that_the_shipped_file_spells_out(tmp_path: Path) -> None:
    tables = re.split(r"(?m)^(?=\[limits\]|\[traffic\]|\[thresholds\])", TEXT)
    short = read(written(tmp_path, tables[0]))
    assert replace(short, path=EXAMPLE) == example()


@pytest.mark.parametrize(
    ("draw", "amps"),
    [
        ('"8 A"', 8.0),
        ('"800 mA"', 0.8),
        ('"55 W at 12 V"', 55.0 * 13.5 / 144.0),  # a resistance: P / V^2 is its conductance
        ('"2 A"\ncount = 3', 6.0),
        ('"27 W"\nbehaves = "electronics"', 2.0),
    ],
)
def test_a_draw_in_amps_or_watts(tmp_path: Path, draw: str, amps: float) -> None:
    car = read(written(tmp_path, changed('name = "gauges"\ndraw = "2 A"', f'name = "gauges"\ndraw = {draw}')))
    assert next(load for load in car.loads if load.name == "gauges").amps == pytest.approx(amps)


def test_a_curve_of_ones_own(tmp_path: Path) -> None:
    points = [(1000, 0), (1500, 32), (3000, 71), (6000, 85)]
    rows = ", ".join(f'{{ speed = "{rpm} rpm", cold = "{amps} A" }}' for rpm, amps in points)
    car = read(written(tmp_path, changed('rated = "75 A"', f'rated = "75 A"\ncurve = [{rows}]\nhot_share = 0.8')))
    assert car.alternator.curve_rpm == (1000.0, 1500.0, 3000.0, 6000.0)
    assert car.alternator.cold_a == (0.0, 32.0, 71.0, 85.0)
    assert car.alternator.hot_a == pytest.approx((0.0, 25.6, 56.8, 68.0))
    machine = build(car).alternator
    at = np.array([rpm / machine.pulley_ratio for rpm, _ in points])
    assert machine.available(at, hot=False) == pytest.approx([0.0, 32.0, 71.0, 85.0])


def test_the_order_of_tables_does_not_matter(tmp_path: Path) -> None:
    head, tables = TEXT.split("[engine]", 1)
    engine, rest = tables.split("[alternator]", 1)
    moved = head + "[alternator]" + rest + "\n[engine]" + engine
    car, same = read(written(tmp_path, moved)), example()
    assert (car.engine, car.alternator, car.battery, car.limits) == (
        same.engine, same.alternator, same.battery, same.limits,
    )  # fmt: skip
    assert [replace(load, line=0) for load in car.loads] == [replace(load, line=0) for load in same.loads]
    assert [replace(cable, line=0) for cable in car.cables] == [replace(cable, line=0) for cable in same.cables]


def test_a_threshold_out_of_range_is_named_once(tmp_path: Path) -> None:
    with pytest.raises(DataError) as told:
        read(written(tmp_path, TEXT + "discharging_mv = 11000\n"))
    assert str(told.value).count("discharging_mv is 11000") == 1 and "must be 12200 to 14600 mV" in str(told.value)


def test_thresholds_are_those_of_a_settings_file(tmp_path: Path) -> None:
    car = read(written(tmp_path, TEXT + "healthy_mv = 13600\n"))
    assert car.thresholds == {"healthy_mv": 13600}


# -- the wiring as a star ------------------------------------------------------------------------


def test_the_virtual_car_sees_what_the_network_gives() -> None:
    """Alternator 60 A, loads 45 A, so the battery 15 A: the star and the whole network show the same volts."""
    car = example()
    star = build(car).wiring
    supply = potentials(paths.supply(car), {"alternator": 60.0, car.bus: -45.0}, BATTERY)
    ground = potentials(paths.ground(car), {ENGINE: -60.0, BODY: 45.0}, GROUND)
    battery_arm = star.feed_ohm + star.battery_cable_ohm
    assert supply["alternator"] - ground[ENGINE] == pytest.approx(60.0 * star.charge_cable_ohm + 15.0 * battery_arm)
    assert supply[car.bus] - ground[BODY] == pytest.approx(15.0 * battery_arm - 45.0 * star.bus_ohm)


def test_a_starter_sags_the_bus_as_in_the_network() -> None:
    car = example()
    supply = potentials(paths.supply(car), {STARTER: -100.0}, BATTERY)
    ground = potentials(paths.ground(car), {ENGINE: 100.0}, GROUND)
    sag_v = ground[BODY] - supply[car.bus]
    assert sag_v == pytest.approx(100.0 * build(car).wiring.battery_cable_ohm)
    assert between(paths.supply(car), STARTER, BATTERY) > 0.0


# -- mistakes ------------------------------------------------------------------------------------

MISTAKES = [
    # (what stands there, what is written instead, the line that has it, what the message must say)
    ('length = "1.2 m"', 'length = "-1.2 m"', "-1.2 m", "negative"),
    ('length = "1.2 m"', "length = 1.2", "length = 1.2", "has no unit"),
    ('length = "1.2 m"', 'length = "1.2"', '"1.2"', "has no unit"),
    ('length = "1.2 m"', 'length = "4\'"', "4'", "write ft"),
    ('length = "1.2 m"', 'length = "1.2 A"', "1.2 A", "no length"),
    ('length = "1.2 m"', 'length = "120 m"', "120 m", "0.01 to 30 m"),
    ('gauge = "4 AWG"', 'gauge = "5 AWG"', "5 AWG", "no AWG size"),
    ('gauge = "4 AWG"', "gauge = 4", "gauge = 4", "AWG, SAE or square millimetres"),
    ('gauge = "4 AWG"', 'gauge = "4"', '"4"', "names no gauge"),
    ('gauge = "4 AWG"', 'gauge = "16 mm"', "16 mm", "names no gauge"),
    ('insulation = "105 C"\nambient = "engine space"', 'insulation = "80 C"\nambient = "95 C"', '"80 C"', "no hotter"),
    ('insulation = "105 C"', 'insulation = "PVC"', "PVC", "no such type"),
    ('ambient = "engine space"', 'ambient = "bonnet"', "bonnet", "engine space or cabin"),
    ('name = "gauges"\ndraw = "2 A"', 'name = "gauges"', "[[load]]", "has no draw"),
    ('draw = "2 A"', 'draw = "55 W"', "55 W", "at how many volts"),
    ('draw = "2 A"', 'draw = "2 Ah"', "2 Ah", "that is a charge"),
    ("duty = 0.45", "duty = 1.45", "duty = 1.45", "from 0 to 1"),
    ("duty = 0.45", "duty = 45", "duty = 45", '"45 %"'),
    ('when = "hot idle"', 'when = "hot-idle"', "hot-idle", "did you mean hot idle"),
    ('when = "parked"', "when = []", "when = []", "must be words"),
    ("inrush = 2.6", "inrush = 0.5", "inrush = 0.5", "1 to 20"),
    ("pulley_ratio = 2.4", "pulley_ratio = 24", "pulley_ratio = 24", "1 to 5"),
    ("pulley_ratio = 2.4", "pulley_ration = 2.4", "pulley_ration", "did you mean pulley_ratio"),
    ('capacity = "60 Ah"', 'capacity = "60 A"', '"60 A"', "write Ah"),
    ('resistance = "12 mohm"', 'resistance = "12 Mohm"', "12 Mohm", "millionths or millions"),
    ('fast_idle = "1250 rpm"', 'fast_idle = "700 rpm"', "700 rpm", "below hot_idle"),
    ('carries = "fan"', 'carries = "fam"', 'name = "fan feed"', "did you mean fan"),
    ('bus = "fuse box"', 'bus = "fusebox"', "bus =", "did you mean fuse box"),
    ('name = "radio"', 'name = "gauges"', "", "has that name too"),
    ("coolant_switch = true", 'coolant_switch = "yes"', '"yes"', "true or false"),
    ('to = "ammeter post"\nresistance', 'to = "amp post"\nresistance', "[ammeter]", "no cable leads to amp post"),
    ('from = "ground"\nto = "engine"', 'from = "alternator"\nto = "engine"', "", "a short circuit"),
    ("lights_a_day = 60", "lights_a_day = 60.5", "60.5", "whole number"),
    ('margin = "10 %"', 'margin = "ten %"', "ten %", "must be a share"),
    ('kind = "flooded"', 'kind = "gel"', '"gel"', "flooded, agm"),
    ('fuse = "125 A"\nadded = true', 'fuse = "125 A"\nadded = 1', "added = 1", "true or false"),
]


@pytest.mark.parametrize(("old", "new", "at", "says"), MISTAKES, ids=[m[1][:40] for m in MISTAKES])
def test_a_mistake_is_told_with_its_line_and_remedy(tmp_path: Path, old: str, new: str, at: str, says: str) -> None:
    text = changed(old, new)
    path = written(tmp_path, text)
    with pytest.raises(DataError) as problem:
        read(path)
    lines = str(problem.value).splitlines()
    told = [re.fullmatch(rf"{re.escape(str(path))} line (\d+): (.+)", line) for line in lines]
    assert all(told), lines
    hit = [one for one in told if one and says in one[2]]
    assert hit, lines
    if at and "[[" not in at and "name =" not in at:
        assert int(hit[0][1]) == line_of(text, at)
    assert len(lines) <= 2, lines  # one mistake is one line, or two where it makes another


def points(*rows: tuple[int, int | None, int | None]) -> str:
    """A curve of (speed, hot, cold)."""
    texts = []
    for rpm, hot, cold in rows:
        amps = [f'{name} = "{value} A"' for name, value in (("hot", hot), ("cold", cold)) if value is not None]
        texts.append(f'{{ speed = "{rpm} rpm", {", ".join(amps)} }}')
    return f"[{', '.join(texts)}]"


SHARE = "\nhot_share = 0.8"
CURVES = [
    (points((1000, 0, 0)), "at least three points"),
    (points((1000, None, 0), (900, None, 9), (3000, None, 60)) + SHARE, "must rise in speed"),
    (points((1000, None, 0), (2000, None, 50), (3000, None, 40)) + SHARE, "never falls with speed"),
    (points((1000, None, 0), (2000, None, 50), (3000, None, 60)), "hot_share"),
    (points((1000, 1, 0), (2000, 1, 50), (3000, 2, 60)), "above cold at 1000 rpm"),
    (points((1000, 0, 0), (2000, None, 50), (3000, 2, 60)), "has no hot"),
    (points((1000, 0, 0), (2000, 40, 50), (3000, 50, 60)) + SHARE, "is not needed"),
]


@pytest.mark.parametrize(("curve", "says"), CURVES)
def test_a_curve_that_cannot_be(tmp_path: Path, curve: str, says: str) -> None:
    path = written(tmp_path, changed('rated = "75 A"', f'rated = "75 A"\ncurve = {curve}'))
    with pytest.raises(DataError, match=says):
        read(path)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "line 1: nothing is set here"),
        (b"# only a comment\n", "nothing is set here"),
        (b"hello world", "line 1: not TOML"),
        (b"a = 1\n[engine\n", "line 2: not TOML"),
        (b'name = "\xff"\n', "line 1: not UTF-8"),
        (b"x = 1\n", "did|has no"),
        (b'name = "x"\nbus = "y"\n', r"no \[engine\]"),
        (b"load = 3\n", r"no \[engine\]"),
    ],
)
def test_what_is_no_car_file(tmp_path: Path, content: bytes, says: str) -> None:
    path = tmp_path / "car.toml"
    path.write_bytes(content)
    with pytest.raises(DataError, match=says) as problem:
        read(path)
    assert all(line.startswith(f"{path} line ") for line in str(problem.value).splitlines())


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such file"):
        read(tmp_path / "none.toml")


def test_every_mistake_is_told_at_once(tmp_path: Path) -> None:
    text = changed('length = "1.2 m"', "length = 1.2").replace("duty = 0.45", "duty = 2").replace('"60 Ah"', "60")
    with pytest.raises(DataError) as problem:
        read(written(tmp_path, text))
    lines = str(problem.value).splitlines()
    numbers = [int(line.split(" line ")[1].split(":")[0]) for line in lines]
    assert len(lines) == 3
    assert numbers == sorted(numbers)


def test_a_load_that_is_called_like_a_flow(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="means a flow"):
        read(written(tmp_path, changed('name = "radio"', 'name = "charge"')))


def test_watts_of_a_load_are_those_at_13_5_volts() -> None:
    load = Load("x", 2.0, frozenset({"always"}))
    assert load.watts == 2.0 * NOMINAL_V


def test_a_car_file_is_a_plain_value() -> None:
    assert isinstance(example(), CarFile)
    assert example() == example()


WEAK = points((1000, 0, 0), (2000, 30, 50), (3000, 40, 60), (6000, 45, 65))
SLIPS = [
    # What a slip of the pen leaves, and what must be said of it.
    (changed('from = "starter"\nto = "fuse box"', 'from = "startr"\nto = "fuse box"'), "did you mean starter"),
    (changed('to = "fuse box"\nlength = "0.9 m"', 'to = "fusebox"\nlength = "0.9 m"'), "did you mean fuse box"),
    (changed('rated = "75 A"', 'rated = "75 A"\nrated = "80 A"'), "rated is set twice; take one of the two out"),
    (TEXT + "\n[engine]\n", "[engine] stands twice"),
    (TEXT.replace("[[load]]", "[load]"), "write [[load]] for each"),
    (changed('resistance = "12 mohm"', 'resistance = "12 mohm"\nlength = "1 m"'), "take one of the two out"),
    (changed("duty = 0.45", 'duty = "150 %"'), "must be a share from 0 to 1"),
    (changed('name = "radio"', 'name = "ra\\ndio"'), "one line of at most"),
    (changed('name = "radio"', "name = 2020-01-01"), "2020-01-01"),
    (changed("duty = 0.45", f"duty = {'9' * 5000}"), "no such number"),
    (TEXT + "x = " + "[" * 3000, "no such number"),
    (changed('rated = "75 A"', f'rated = "200 A"\ncurve = {WEAK}'), "far from the curve's end"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "says"), SLIPS, ids=[says[:30] for _, says in SLIPS])
def test_a_slip_is_told_in_one_line(tmp_path: Path, text: str, says: str) -> None:
    path = written(tmp_path, text)
    with pytest.raises(DataError) as problem:
        read(path)
    lines = str(problem.value).splitlines()
    assert len(lines) == 1, lines
    assert says in lines[0]
    assert lines[0].startswith(f"{path}")


def test_the_line_of_a_curves_point_is_told(tmp_path: Path) -> None:
    curve = points((1000, 0, 0), (2000, 40, 50), (3000, 35, 60), (4000, 70, 80)).replace("}, {", "},\n{")
    text = changed('rated = "75 A"', f'rated = "75 A"\ncurve = [\n{curve[1:-1]},\n]')
    path = written(tmp_path, text)
    with pytest.raises(DataError, match=f"line {line_of(text, '3000 rpm')}: .*never falls with speed"):
        read(path)


def test_several_fans_come_on_together(tmp_path: Path) -> None:
    second = '[[load]]\nname = "second fan"\ndraw = "10 A"\nwhen = "hot idle"\ncoolant_switch = true\n\n'
    car = read(written(tmp_path, changed('[[load]]\nname = "brake lamps"', second + '[[load]]\nname = "brake lamps"')))
    one, two = simulate(evening(example())), simulate(evening(car))
    fan = two.fan & (two.phase == "night idle")
    alone = one.fan & (one.phase == "night idle")
    more_a = np.median(two.load_a[fan]) - np.median(one.load_a[alone])
    # A resistance at 12.0 V, and what the lower bus takes from the others.
    assert 7.5 <= more_a <= 10.0 * 12.0 / 13.5


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_whatever_is_done_to_a_file_it_reads_or_says_why(tmp_path: Path, data: st.DataObject) -> None:
    lines = TEXT.splitlines()
    where = data.draw(st.integers(0, len(lines) - 1))
    done = data.draw(st.sampled_from(["drop", "twice", "number", "list", "table", "garbled"]))
    key = lines[where].split("=")[0]
    lines[where : where + 1] = {
        "drop": [],
        "twice": [lines[where], lines[where]],
        "number": [f"{key}= {data.draw(st.one_of(st.integers(), st.floats()))}"],
        "list": [f"{key}= [1, 'x', []]"],
        "table": [f"{key}= {{ a = 1 }}"],
        "garbled": [data.draw(st.text(max_size=20))],
    }[done]
    path = tmp_path / "car.toml"
    path.write_text("\n".join(lines), encoding="utf-8", errors="replace")
    told = ""
    try:
        assert build(read(path)).wiring.battery_cable_ohm > 0.0
    except DataError as problem:
        told = str(problem)
    assert all(re.match(rf"{re.escape(str(path))} line \d+: .", line) for line in told.splitlines())
