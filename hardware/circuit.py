"""What a meter shows on a healthy board: node volts with a bench supply, resistances without.

The direct-current picture of the front end, from values.toml: diodes by their saturation current and
emission, the regulator and the board by their figures. Worst case: every part at the end of its tolerance
that moves a reading most, the shares added up.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from underdash.frontend.constants import arm, only
from underdash.frontend.parts import GROUND, Part, Values

_RATED_AT = 70.0  # [C] up to which a resistor has its full rating (values.toml)
_THERMAL = 0.02569  # [V] kT/q at 25 C


@dataclass(frozen=True)
class Reading:
    """A node's volts: nominal, and the band that tolerances allow."""

    node: str
    volts: float
    low: float
    high: float


def diode_volts(part: Part, amps: float) -> float:
    """Forward volts at a current [A] (Shockley, and the series resistance)."""
    return part["emission"] * _THERMAL * math.log(amps / part["saturation_amps"] + 1) + amps * part["ohms"]


def nodes(values: Values, supply: float, clamp_amps: float = 0.0) -> dict[str, float]:
    """Volts at each node [V] with `supply` [V] at the fuse, key and panel lamps; "amps" is what it draws [A]."""
    board, regulator = only(values, "board"), only(values, "regulator")
    fuse = only(values, "fuse")
    series = values.between("resistor", "fused", "limited")[0]
    blocking = values.between("schottky", "limited", "held")[0]
    feeding = values.between("schottky", "rail", "vsys")[0]
    found = {"battery": supply, "ignition": supply, "panel_lamps": supply}
    clamp = [part for part in values.present() if part.kind == "clamp"]
    rail = regulator["output_volts"]
    vsys = rail - 0.3
    amps = 0.04
    for _ in range(60):
        load = board["load_watts"] / vsys + (clamp[0]["load_amps"] if clamp else 0.0)
        vsys = rail - diode_volts(feeding, load)
        amps = load * (1 + regulator["quiescent_share"]) + regulator["quiescent_amps"]
    divider = arm(values, "fused", "sensed") + arm(values, "sensed", "bus_mid") + arm(values, "bus_mid", GROUND)
    sense = supply / divider
    fused = supply - (amps + sense) * fuse["ohms"]
    limited = fused - amps * series["ohms"]
    held = limited - diode_volts(blocking, amps)
    found |= {"fused": fused, "limited": limited, "held": held, "rail": rail, "vsys": vsys, "v3": board["v3_volts"]}
    sense = fused / divider
    found["sensed"] = fused - sense * arm(values, "fused", "sensed")
    found["bus_mid"] = found["gp26"] = sense * arm(values, "bus_mid", GROUND)
    if clamp:
        found["clamp_supply"] = vsys - clamp[0]["load_amps"] * arm(values, "vsys", "clamp_supply")
        share = found["clamp_supply"] / clamp[0]["supply_volts"]
        out = found["clamp_supply"] / 2 + clamp[0]["volts_per_amp"] * clamp_amps * share
        lower, upper = arm(values, "clamp_mid", GROUND), arm(values, "clamp_out", "clamp_mid")
        found["clamp_out"] = out
        found["clamp_mid"] = found["gp27"] = out * lower / (lower + upper)
    for wire, middle in (("ignition", "key_mid"), ("panel_lamps", "dim_mid")):
        lower, upper = arm(values, middle, GROUND), arm(values, wire, middle)
        # The chip's own pull-down, 50 to 80 kilohms (its data sheet), is on while the firmware runs; the
        # clamp diode holds the node a little above the 3.3 V rail.
        lower = 1 / (1 / lower + 1 / 65e3)
        clamped = board["v3_volts"] + diode_volts(values.between("schottky", middle, "v3")[0], 1e-4)
        found[middle] = min(supply * lower / (lower + upper), clamped)
    shunts = [part for part in values.present() if part.kind == "shunt"]
    for part in shunts:
        middle = part.nodes[2]
        lower, upper = arm(values, middle, GROUND), arm(values, "v3", middle)
        found[middle] = board["v3_volts"] * lower / (lower + upper)
    found["amps"] = amps + sense
    return found


def readings(values: Values, supply: float) -> list[Reading]:
    """Every node with its band."""
    nominal = nodes(values, supply)
    away = dict.fromkeys(nominal, 0.0)
    for part in values.present():
        figure = {
            "resistor": "ohms", "regulator": "output_volts", "board": "v3_volts", "clamp": "volts_per_amp",
        }.get(part.kind)  # fmt: skip
        if figure:
            moved = _with(values, part, figure, part[figure] * (1 + part["tolerance"]))
            other = nodes(moved, supply)
            for name in away:
                away[name] += abs(other[name] - nominal[name])
    return [Reading(name, volts, volts - away[name], volts + away[name]) for name, volts in nominal.items()]


def ohms(values: Values, begin: str, end: str) -> float:
    """What the resistors alone make between two nodes [ohm], board out of its sockets; infinite if nothing."""
    parts = [part for part in values.present() if part.kind == "resistor"]
    names = sorted({node for part in parts for node in part.nodes} | {begin, end})
    place = {name: number for number, name in enumerate(names)}
    matrix = np.zeros((len(names), len(names)))
    for part in parts:
        a, b = (place[node] for node in part.nodes)
        matrix[a, a] += 1 / part["ohms"]
        matrix[b, b] += 1 / part["ohms"]
        matrix[a, b] -= 1 / part["ohms"]
        matrix[b, a] -= 1 / part["ohms"]
    # What hangs in the air would make the matrix singular; a leak of a teraohm holds it.
    matrix += np.eye(len(names)) * 1e-12
    current = np.zeros(len(names))
    current[place[begin]], current[place[end]] = 1.0, -1.0
    volts = np.linalg.solve(matrix, current)
    found = float(volts[place[begin]] - volts[place[end]])
    return found if found < 1e9 else math.inf


def faults(values: Values, volts: float, reverse: float) -> dict[str, float]:
    """R1's watts [W] with the supply's suppressor shorted at `volts`, at the worst end of its tolerance, and with
    the battery reversed; how much hotter than the air it gets, "... kelvin" [K], in proportion to its watts as its
    derating says; the amps through the fuse, "amps" and "reversed"."""
    series = values.between("resistor", "fused", "limited")[0]
    least = series["ohms"] * (1 - series["tolerance"])
    turned = reverse - 0.8  # the suppressor's own forward volts
    # Rated in full up to 70 C, and for nothing at zero_celsius: the hottest that its surface may be.
    kelvin_a_watt = (series["zero_celsius"] - _RATED_AT) / series["watts"]
    found = {
        "shorted": volts**2 / least, "amps": volts / least, "reverse": turned**2 / least, "reversed": turned / least,
        "rating": series["watts"],
    }  # fmt: skip
    return found | {f"{name} kelvin": found[name] * kelvin_a_watt for name in ("shorted", "reverse")}


def leakage_volts(values: Values, celsius: float) -> float:
    """How far the clamp diode's leakage moves the bus reading at a temperature [V at the bus]."""
    diode = values.between("schottky", "bus_mid", "v3")[0]
    upper = arm(values, "fused", "sensed") + arm(values, "sensed", "bus_mid")
    # Through the upper arm alone: what enters at the middle moves the bus by the upper arm's ohms.
    return diode["saturation_amps"] * 2 ** ((celsius - 25.0) / diode["leakage_doubles_kelvin"]) * upper


def _with(values: Values, part: Part, figure: str, number: float) -> Values:
    changed = replace(part, figures={**part.figures, figure: number})
    return replace(values, parts={**values.parts, part.ref: changed})
