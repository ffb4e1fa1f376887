"""What can be said of a front end without simulating it: how its parts are joined, and sums that hold always."""

from collections import Counter
from collections.abc import Iterator

from underdash.frontend.constants import only
from underdash.frontend.parts import GROUND, Values
from underdash.problems import UsageError

# Nodes that lead out of the front end: wires of the car, pins of the board.
_OUTSIDE = ("battery", "ignition", "panel_lamps", "vbus", "vref", "v3", "vsys", GROUND)
# [A] from one pin of the chip (data sheet: drive strength up to 12 mA).
_PIN_AMPS = 0.012
_BASE_VOLTS = 0.7
# [F] that a low-drop regulator wants at its output to be stable: its class's data sheets, from memory.
_OUTPUT_FARADS = 22e-6
_FAST_FARADS = 10e-9  # across the suppressor, for edges that are over before it acts: common practice, no source


def check_joints(values: Values) -> None:
    """UsageError for a part that leads nowhere: to a node where nothing else is, or from a node to itself."""
    count = Counter(name for part in values.present() for name in set(part.nodes))
    for part in values.present():
        if len(set(part.nodes)) == 1:
            raise UsageError(f"{values.path}: {part.ref} lies between {part.nodes[0]} and itself; name its other node")
        for name in part.nodes:
            if count[name] == 1 and name not in _OUTSIDE and not name.startswith("gp"):
                raise UsageError(
                    f"{values.path}: {part.ref} ends at {name}, where nothing else is; look at the spelling of its "
                    "nodes, and at what is missing there"
                )


def standing(values: Values) -> list[str]:
    """One line for each sum that is not right."""
    return [*_fuses(values), *_outputs(values), *_capacitors(values)]


def _fuses(values: Values) -> Iterator[str]:
    for part in values.present():
        if part.kind == "fuse" and part["amps"] > part["largest_amps"]:
            yield (
                f"{part.ref}: {part['amps']:g} A, the leads behind it are made for {part['largest_amps']:g} A at "
                f"most; take a smaller fuse, or thicker leads and say so in {part.ref}.largest_amps"
            )


def _outputs(values: Values) -> Iterator[str]:
    """What lamp and buzzer draw from their pins."""
    rail = only(values, "board")["v3_volts"]
    for part in values.present():
        if part.kind not in ("led", "npn"):
            continue
        where, drop = (part.nodes[0], part["volts"]) if part.kind == "led" else (part.nodes[1], _BASE_VOLTS)
        limit = min(part["amps"], _PIN_AMPS) if part.kind == "led" else _PIN_AMPS
        for series in values.present():
            if series.kind == "resistor" and where in series.nodes:
                amps = (rail - drop) / series["ohms"]
                if amps > limit:
                    yield (
                        f"{series.ref}: {series['ohms']:g} ohm let {amps * 1e3:.0f} mA flow from the pin, limit "
                        f"{limit * 1e3:.0f} mA; give it more ohms"
                    )


def _capacitors(values: Values) -> Iterator[str]:
    regulator = only(values, "regulator")
    for node, least, why in (
        (regulator.nodes[2], _OUTPUT_FARADS, f"{regulator.ref} is not stable without"),
        ("limited", _FAST_FARADS, "fast edges pass before the suppressor acts"),
    ):
        if sum(part["farads"] for part in values.between("capacitor", node, GROUND)) < least:
            yield f"{node}: less than {least * 1e6:g} uF to ground, {why}; fit a capacitor there"
