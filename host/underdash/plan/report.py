"""The whole plan of a car, and the plan as plain data (docs/plan.md)."""

from dataclasses import asdict
from math import isfinite
from typing import Any

from underdash.carfile.model import CONDITIONS, NOMINAL_V, CarFile
from underdash.plan.results import (
    AmmeterShare,
    Balance,
    CableResult,
    Cables,
    ChargePath,
    Finding,
    Plan,
    Shortfall,
)
from underdash.wire.gauge import Gauge

CAUTIONS = (
    "Electricity beside fuel: a loose cable or a spark next to petrol burns a car down. Let the engine cool, air the "
    "place, keep every cable clear of fuel lines, sharp edges, exhaust and moving parts.",
    "Put a fuse at the source end of every cable, sized for the thinnest copper behind it. The battery is a source, "
    "also for the cable that comes from the alternator.",
    "Take the battery's ground lead off first and put it back last. Take off rings and watch straps.",
    "These are calculated figures. Check with a meter: drops at full load, warm, before anyone relies on them.",
    "The vehicle's own manual, local codes and licensed practitioners come before anything written here.",
)
"""What a reader is told wherever the plan is shown."""


def plan(car: CarFile) -> Plan:
    """Everything that a car file means: budget, cables, charge path, the ammeter's share."""
    from underdash.plan.ammeter import share
    from underdash.plan.budget import budget
    from underdash.plan.cables import size
    from underdash.plan.charge_path import charge_path

    return Plan(car=car, budget=budget(car), cables=size(car), charge_path=charge_path(car), ammeter=share(car))


def as_dict(plan: Plan) -> dict[str, Any]:
    """The plan as one object that JSON can hold: units in the names, null where there is no finite value."""
    car = plan.car
    told = {
        "car": car.name,
        "file": str(car.path),
        "nominal_volts": NOMINAL_V,
        "findings": [_finding(finding) for finding in plan.findings],
        "engine": asdict(car.engine),
        "alternator": {
            "rated_amps": car.alternator.rated_a,
            "pulley_ratio": car.alternator.pulley_ratio,
            "set_point_volts": car.alternator.set_point_v,
            "senses": car.alternator.senses,
            "curve_source": car.alternator.curve_source,
        },
        "battery": {
            "kind": car.battery.kind,
            "capacity_ah": car.battery.capacity_ah,
            "internal_ohm": car.battery.internal_ohm,
            "cca_amps": car.battery.cca_a,
        },
        "loads": [
            {
                "name": load.name,
                "line": load.line,
                "amps": load.amps,
                "when": [each for each in CONDITIONS if each in load.when],
                "duty": load.duty,
                "inrush": load.inrush,
                "constant_power": load.constant_power,
                "source": load.source,
            }
            for load in car.loads
        ],
        "limits": {
            "charge_supply_volts": car.limits.charge_supply_v,
            "charge_ground_volts": car.limits.charge_ground_v,
            "load_share": car.limits.load_share,
            "crank_volts": car.limits.crank_v,
            "margin_share": car.limits.margin_share,
        },
        "budget": _budget(plan),
        "cables": [_cable(result) for result in plan.cables.results],
        "circuits": _circuits(plan.cables),
        "cranking": _cranking(plan.cables),
        "charge_path": _charge_path(plan.charge_path),
        "ammeter": None if plan.ammeter is None else _ammeter(plan.ammeter),
        "cautions": list(CAUTIONS),
    }
    finite: dict[str, Any] = _finite(told)
    return finite


