"""Plans built by hand, to try text, page and pictures on: figures that were chosen, not computed."""

from dataclasses import replace
from itertools import product

from plan.cars import CABLES, LOADS, cable, car, load
from underdash.carfile.model import ALL_LOADS, ALWAYS, BATTERY, BODY, CHARGE, GROUND_SIDE, NIGHT, RAIN, Cable, CarFile
from underdash.plan.results import (
    AmmeterShare,
    Balance,
    Budget,
    CableResult,
    Cables,
    ChargePath,
    Circuit,
    Cranking,
    Criterion,
    Cycling,
    Drop,
    Finding,
    FuseAdvice,
    Needle,
    Plan,
    Remedy,
    Shortfall,
)
from underdash.wire.gauge import Gauge

OWN = (
    cable("fan supply", "bus", "fan", "12", 2.0, ("fan",), fuse_a=30.0, insulation_c=80.0),
    cable("fan ground", "fan", BODY, "12", 0.7, ("fan",), side=GROUND_SIDE, insulation_c=80.0),
    cable("pump supply", "bus", "pump", "16", 3.4, ("pump",), fuse_a=15.0, ambient_c=30.0),
    cable("ground beside the block", "ground", "engine", "4", 1.1, (CHARGE,), side=GROUND_SIDE, added=True),
    Cable("mounts", "engine", BODY, GROUND_SIDE, stated_ohm=0.02),
)


def with_circuits() -> CarFile:
    """The test car with cables of two loads, a second ground and the engine's mounts."""
    return car(cables=(*CABLES, *OWN))


def crowded(extra: int = 40) -> CarFile:
    """40 loads, 40 cables, long names among them, a distribution box, a chain of relays, parallel paths."""
    own = [*CABLES, cable("box feed", "bus", "distribution box behind the left kick panel", "6", 1.8, (ALL_LOADS,))]
    loads = list(LOADS)
    whens = ([ALWAYS], [NIGHT], [RAIN], [NIGHT, RAIN])
    for number in range(1, extra - len(loads) + 1):
        name = f"consumer number {number}" + (" with quite a long name for a lamp" if number % 7 == 0 else "")
        loads.append(load(name, 0.5 + number / 4, *whens[number % 4]))
    for number, each in enumerate(loads[len(LOADS) :]):
        if len(own) >= extra - 6:
            break
        start = ("bus", "distribution box behind the left kick panel", BATTERY)[number % 3]
        gauge, length_m, fuse_a = str(18 - 2 * (number % 5)), 0.5 + number / 3, 5.0 + 5 * (number % 4)
        own.append(cable(f"supply of {each.name}", start, f"place {number}", gauge, length_m, (each.name,),
                         fuse_a=fuse_a, added=number % 2 == 1))  # fmt: skip
    own += [
        cable("relay in", "bus", "fan relay", "10", 0.6, ("fan",), fuse_a=40.0, added=True),
        cable("relay out", "fan relay", "fan", "10", 1.6, ("fan",), added=True),
        cable("fan ground", "fan", BODY, "10", 0.9, ("fan",), side=GROUND_SIDE),
        cable("second body strap", "ground", BODY, "8", 0.5, (ALL_LOADS,), side=GROUND_SIDE),
        Cable("mounts", "engine", BODY, GROUND_SIDE, stated_ohm=0.02),
        cable("second charge cable", "alternator", BATTERY, "2", 2.6, (CHARGE,), added=True, fuse_a=125.0),
    ]
    assert len(own) == extra == len(loads)
    return car(name="A crowded car", loads=tuple(loads), cables=tuple(own))


def made(file: CarFile | None = None, **changes: object) -> Plan:
    """A plan of `file`, else of `with_circuits()`, whose figures are chosen; `changes` replace whole parts."""
    file = file or with_circuits()
    path = ChargePath(
        output_a=71.25,
        drops=(
            Drop("alternator to battery", "alternator", "battery", 71.25, 0.0051, 0.363, 0.2),
            Drop("engine to battery's ground", "engine", "ground", 71.25, 0.0012, 0.0855, 0.2),
            Drop("engine to body", "engine", "body", 20.5, 0.0031, 0.0636, None),
        ),
        set_point_v=13.9,
        battery_v=13.45,
        sensed_at_battery_v=13.9,
        ground_without_added_v=0.142,
        ground_shares=(("ground cable", 0.61), ("ground beside the block", 0.39)),
        findings=(Finding("watch", "The charge path loses more than 0.2 V.", "0.36 V of 0.20 V at 71 A", 47),),
    )
    plan = Plan(file, budget(file), cables(file), path, ammeter() if file.ammeter else None)
    return replace(plan, **changes)  # type: ignore[arg-type]


