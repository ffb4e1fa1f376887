"""A front end, in a case and a corner, as a netlist for ngspice. Readable: you may open and run it.

Each part becomes one element (or a few) by its kind. The models are those of class figures in the values
file, not of a maker's part:

* suppressors: a diode with breakdown, its slope in series; breakdown is set for the corner's temperature
* Schottky diodes: IS, N and RS, with a barrier of 0.69 eV, so that leakage and forward volts follow
  temperature (ngspice manual, chapter on diodes)
* regulator: a current source into its output that holds the output volts, is limited, cannot hold more than
  its input less the dropout, and switches off above its highest operating volts
* board: takes constant power down to its lowest volts, where it gives up; its 3.3 V converter gives only,
  it cannot take. A reset board would start again by itself; here it hovers at that threshold, and the
  checks call that a reset
* pins: the chip's two diodes, to its supply and to ground, as common silicon (no published figures)
"""

from underdash.frontend.cases import Case
from underdash.frontend.corners import ROOM, Corner
from underdash.frontend.parts import GROUND, Part, Values

# The board's ground is a node of its own: it may be lost. 0 is the car's body.
BOARD_GROUND = "bgnd"
# Inputs that a wire of the car leads to, where fitted.
INPUTS = ("gp26", "gp27", "gp28", "gp18", "gp19", "gp15")
_OPEN = 1e9  # [ohm]
_GIVE_UP = 0.25  # [V] below its lowest volts the board's converter fades out over so much (its data sheet: 1.8 to 1.55)
_REFERENCE_FEED = 200.0  # [ohm] between the board's 3.3 V and its reference pin (board data sheet)


def deck(values: Values, case: Case, corner: Corner) -> str:
    """The netlist of a case in a corner. Its vectors: node volts, and the currents of the ammeters, named after
    their parts (`i(v_d1)`: from a diode's anode to its cathode)."""
    corner = corner.at(*case.celsius)
    head = [
        f"* {case.title}; corner: {corner.name}; {corner.celsius:g} C",
        f"* made from {values.path.name}; run it with: ngspice -b -r out.raw THIS_FILE",
        "* node 0 is the car's body, bgnd the board's ground; suffixes _x and _a are inside a part",
        f".options tnom={ROOM:g} temp={corner.celsius:g} method=gear reltol=1e-3 abstol=1e-9 vntol=1e-6 itl4=20",
        "* the larger of x and 0, the smaller of a and b, rounded over a few milliamps so that ngspice finds its way",
        ".func pos(x) {0.5*(x+sqrt(x*x+1e-5))}",
        ".func low(a,b) {0.5*(a+b-sqrt((a-b)*(a-b)+1e-5))}",
    ]
    writer = _Writer(values, case, corner)
    body = writer.lines()
    step, stop = case.step, case.ends
    tail = ["", writer.guess(), f".tran {step:.4g} {stop:.6g} 0 {step:.4g}", ".end", ""]  # fmt: skip
    return "\n".join(head + body + tail)


def node(name: str) -> str:
    """A node's name in a netlist."""
    return BOARD_GROUND if name == GROUND else name


def element(part: Part) -> str:
    """A part's name in a netlist: the letter by which ngspice tells kinds, and its designator."""
    letter = {"resistor": "R", "fuse": "R", "capacitor": "C", "tvs": "D", "schottky": "D", "diode": "D"}.get(
        part.kind, "B"
    )
    return f"{letter}_{part.ref}"


def inputs(values: Values) -> list[str]:
    """The pins that this front end leads to."""
    used = {name for part in values.present() for name in part.nodes}
    return [pin for pin in INPUTS if pin in used]


