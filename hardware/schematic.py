"""The front end's schematic, drawn from hardware/values.toml: hardware/schematic.svg and .png.

Every designator, value and node comes from the file; here stands only where a part is placed. A part
that is not placed, or is joined otherwise than its nodes say, is an error.
"""

from pathlib import Path

import boardpins
import items
import valuetext
from sheet import Sheet

from underdash.frontend import parts
from underdash.frontend.parts import Values


def draw(values: Values, canvas: str = "svg") -> Sheet:
    """The whole sheet. ValueError, a line for each mistake, if it does not say what the file says."""
    sheet = Sheet(values, canvas)
    for block in _BLOCKS:
        block(sheet)
    sheet.dots()
    if mistakes := sheet.mistakes():
        raise ValueError("\n".join(mistakes))
    return sheet


def _ways(sheet: Sheet, connector: str, at: tuple[float, float]) -> None:
    """Which way of a connector brings which node."""
    nodes = items.load(sheet.values)[connector].nodes
    sheet.text(f"{connector}: " + ", ".join(f"{way} {node}" for way, node in enumerate(nodes, 1)), at, size=8.5)


def _option(sheet: Sheet, option: str) -> str:
    return f"option {option}, {'fitted' if option in sheet.values.fitted else 'not fitted'}"


def _supply(sheet: Sheet) -> None:
    sheet.frame("Supply", 0, 0, 39.6, -6.2)
    y = -2.6
    sheet.tag("battery", (2.2, y), "left")
    _, at = sheet.chain("battery", (2.2, y), "F1", "name", "R1", "name", "v D1", "v C1", "D2", "name", "v C2")
    pins = [("held", "left", 0.9, "in"), ("rail", "right", 0.9, "out"), ("ground", "bottom", 1.25, "ground")]
    ends = sheet.box("U1", (at[0] + 0.5, y - 0.9), (2.5, 1.5), pins)
    sheet.text("U1 " + f"{sheet.find('U1')['output_volts']:g} V low drop", (at[0] + 0.6, y + 0.85))
    sheet.rail("ground", ends["ground"], False)
    sheet.chain("rail", ends["rail"], "name", "v C3", "D3", "name", "v C4", "tag")
    sheet.text("Supply lead and sense lead both start", (0.6, y - 1.6), size=9)
    sheet.text("at the fuse's outlet: the sense lead", (0.6, y - 2.05), size=9)
    sheet.text("carries no supply current.", (0.6, y - 2.5), size=9)
    _ways(sheet, "J1", (0.6, y - 3.1))


def _guard(sheet: Sheet) -> None:
    sheet.frame("Guard of the 3.3 V rail", 40, 0, 48, -6.2)
    y = -3.4
    at = (41.2, y)
    sheet.shunt("R26", "shunt_mid", at, up=True, drop=1.9)
    sheet.shunt("R27", "shunt_mid", at, drop=1.9)
    pins = [("shunt_mid", "left", 0.8, "ref"), ("v3", "top", 0.9, "k"), ("ground", "bottom", 0.9, "a")]
    ends = sheet.box("U3", (45.0, y - 0.8), (1.8, 1.6), pins)
    sheet.text(f"U3\n{valuetext.short(sheet.find('U3'))}", (45.15, y + 1.7), ("right", "center"))
    sheet.wire(at, ends["shunt_mid"])
    sheet.name("shunt_mid", (43.4, y))
    sheet.rail("v3", ends["v3"], True)
    sheet.rail("ground", ends["ground"], False)


def _bus(sheet: Sheet) -> None:
    sheet.frame("Bus volts", 0, -6.6, 25.6, -14.4)
    y = -10.6
    sheet.tag("fused", (1.9, y), "left")
    sheet.chain("fused", (1.9, y), "R2", "name", "v D4", "R3", "name", "v R4", "v R25", "| D5 C5", "R5", "tag")


def _clamp(sheet: Sheet) -> None:
    sheet.frame(f"Clamp sensor ({_option(sheet, 'clamp')})", 26, -6.6, 48, -14.4)
    y = -11.4
    pins = [("clamp_supply", "top", 1.1, "supply"), ("ground", "bottom", 1.1, "ground"),
            ("clamp_out", "right", 0.9, "out")]  # fmt: skip
    ends = sheet.box("A2", (26.4, y - 0.9), (2.2, 1.8), pins)
    part = sheet.find("A2")
    sheet.text(f"A2 {valuetext.short(part)}", (26.4, y - 2.3))
    _ways(sheet, "J2", (26.4, y - 2.75))
    sheet.rail("ground", ends["ground"], False)
    top = (ends["clamp_supply"][0], -8.5)
    sheet.wire(ends["clamp_supply"], top)
    corner = (29.7, -8.5)
    sheet.wire(top, corner)
    sheet.name("clamp_supply", (31.5, -8.5))
    sheet.shunt("C6", "clamp_supply", corner, drop=1.5)
    sheet.wire(corner, (33.2, -8.5))
    sheet.chain("clamp_supply", (33.2, -8.5), "R6", "tag")
    _, at = sheet.chain("clamp_out", ends["clamp_out"], "name", "R7")
    sheet.chain("clamp_mid", at, "name", "v R8", "v C7", "| D6 D7", "R9", "tag")


def _key(sheet: Sheet) -> None:
    for title, top, wire, names in (
        ("Key", -14.8, "ignition", ("R14", "R15", "C10", "D10", "D11", "R16")),
        ("Panel lamps", -22.4, "panel_lamps", ("R17", "R18", "C11", "D12", "D13", "R19")),
    ):
        series, low, capacitor, above, below, pin = names
        sheet.frame(title, 0, top, 21.6, top - 7.2)
        y = top - 3.8
        sheet.tag(wire, (2.7, y), "left")
        _ways(sheet, "J3", (0.6, y - 2.9))
        sheet.chain(wire, (2.7, y), series, "name", f"v {low}", f"v {capacitor}", f"| {above} {below}", pin, "tag")


