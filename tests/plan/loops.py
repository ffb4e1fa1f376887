"""Cars with an ammeter loop, built by hand; and ngspice as an independent solver of their networks."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import underdash.carfile
from underdash.carfile.model import (
    ALL_LOADS,
    ALTERNATOR,
    ALWAYS,
    BATTERY,
    BODY,
    CHARGE,
    CRANK,
    ENGINE,
    GROUND,
    GROUND_SIDE,
    HOT_IDLE,
    LOOP,
    NIGHT,
    RAIN,
    STARTER,
    SUPPLY_SIDE,
    Alternator,
    Ammeter,
    Battery,
    Cable,
    CarFile,
    Engine,
    Load,
)
from underdash.carfile.reader import read
from underdash.frontend import spice
from underdash.plan.ammeter import share
from underdash.plan.results import AmmeterShare, Needle
from underdash.wire.gauge import Gauge, parse
from underdash.wire.network import Branch

EXAMPLE = Path(underdash.carfile.__file__).parent / "example.toml"

ENGINE_SPEEDS = Engine(800.0, 1200.0, 2500.0)
# At a hot idle of 800 rpm, 2,000 rpm of the machine, 40 A.
MACHINE = Alternator(70.0, 2.5, (1000.0, 2000.0, 6000.0), (0.0, 40.0, 70.0), (0.0, 55.0, 80.0), 14.4, -0.010)
LOADS = (
    Load("engine's own", 15.0, frozenset({ALWAYS})),
    Load("fan", 20.0, frozenset({HOT_IDLE}), duty=0.5),
    Load("lamps", 12.0, frozenset({NIGHT, RAIN})),
    Load("heater", 23.0, frozenset({RAIN})),
)


def example() -> CarFile:
    """The shipped car file."""
    return read(EXAMPLE)


def copper(name: str, start: str, end: str, gauge: str, length_m: float, **more: object) -> Cable:
    """A cable of 80 C insulation at 30 C, on the supply side if nothing else is said."""
    fields: dict[str, object] = {"side": SUPPLY_SIDE, "insulation_c": 80.0, "ambient_c": 30.0, **more}
    size: Gauge = parse(gauge)
    return replace(Cable(name, start, end, SUPPLY_SIDE, length_m=length_m, gauge=size), **fields)


def stated(name: str, start: str, end: str, ohm: float, **more: object) -> Cable:
    """A cable of which only the resistance is known [ohm]."""
    return replace(Cable(name, start, end, SUPPLY_SIDE, stated_ohm=ohm), **more)


CHARGE_CABLE = copper("charge cable", ALTERNATOR, STARTER, "4 AWG", 1.5, carries=(CHARGE,), added=True)
OLD_OUT = copper("old charge wire", ALTERNATOR, "meter in", "10 AWG", 2.5, carries=(LOOP,))
OLD_BACK = copper("old battery wire", "meter out", STARTER, "10 AWG", 2.5, carries=(LOOP,))
BATTERY_CABLE = copper("battery cable", STARTER, BATTERY, "2 AWG", 1.0, carries=(CRANK,))
SUPPLY = (CHARGE_CABLE, OLD_OUT, OLD_BACK, BATTERY_CABLE)
GROUND_CABLES = (
    copper("engine strap", ENGINE, GROUND, "6 AWG", 1.0, side=GROUND_SIDE, carries=(CRANK,)),
    stated("mounts", ENGINE, BODY, 0.012, side=GROUND_SIDE),
    copper("body lead", BODY, GROUND, "8 AWG", 0.5, side=GROUND_SIDE, carries=(ALL_LOADS,)),
    copper("second ground", ENGINE, GROUND, "4 AWG", 0.9, side=GROUND_SIDE, carries=(CHARGE,), added=True),
)


def car(supply: Sequence[Cable] = SUPPLY, ground: Sequence[Cable] = GROUND_CABLES, **changes: object) -> CarFile:
    """A car whose loop lies beside its charge cable from alternator to starter, its loads at the starter's post."""
    file = CarFile(
        name="hand-built",
        path=Path("car.toml"),
        engine=ENGINE_SPEEDS,
        alternator=MACHINE,
        battery=Battery("flooded", 60.0, 0.0065),
        bus=STARTER,
        starter_a=140.0,
        loads=LOADS,
        cables=(*supply, *ground),
        ammeter=Ammeter("meter in", "meter out", 0.001, full_scale_a=60.0, smallest_a=3.0),
    )
    return replace(file, **changes)


def spice_currents(branches: Sequence[Branch], injected: Mapping[str, float], zero: str) -> dict[str, float]:
    """Amps in each branch by ngspice's operating point [A]; `zero` is its ground."""
    places = sorted({place for branch in branches for place in (branch.start, branch.end)})
    node = {place: "0" if place == zero else f"n{i}" for i, place in enumerate(places)}
    lines = ["* a network of resistances"]
    for i, branch in enumerate(branches):
        lines.append(f"V_b{i} {node[branch.start]} m{i} 0")
        lines.append(f"R_b{i} m{i} {node[branch.end]} {branch.ohm!r}")
    for i, (place, amps) in enumerate(injected.items()):
        if node[place] != "0":
            lines.append(f"I_i{i} 0 {node[place]} {amps!r}")
    lines += [".options reltol=1e-9 abstol=1e-12 gmin=1e-15", ".op", ".end", ""]
    vectors, _ = spice.solve("\n".join(lines), "a network")
    found = {name.lower(): float(values[-1]) for name, values in vectors.items()}
    return {branch.name: found[f"i(v_b{i})"] for i, branch in enumerate(branches)}


def seen(file: CarFile) -> AmmeterShare:
    """What the ammeter of a car that has one sees."""
    found = share(file)
    assert found is not None
    return found


def needle(found: AmmeterShare, case: str) -> Needle:
    """The needle in this case."""
    return next(one for one in found.needles if one.case == case)


def numbers(text: str) -> list[float]:
    """Every number of a line of a page, thin spaces and thousands' commas aside."""
    return [float(found.replace(",", "")) for found in re.findall(r"-?\d[\d,]*(?:\.\d+)?", text.replace("−", "-"))]