class _Writer:
    def __init__(self, values: Values, case: Case, corner: Corner) -> None:
        self.values, self.case, self.corner = values, case, corner

    def lines(self) -> list[str]:
        lines = ["", f"* ---- the car: {self.case.waveform.title}", *self._car()]
        for part in self.values.present():
            if part.kind == "clamp" and self.case.clamp == "unplugged":
                lines += ["", f"* {part.ref} is unplugged"]
                continue
            write = getattr(self, f"_{part.kind}", None)
            if write is None:
                continue  # nothing of it lies between the car and a pin, or the board's load covers it
            lines += ["", f"* {part.ref}: {part.purpose}", *write(part)]
        nodes = dict.fromkeys(node(name) for part in self.values.present() for name in part.nodes)
        lines += ["", "* ---- a trace of leakage, so that no node floats"]
        lines += [f"R_leak_{name} {name} {BOARD_GROUND} {_OPEN:g}" for name in nodes if name != BOARD_GROUND]
        return [*lines, "", "* ---- the chip's own diodes", *self._pins()]

    def guess(self) -> str:
        """Where the search for the first state begins: the board running, or dead."""
        volts = self.case.waveform.points[0][1]
        if volts < 8.0 or not self.case.grounded or "fuse" in self.case.opened:
            return "* begins dead"
        rail, v3 = 5.0, 3.3
        for part in self.values.present():
            if part.kind == "regulator":
                rail = self.corner.supply(part, "output_volts") - 0.02
            elif part.kind == "board":
                v3 = self.corner.supply(part, "v3_volts")
        known = {"fused": volts, "limited": volts - 2.0, "held": volts - 2.5, "rail": rail, "vsys": rail - 0.25,
                 "v3": v3, "clamp_supply": rail - 0.35, "clamp_out": rail / 2 - 0.2, "clamp_mid": rail / 3 - 0.15,
                 "sensed": volts * 0.88, "bus_mid": volts * 0.18, "key_mid": v3 + 0.25, "dim_mid": v3 + 0.25,
                 "shunt_mid": v3 * 0.36, "run": 1.0}  # fmt: skip
        here = {name for part in self.values.present() for name in part.nodes} | {"run"}
        return ".nodeset " + " ".join(f"v({name})={guess:.4g}" for name, guess in known.items() if name in here)

    def _car(self) -> list[str]:
        case, ground = self.case, BOARD_GROUND
        line = [f"{t:.9g} {v:.7g}" for t, v in _rising(case.waveform.points)]
        broken = "\n+ ".join(" ".join(line[at : at + 6]) for at in range(0, len(line), 6))
        lines = [f"V_car source 0 PWL(\n+ {broken})", f"R_car source battery {case.waveform.ohms:g}"]
        lines.append(f"R_ground {ground} 0 {0.01 if case.grounded else _OPEN:g}")
        for wire, where in (("ignition", case.ignition), ("panel_lamps", case.lamps)):
            lines.append(f"R_{wire} {wire} {'0 0.5' if where == 'body' else 'battery 0.1'}"
                         if where != "open" else f"R_{wire} {wire} battery {_OPEN:g}")  # fmt: skip
        if case.clamp == "battery":
            lines.append("R_short clamp_out battery 0.1")
        return lines

    def _two(self, part: Part) -> str:
        return " ".join(node(name) for name in part.nodes[:2])

    def _fuse(self, part: Part) -> list[str]:
        ohms = _OPEN if part.kind in self.case.opened else part["ohms"]
        begin, end = (node(name) for name in part.nodes)
        return [f"V_{part.ref} {begin} {part.ref}_x 0", f"{element(part)} {part.ref}_x {end} {ohms:g}"]

    def _resistor(self, part: Part) -> list[str]:
        return [f"{element(part)} {self._two(part)} {self.corner.ohms(part):.6g}"]

    def _capacitor(self, part: Part) -> list[str]:
        farads, esr = self.corner.farads(part), self.corner.esr(part)
        if not esr:
            return [f"{element(part)} {self._two(part)} {farads:.6g}"]
        plus, minus = (node(name) for name in part.nodes)
        return [f"{element(part)} {plus} {part.ref}_x {farads:.6g}", f"R_esr_{part.ref} {part.ref}_x {minus} {esr:g}"]

    def _junction(self, ref: str, anode: str, cathode: str, model: str) -> list[str]:
        """A diode with an ammeter: the current that ngspice itself tells of a diode is rough at the knee."""
        return [f"D_{ref} {anode} {ref}_a D_{ref}_m", f"V_{ref} {ref}_a {cathode} 0", f".model D_{ref}_m D({model})"]

    def _tvs(self, part: Part) -> list[str]:
        if part.nodes[0] in self.case.shorted:
            return [f"* failed short\nR_short_{part.ref} {self._two(part)} 0.02"]
        cathode, anode = (node(name) for name in part.nodes)
        breakdown = self.corner.breakdown(part)
        model = f"IS=1e-12 N=1.1 RS={part['ohms']:g} BV={breakdown:.5g} IBV=1e-3 CJO=200p"
        return self._junction(part.ref, anode, cathode, model)

    def _schottky(self, part: Part) -> list[str]:
        model = f"IS={part['saturation_amps']:g} N={part['emission']:g} RS={part['ohms']:g} EG=0.69 XTI=2 CJO=10p"
        anode, cathode = (node(name) for name in part.nodes)
        return self._junction(part.ref, anode, cathode, model)

    def _regulator(self, part: Part) -> list[str]:
        ref, (source, _, out) = part.ref, part.nodes
        ground = BOARD_GROUND
        wanted = self.corner.supply(part, "output_volts")
        inside, rail = f"V({source},{ground})", f"V({out},{ground})"
        # Off above its highest volts, and without any: it passes nothing backwards.
        on = f"0.25*(1-tanh(({inside}-{part['volts']:g}-0.1)/0.05))*(1+tanh(({inside}-0.5)/0.1))"
        give = (f"low(low(({wanted:.6g}-{rail})/0.3, {part['limit_amps']:g}), "
                f"({inside}-{part['dropout_volts']:g}-{rail})/{part['dropout_ohms']:g})")  # fmt: skip
        return [
            f"V_{ref} {source} {ref}_x 0",
            f"B_{ref} {ref}_x {out} I=pos({give})*{on}",
            f"F_{ref} {source} {ground} V_{ref} {part['quiescent_share']:g}",
            f"B_{ref}q {source} {ground} I={part['quiescent_amps']:g}*tanh(max(0,{inside}))",
        ]

    def _board(self, part: Part) -> list[str]:
        vsys, _, v3, vbus = part.nodes
        ground, asleep = BOARD_GROUND, self.case.asleep
        supply = f"V({vsys},{ground})"
        lowest = part["minimum_volts"]
        watts = part["sleep_watts"] if asleep else part["load_watts"]
        load = part["sleep_ohms"] if asleep else part["v3_load_ohms"]
        volts = self.corner.supply(part, "v3_volts")
        # While the 3.3 V rail is fed, its load is in `watts`; it stands here to draw down what clamps push in.
        lines = [
            f"B_run run 0 V=0.5*(1+tanh(({supply}-{lowest - _GIVE_UP / 2:g})/{_GIVE_UP / 5:.4g}))",
            f"B_{part.ref} {vsys} {ground} I={watts:g}/max({lowest:g},min({supply},{part['maximum_volts']:g}))*V(run)",
            f"B_{part.ref}v3 {ground} {v3} I=pos(low(0.8, ({volts:.6g}-V({v3},{ground}))/0.2))*V(run)",
            f"B_{part.ref}load {v3} {ground} I=V({v3},{ground})*({1 / load:.5g}*V(run)+{1 / part['dead_ohms']:.5g})",
            f"C_{part.ref} {v3} {ground} {part['v3_farads']:g}",
        ]
        lines += self._junction(part.ref, vbus, vsys, "IS=1.5e-5 N=1.1 RS=0.06 EG=0.69 XTI=2 CJO=10p")
        usb = self.case.usb
        if usb is None:
            return [*lines, f"R_usb {vbus} {ground} 1e6"]
        lines += [f"V_usb usb_x {ground} {usb.source()}", f"R_usb usb_x {vbus} 0.1"]
        return [*lines, f"R_usb_ground {ground} 0 0.2"] if usb.grounded else lines

    def _clamp(self, part: Part) -> list[str]:
        supply, _, out = part.nodes
        ground = BOARD_GROUND
        inside = f"V({supply},{ground})"
        lines = [f"B_{part.ref} {supply} {ground} I={part['load_amps']:g}*tanh({inside})"]
        if self.case.clamp == "battery":
            return lines  # what its output still does is nothing beside a battery
        return [*lines, f"B_{part.ref}o {part.ref}_x {ground} V={inside}/2", f"R_{part.ref} {part.ref}_x {out} 1"]

    def _shunt(self, part: Part) -> list[str]:
        rail, _, sense = part.nodes
        ground = BOARD_GROUND
        begins = self.corner.supply(part, "reference_volts")
        leak = f"{part.get('leakage_amps'):g}*tanh(max(0,V({rail},{ground})))"
        return [f"V_{part.ref} {rail} {part.ref}_x 0",
                f"B_{part.ref} {part.ref}_x {ground} I=pos(2*(V({sense},{ground})-{begins:.6g}))+{leak}"]  # fmt: skip

    def _reference(self, part: Part) -> list[str]:
        vref, ground = node(part.nodes[0]), BOARD_GROUND
        volts = self.corner.supply(part, "output_volts")
        return [
            f"R_{part.ref} v3 {vref} {_REFERENCE_FEED:g}",
            f"B_{part.ref} {vref} {ground} I=pos((V({vref},{ground})-{volts:.6g})*5)",
        ]

    def _buzzer(self, part: Part) -> list[str]:
        vsys = part.nodes[0]
        if not self.case.buzzer:
            return ["* silent"]
        return [f"B_{part.ref} {vsys} {BOARD_GROUND} I={part['amps']:g}*V(run)"]

    def _pins(self) -> list[str]:
        lines: list[str] = []
        v3 = next((part.nodes[2] for part in self.values.present() if part.kind == "board"), "v3")
        for pin in inputs(self.values):
            chip = "IS=1e-14 N=1.05 RS=10 CJO=2p"
            lines += self._junction(f"high_{pin}", pin, v3, chip)
            lines += self._junction(f"low_{pin}", BOARD_GROUND, pin, chip)
        if "gp15" in inputs(self.values):
            lines.append("R_pull_gp15 gp15 v3 65k")
        return lines


def _rising(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The points with time strictly rising, as ngspice wants them."""
    kept: list[tuple[float, float]] = []
    for t, v in points:
        if not kept or t > kept[-1][0] + 1e-12:
            kept.append((t, v))
    return kept
