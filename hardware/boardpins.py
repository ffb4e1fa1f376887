"""Which pin of the RP2040 board a node is wired to.

Numbers of the pins are those of the 40-pin board of the RP2040's own maker (its data sheet, from
memory); the firmware's choice of GPIO stands in chargecore/options.py, and a test compares the two.
"""

_GPIO = {
    0: 1, 1: 2, 2: 4, 3: 5, 4: 6, 5: 7, 6: 9, 7: 10, 8: 11, 9: 12, 10: 14, 11: 15, 12: 16, 13: 17, 14: 19, 15: 20,
    16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34,
}  # fmt: skip
GROUNDS = (3, 8, 13, 18, 23, 28, 33, 38)
_POWER = {"vref": 35, "v3": 36, "vsys": 39, "vbus": 40}
# What is printed beside the pin.
_PRINTED = {35: "VREF", 36: "3V3", 39: "VSYS", 40: "VBUS"}


def pin(node: str) -> int:
    """The board's pin of a node other than ground: 31 for gp26. KeyError if it has none."""
    if node.startswith("gp") and node[2:].isdigit():
        return _GPIO[int(node[2:])]
    return _POWER[node]


def is_pin(node: str) -> bool:
    return node in _POWER or (node.startswith("gp") and node[2:].isdigit() and int(node[2:]) in _GPIO)


def printed(number: int) -> str:
    """What the board says beside a pin."""
    if number in GROUNDS:
        return "AGND" if number == 33 else "GND"
    for gpio, at in _GPIO.items():
        if at == number:
            return f"GP{gpio}"
    return _PRINTED.get(number, {30: "RUN", 37: "3V3_EN"}.get(number, ""))
