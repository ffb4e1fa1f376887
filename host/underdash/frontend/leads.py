"""The loom's leads between battery and front end, from the [item.…] wires of a values file: resistances [ohm].

Both ground leads are joined on the board, so they carry its current side by side.
"""

import math
import tomllib
from dataclasses import dataclass
from typing import Any

from underdash.frontend.parts import Values, shipped

COPPER = 1 / 58.0  # [ohm mm2/m] at 20 C; IACS


@dataclass(frozen=True)
class Leads:
    """Resistance at 20 C [ohm] of the tap lead before the fuse, of the sense lead, and of all ground leads together."""

    tap: float
    sense: float
    ground: float


def square_mm(awg: float) -> float:
    """A wire's cross-section [mm2] (ASTM B258)."""
    return math.pi / 4 * float(0.127 * 92 ** ((36 - awg) / 39)) ** 2


def leads(values: Values) -> Leads:
    """The leads of a values file; one that does not tell of them has those of the shipped file. Lead kinds are known
    by their ends: battery to F1, F1 to the connector beside the supply's, battery to the board's ground."""
    return _of(values.text) or _of(shipped().read_text("utf-8")) or Leads(0.0, 0.0, 0.0)


def _of(text: str) -> Leads | None:
    wires = [table for table in tomllib.loads(text).get("item", {}).values() if _is_wire(table)]
    tap = [_ohms(wire) for wire in wires if list(wire["ends"]) == ["battery +", "F1"]]
    grounds = [_ohms(wire) for wire in wires if wire["node"] == "ground" and "battery -" in wire["ends"]]
    # Of the two from the fuse's outlet the sense lead is the twisted one.
    sense = [_ohms(wire) for wire in wires if wire["node"] == "fused" and wire.get("twisted")]
    if not (tap and grounds and sense):
        return None
    return Leads(sum(tap), sense[0], 1 / sum(1 / ohms for ohms in grounds))


def _is_wire(table: Any) -> bool:
    return (
        isinstance(table, dict)
        and table.get("kind") == "wire"
        and isinstance(table.get("ends"), list)
        and isinstance(table.get("node"), str)
        and all(isinstance(table.get(name), int | float) and table[name] > 0 for name in ("awg", "metres"))
    )


def _ohms(wire: dict[str, Any]) -> float:
    return COPPER * float(wire["metres"]) / square_mm(wire["awg"])