def _finite(value: Any) -> Any:
    """The same with None for whatever JSON has no number for."""
    if isinstance(value, dict):
        return {name: _finite(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(each) for each in value]
    if isinstance(value, bool | str | int) or value is None:
        return value
    return float(value) if isfinite(value) else None


def _finding(finding: Finding) -> dict[str, Any]:
    return {"weight": finding.weight, "text": finding.text, "evidence": finding.evidence, "line": finding.line}


def _gauge(gauge: Gauge | None) -> str | None:
    return None if gauge is None else str(gauge)


# -- budget -----------------------------------------------------------------------------------


def _budget(plan: Plan) -> dict[str, Any]:
    budget = plan.budget
    return {
        "balances": [_balance(balance) for balance in budget.balances],
        "shortfalls": [_shortfall(shortfall) for shortfall in budget.shortfalls],
        "remedies": [asdict(remedy) for remedy in budget.remedies],
        "cycling": [
            {
                "situation": cycling.situation,
                "stops": cycling.stops,
                "light_s": plan.car.light_s,
                "between_s": plan.car.between_s,
                "discharged_ah": cycling.discharged_ah,
                "life_share": cycling.life_share,
                "cycles": [{"depth": depth, "count": count} for depth, count in cycling.cycles],
                "lowest_charge": min(cycling.charge, default=None),
                "last_charge": cycling.charge[-1] if cycling.charge else None,
            }
            for cycling in budget.cycling
        ],
        "curve": {"engine_rpm": budget.curve_rpm, "hot_amps": budget.curve_hot_a, "cold_amps": budget.curve_cold_a},
    }


def _balance(balance: Balance) -> dict[str, Any]:
    return {
        "speed": balance.speed,
        "engine_rpm": balance.engine_rpm,
        "situation": balance.situation,
        "hot_amps": balance.hot_a,
        "cold_amps": balance.cold_a,
        "sustained_amps": balance.sustained_a,
        "peak_amps": balance.peak_a,
        "inrush_amps": balance.inrush_a,
        "inrush_of": balance.inrush_of,
        "margin_amps": balance.margin_a,
        "margin_share": balance.margin_share,
        "loads": [{"name": load.name, "amps": load.amps, "sustained_amps": amps} for load, amps in balance.loads],
    }


def _shortfall(shortfall: Shortfall) -> dict[str, Any]:
    return {
        "speed": shortfall.balance.speed,
        "engine_rpm": shortfall.balance.engine_rpm,
        "situation": shortfall.balance.situation,
        "margin_amps": shortfall.balance.margin_a,
        "bus_volts": shortfall.bus_v,
        "battery_amps": shortfall.battery_a,
        "least_amps": shortfall.least_a,
        "most_amps": shortfall.most_a,
        "to_75_minutes": shortfall.to_75_min,
        "to_50_minutes": shortfall.to_50_min,
    }


# -- cables -----------------------------------------------------------------------------------


def _cable(result: CableResult) -> dict[str, Any]:
    cable, fuse = result.cable, result.fuse
    classes = dict(result.by_insulation)
    cool, warm = classes.get(75), classes.get(105)
    return {
        "name": cable.name,
        "line": cable.line,
        "from": cable.start,
        "to": cable.end,
        "side": cable.side,
        "carries": list(cable.carries),
        "added": cable.added,
        "length_m": cable.length_m,
        "gauge": _gauge(cable.gauge),
        "copper_mm2": cable.gauge.area_mm2 if cable.gauge else None,
        "insulation_c": cable.insulation_c if cable.gauge else None,
        "ambient_c": cable.ambient_c,
        "bundle": cable.bundle,
        "fuse_amps": cable.fuse_a,
        "amps": result.amps,
        "brief_amps": result.brief_amps,
        "drop_test_amps": result.drop_amps,
        "table_amps": result.table_a,
        "factors": [{"what": what, "factor": factor} for what, factor in result.factors],
        "ampacity_amps": result.ampacity_a,
        "ohm": result.ohm,
        "conductor_c": result.conductor_c,
        "drop_volts": result.drop_v,
        "crank_amps": result.crank_amps,
        "crank_volts": result.crank_v,
        "alone_amps": result.alone_a,
        "alone_opened": result.opened,
        "used_share": result.ranked[0].used if result.ranked else 0.0,
        "tests": [
            {
                "name": test.name,
                "value": test.value,
                "limit": test.limit,
                "unit": test.unit,
                "used_share": test.used,
                "passed": test.passed,
                "smallest": _gauge(test.smallest),
            }
            for test in result.ranked
        ],
        "passed": all(test.passed for test in result.criteria),
        "smallest": _gauge(result.smallest),
        "decided_by": result.decided_by,
        "by_insulation": [{"class_c": each, "amps": amps} for each, amps in result.by_insulation],
        "gain_of_105_amps": None if cool is None or warm is None else warm - cool,
        "fuse": None
        if fuse is None
        else {
            "least_amps": fuse.least_a,
            "most_amps": fuse.most_a,
            "choice_amps": fuse.choice_a,
            "place": fuse.place,
            "ends": list(fuse.ends),
        },
    }


def _circuits(cables: Cables) -> list[dict[str, Any]]:
    return [
        {
            "load": circuit.load.name,
            "amps": circuit.amps,
            "supply_volts": circuit.supply_v if circuit.supply_known else None,
            "ground_volts": circuit.ground_v if circuit.ground_known else None,
            "drop_volts": circuit.supply_v + circuit.ground_v,
            "limit_volts": circuit.limit_v,
            "passed": circuit.supply_v + circuit.ground_v <= circuit.limit_v,
        }
        for circuit in cables.circuits
    ]


def _cranking(cables: Cables) -> dict[str, Any] | None:
    told = cables.cranking
    if told is None:
        return None
    return {
        "amps": told.amps,
        "supply_ohm": told.supply_ohm,
        "ground_ohm": told.ground_ohm,
        "drop_volts": told.volts,
    }


# -- charge path, ground, ammeter -------------------------------------------------------------


def _charge_path(path: ChargePath) -> dict[str, Any]:
    return {
        "output_amps": path.output_a,
        "drops": [
            {
                "name": drop.name,
                "from": drop.start,
                "to": drop.end,
                "amps": drop.amps,
                "ohm": drop.ohm,
                "volts": drop.volts,
                "limit_volts": drop.limit_v,
                "passed": None if drop.limit_v is None else drop.volts <= drop.limit_v,
            }
            for drop in path.drops
        ],
        "set_point_volts": path.set_point_v,
        "battery_volts": path.battery_v,
        "sensed_at_battery_volts": path.sensed_at_battery_v,
        "sensed_at_alternator_volts": path.sensed_at_alternator_v,
        "bus_over_battery_volts": path.bus_over_battery_v,
        "ground_without_added_volts": path.ground_without_added_v,
        "ground_shares": [{"cable": name, "share": share} for name, share in path.ground_shares],
    }


def _ammeter(share: AmmeterShare) -> dict[str, Any]:
    return {
        "meter_path_ohm": share.meter_path_ohm,
        "other_path_ohm": share.other_path_ohm,
        "before_known": share.before_known,
        "before_share": share.before_share,
        "after_share": share.after_share,
        "needles": [
            {
                "case": needle.case,
                "alternator_amps": needle.alternator_a,
                "loads_amps": needle.loads_a,
                "battery_amps": needle.battery_a,
                "starter_amps": needle.starter_a,
                "before_amps": needle.before_a,
                "after_amps": needle.after_a,
            }
            for needle in share.needles
        ],
        "loop_amps": share.loop_a,
        "loop_alone_amps": share.loop_alone_a,
        "loop_ampacity_amps": share.loop_ampacity_a,
        "verdict": share.verdict,
    }
