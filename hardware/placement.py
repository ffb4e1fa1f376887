"""Where each part stands on the perfboard: the holes of its legs, in the order of its nodes in values.toml.

Holes are counted from the upper left corner, seen from the parts' side: (column, row), 2.54 mm apart.
"""

import boardpins
from items import Item

from underdash.frontend.parts import GROUND, Values

COLUMNS, ROWS = 61, 37

Hole = tuple[int, int]

# What stands in the loom and not on the perfboard.
OFF_BOARD = ("F1", "A2", "S1", "D14", "A4")

_LEGS: dict[str, tuple[Hole, ...]] = {
    # supply, upper left; R1 may get hot enough to melt solder and has the corner to itself: HOT_CLEARANCE
    "R1": ((2, 3), (22, 3)),
    "D1": ((28, 2), (28, 8)),
    "C1": ((31, 1), (31, 3)),
    "D2": ((32, 2), (32, 7)),
    "C2": ((36, 2), (36, 5)),
    "U1": ((21, 12), (22, 12), (23, 12)),
    "C3": ((31, 12), (31, 13)),
    "D3": ((30, 9), (35, 9)),
    "C4": ((34, 11), (34, 13)),
    # key
    "R14": ((2, 30), (2, 25)),
    "R15": ((4, 25), (4, 29)),
    "C10": ((6, 25), (6, 27)),
    "D11": ((8, 29), (8, 25)),
    "D10": ((4, 24), (4, 20)),
    "R16": ((6, 24), (6, 19)),
    # panel lamps
    "R17": ((11, 30), (11, 25)),
    "R18": ((13, 25), (13, 29)),
    "C11": ((15, 25), (15, 27)),
    "D13": ((17, 29), (17, 25)),
    "D12": ((13, 24), (13, 20)),
    "R19": ((15, 24), (15, 19)),
    # bus volts
    "R4": ((20, 25), (20, 29)),
    "R25": ((22, 25), (22, 29)),
    "C5": ((24, 25), (24, 27)),
    "D5": ((21, 24), (21, 20)),
    "R5": ((23, 24), (23, 19)),
    "R3": ((31, 25), (26, 25)),
    "D4": ((33, 24), (33, 29)),
    "R2": ((35, 30), (35, 25)),
    # clamp sensor
    "R7": ((38, 30), (38, 25)),
    "R8": ((40, 25), (40, 29)),
    "C7": ((42, 25), (42, 27)),
    "D7": ((44, 29), (44, 25)),
    "D6": ((40, 24), (40, 20)),
    "R9": ((42, 24), (42, 19)),
    "R6": ((59, 17), (59, 22)),
    "C6": ((49, 34), (51, 34)),
    # ripple
    "C8": ((42, 31), (44, 31)),
    "R10": ((46, 30), (46, 25)),
    "R11": ((48, 20), (48, 24)),
    "R12": ((48, 25), (48, 29)),
    "C9": ((50, 25), (50, 27)),
    "D9": ((52, 29), (52, 25)),
    "D8": ((50, 24), (50, 20)),
    "R13": ((52, 24), (52, 19)),
    # reference
    "U2": ((54, 17), (57, 17)),
    # guard of the 3.3 V rail
    "U3": ((59, 24), (58, 24), (57, 24)),
    "R26": ((54, 21), (54, 26)),
    "R27": ((56, 26), (56, 30)),
    # button, lamp, buzzer
    "R20": ((40, 2), (40, 6)),
    "R21": ((36, 13), (36, 8)),
    "R22": ((38, 13), (38, 8)),
    "Q1": ((43, 5), (43, 4), (43, 3)),
    "D15": ((45, 5), (45, 2)),
    "A3": ((50, 4), (47, 4)),
    # connectors: the holes of their ways
    "J1": ((1, 10), (1, 12), (1, 14), (1, 16)),
    "J2": ((44, 35), (45, 35), (46, 35)),
    "J3": ((6, 35), (8, 35)),
    "J4": ((40, 1), (41, 1), (42, 1), (43, 1)),
    "J5": ((52, 1), (53, 1), (54, 1), (55, 1)),
}
# The board: pins 1 to 20 in the upper row from right to left, 21 to 40 in the lower from left to right; USB right.
BOARD_LEFT, BOARD_UPPER, BOARD_LOWER = 40, 7, 14
# Ground pins of the board that must be joined; the others may be. The copper joins ground without the board in
# its sockets, so that it can be checked.
JOINED_GROUNDS = (33, 38)
# What R1's outline keeps from every other [mm]: with D1 shorted it is hotter than solder, plastic and
# electrolytics bear.
HOT, HOT_CLEARANCE = "R1", 10.0
MOUNTING = ((1, 1), (59, 1), (1, 35), (59, 35))


def pin_hole(number: int) -> Hole:
    """The hole of one of the board's pins."""
    if number <= 20:
        return BOARD_LEFT + 20 - number, BOARD_UPPER
    return BOARD_LEFT + number - 21, BOARD_LOWER


def kept_free() -> set[Hole]:
    """Holes where the stand-offs are."""
    return {
        (x + dx, y + dy)
        for x, y in MOUNTING
        for dx in (-1, 0, 1)
        for dy in (-1, 0, 1)
        if 0 <= x + dx < COLUMNS and 0 <= y + dy < ROWS
    }


def required(values: Values, ref: str, number: int) -> bool:
    """Whether a leg must be joined to its node: all but the board's spare ground pins."""
    spare = set(boardpins.GROUNDS) - set(JOINED_GROUNDS)
    return not (ref in values.parts and values[ref].kind == "board" and number in spare)


def legs(values: Values, items: dict[str, Item]) -> dict[tuple[str, int], tuple[Hole, str]]:
    """Every leg by (designator, number from 1): its hole and its node, "" for a pin that leads nowhere.

    ValueError, a line for each part of the file that has no place, or the reverse.
    """
    board = next(part for part in values.parts.values() if part.kind == "board")
    connectors = {ref: item.nodes for ref, item in items.items() if item.kind == "connector"}
    nodes = {ref: part.nodes for ref, part in values.parts.items() if ref not in OFF_BOARD and part is not board}
    nodes |= connectors
    mistakes = [
        f"{ref} has no place on the perfboard; give it one in placement.py" for ref in nodes if ref not in _LEGS
    ]
    mistakes += [f"{ref} stands on the perfboard and not in {values.path.name}" for ref in _LEGS if ref not in nodes]
    mistakes += [
        f"{ref} has {len(_LEGS[ref])} holes for {len(nodes[ref])} nodes"
        for ref in _LEGS
        if ref in nodes and len(_LEGS[ref]) != len(nodes[ref])
    ]
    if mistakes:
        raise ValueError("\n".join(mistakes))
    found = {
        (ref, number): (hole, node)
        for ref, holes in _LEGS.items()
        for number, (hole, node) in enumerate(zip(holes, nodes[ref], strict=True), 1)
    }
    used = {node for part in values.parts.values() for node in part.nodes if boardpins.is_pin(node)}
    pins = {boardpins.pin(node): node for node in used}
    pins |= dict.fromkeys(boardpins.GROUNDS, GROUND)
    for number in range(1, 41):
        found[board.ref, number] = (pin_hole(number), pins.get(number, ""))
    return found