def _ripple(sheet: Sheet) -> None:
    title = f"Ripple ({_option(sheet, 'ripple')}; the firmware does not read it yet)"
    sheet.frame(title, 22, -14.8, 48, -22)
    y = -18.6
    sheet.tag("sensed", (24.1, y), "left")
    sheet.chain("sensed", (24.1, y), "C8", "name", "R10", "name", "| R11 R12", "v C9", "| D8 D9", "R13", "tag")


def _panel(sheet: Sheet) -> None:
    sheet.frame("Button, lamp, buzzer, display", 22, -22.4, 48, -31.2)
    for y, pin, series, ref in ((-25.0, "gp15", "R20", "S1"), (-27.4, "gp16", "R21", "D14")):
        sheet.tag(pin, (23.6, y), "left")
        node, at = sheet.series(series, pin, (23.6, y))
        sheet.wire(at, (28.0, y))
        sheet.name(node, (27.2, y))
        sheet.part(ref, (28.0, y), (30.2, y))
        sheet.rail("ground", (30.2, y), False)
    _ways(sheet, "J4", (22.5, -28.2))
    y = -29.7
    sheet.tag("gp17", (23.6, y), "left")
    node, at = sheet.series("R22", "gp17", (23.6, y))
    base = (33.2, y)
    sheet.wire(at, base)
    sheet.name(node, (30.2, y))
    collector, emitter = sheet.npn("Q1", base)
    sheet.rail("ground", emitter, False)
    low = (collector[0], -28.2)
    sheet.wire(collector, low)
    right = (collector[0] + 1.8, -28.2)
    sheet.wire(low, right)
    sheet.name("buzzer_low", (collector[0] + 0.9, -28.2))
    pins = [("vsys", "top", 0.7, "+"), ("buzzer_low", "bottom", 0.7, "–")]
    ends = sheet.box("A3", (low[0] - 0.7, -27.0), (1.4, 1.3), pins)
    sheet.wire(ends["buzzer_low"], low)
    top = (low[0], -25.0)
    sheet.wire(ends["vsys"], top)
    sheet.part("D15", right, (right[0], top[1]))
    sheet.wire(top, (right[0], top[1]))
    sheet.rail("vsys", top, True)
    sheet.text(f"A3\n{sheet.find('A3')['volts']:g} V\nbuzzer", (low[0] - 0.9, -26.3), ("right", "center"))
    pins = [("ground", "left", 2.9, "ground"), ("v3", "left", 2.1, "supply"), ("gp5", "left", 1.3, "SCL"),
            ("gp4", "left", 0.5, "SDA")]  # fmt: skip
    ends = sheet.box("A4", (43.4, -28.4), (3.2, 3.4), pins)
    sheet.text("A4 display", (43.4, -24.7))
    _ways(sheet, "J5", (40.3, -28.9))
    for node, point in ends.items():
        sheet.tag(node, point, "left")


def _board(sheet: Sheet) -> None:
    sheet.frame("The board, and the reference", 0, -31.6, 48, -40.6)
    left = ["vbus", "vsys", "v3", "vref", "gp26", "gp27", "gp28"]
    right = ["gp4", "gp5", "gp15", "gp16", "gp17", "gp18", "gp19"]
    pins = []
    for side, nodes in (("left", left), ("right", right)):
        for row, node in enumerate(nodes):
            number = boardpins.pin(node)
            said = boardpins.printed(number)
            pins.append((node, side, 6.0 - row * 0.8, f"{number} {said}" if side == "left" else f"{said} {number}"))
    grounds = ", ".join(map(str, boardpins.GROUNDS))
    pins.append(("ground", "bottom", 3.25, f"GND {grounds}"))
    ends = sheet.box("A1", (18, -39.4), (6.5, 6.6), pins)
    sheet.text("A1 RP2040 board", (21.25, -32.4), ("center", "center"))
    for node, point in ends.items():
        if node == "ground":
            sheet.rail(node, point, False)
        elif node != "vref":
            sheet.tag(node, point, "left" if node in left else "right")
    point = ends["vref"]
    bend = (11.0, point[1])
    sheet.wire(point, bend)
    sheet.name("vref", (13.5, point[1]))
    sheet.shunt("U2", "vref", bend)
    sheet.text(f"U2 and R25: {_option(sheet, 'reference')}.", (0.6, -33.2), size=9)
    sheet.text("Without them nothing is joined to VREF.", (0.6, -33.7), size=9)
    for row, line in enumerate((
        "A flag, a bar and the ground sign join all that bear the same name.",
        "J1 to J5 are the connectors at the edge of the perfboard: ways and nodes.",
        "Numbers at the board are its pins. USB feeds it through its own diode from VBUS.",
        "The board measures a third of VSYS at its GPIO 29, inside.",
    )):  # fmt: skip
        sheet.text(line, (28.5, -34 - row * 0.6), size=10)


_BLOCKS = (_supply, _guard, _bus, _clamp, _key, _ripple, _panel, _board)


def svg(values: Values) -> bytes:
    return draw(values, "svg").drawing.get_imagedata("svg")


def png(values: Values) -> bytes:
    """The same, 100 dots to the inch."""
    drawing = draw(values, "matplotlib").drawing
    drawing.dpi = 100
    return drawing.get_imagedata("png")


if __name__ == "__main__":
    here = Path(__file__).resolve().parent
    shipped = parts.load(here / "values.toml")
    (here / "schematic.svg").write_bytes(svg(shipped))
    (here / "schematic.png").write_bytes(png(shipped))