def budget(file: CarFile) -> Budget:
    """Short at hot idle by night and rain, with a margin elsewhere."""

    def output(rpm: float) -> float:
        return 82.0 * max(0.0, 1.0 - (420.0 / rpm) ** 1.1)

    hot = {speed: output(rpm) for speed, rpm in file.engine.speeds().items()}
    need = {"day": 23.4, "night": 34.0, "night and rain": 69.3}
    on = tuple(sorted(((each, each.amps * each.duty) for each in file.loads), key=lambda pair: -pair[1]))
    balances = tuple(
        Balance(speed, file.engine.speeds()[speed], situation, hot[speed], hot[speed] * 1.2, need[situation],
                need[situation] + 9.0, need[situation] + 34.6, "fan", on)
        for speed, situation in product(hot, need)
    )  # fmt: skip
    rpm = tuple(400.0 + 50.0 * step for step in range(60))
    curve = tuple(output(each) for each in rpm)
    times = tuple(float(second) for second in range(0, 5400, 10))
    charge = tuple(0.94 - 0.000008 * second - 0.004 * ((second // 45) % 2) for second in times)
    return Budget(
        balances=balances,
        shortfalls=(
            Shortfall(balances[2], 12.31, 33.4, 20.1, 41.7, 26.9, 53.9),
            Shortfall(balances[5], 12.62, 14.2, 0.0, 22.6, 63.4, 127.0),
        ),
        remedies=(
            Remedy("idle speed", 800.0, 1510.0, "rev/min", "an idle of 1,510 rev/min; more than an engine idles at"),
            Remedy("pulley ratio", 2.4, None, "", "no pulley ratio up to 3.5 does it"),
            Remedy("rated output", 75.0, 152.0, "A", "a machine of 152 A of the same class"),
            Remedy("load", 69.3, 34.1, "A", "35 A less, such as the rear heater and the blower off at lights"),
        ),
        cycling=tuple(
            Cycling(situation, 60, times, charge, ((0.012, 1.0), (0.004, 59.0)), 3.2 + index, 0.0004 * (1 + index))
            for index, situation in enumerate(need)
        ),
        curve_rpm=rpm,
        curve_hot_a=curve,
        curve_cold_a=tuple(1.17 * amps for amps in curve),
        findings=(
            Finding("act", "At hot idle by night and rain the alternator gives 31.8 A less than the car takes.",
                    "37.5 A of 69.3 A; the battery is at 75 % after 27 min"),
            Finding("well", "At cruise the alternator carries everything, by day and by night.", "73.4 A of 69.3 A"),
        ),
    )  # fmt: skip


def cables(file: CarFile) -> Cables:
    """Every cable, some of them too hard used."""
    results = []
    for number, each in enumerate(file.cables):
        amps = 8.0 + 61.0 / (1 + number)
        if each.gauge is None:
            results.append(CableResult(each, 3.2, 3.2, None, (), None, 0.02, None, 0.064, (), None, "", (), None, ()))
            continue
        allowed = 12.0 * each.gauge.area_mm2**0.6
        tests = (
            Criterion("ampacity", amps, allowed, "A", Gauge("AWG", "6")),
            Criterion("drop", amps * 0.004, 0.2, "V", Gauge("AWG", "8")),
            Criterion("conductor temperature", 50 + amps / allowed * 55, each.insulation_c, "C", None),
        )
        classes = ((60, 0.58), (75, 0.75), (80, 0.78), (90, 0.82), (105, 0.85), (125, 0.89), (200, 1.0))
        fuse = FuseAdvice(amps * 1.25, allowed * 1.5, 60.0 if number % 2 else None, "within 7 in of the battery")
        note = Finding("note", f"{each.name} could be thinner.", f"{amps:.0f} A of {allowed:.0f} A", each.line)
        results.append(
            CableResult(
                each, amps, amps * 2.0, allowed / 0.85, (("engine space, 105 C", 0.85),), allowed, 0.004, 61.0 + number,
                amps * 0.004, tests, Gauge("AWG", "6"), "ampacity",
                tuple((name, share * allowed / 0.85) for name, share in classes),
                fuse if each.side != GROUND_SIDE else None, (note,) if number == 1 else (),
            )
        )  # fmt: skip
    results.sort(key=lambda result: -result.used)
    fan = next(each for each in file.loads if each.name == "fan")
    circuits = (Circuit(fan, 16.0, 0.212, 0.118, 0.36), Circuit(file.loads[3], 8.0, 0.31, 0.09, 0.36))
    findings = tuple(finding for result in results for finding in result.findings)
    return Cables(tuple(results), circuits, findings, Cranking(137.0, 0.00123, 0.00077))


def ammeter() -> AmmeterShare:
    """A meter that had everything, and has a fifth of it after."""
    return AmmeterShare(
        meter_path_ohm=0.0161,
        other_path_ohm=0.0043,
        before_share=1.0,
        after_share=0.2108,
        needles=(
            Needle("battery takes 30 A after a start", 50.0, 20.0, 30.0, 30.0, 6.3),
            Needle("battery gives 20 A at hot idle", 37.0, 57.0, -20.0, -20.0, -4.2),
        ),
        loop_a=15.2,
        loop_alone_a=69.87,
        loop_ampacity_a=23.2,
        verdict="fuse",
        findings=(
            Finding("note", "The needle will move about a fifth as far as it did.", "21.1 % of the current", 61),
        ),
    )
