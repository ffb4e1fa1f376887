"""The accuracy budget of the bus channel: what each part contributes [mV], before and after calibration.

Each contribution is an error of the shown volts that lies between two limits, evenly (rectangular,
GUM Type B: standard uncertainty = width / sqrt(12)), unless its standard deviation was measured
(Type A). After calibration at 25 C only what changed since then is left of the parts' errors.
"""

from dataclasses import dataclass
from math import hypot, sqrt
from typing import Any

from chargecore.calibration import UNFOLDED_MAX
from underdash.frontend.constants import arm, constants, only
from underdash.frontend.curve import METER_CLASS
from underdash.frontend.leads import leads
from underdash.frontend.parts import GROUND, Part, Values

VOLTS = 13.5
CALIBRATED_AT = 25.0
CABIN = (0.0, 50.0)
TEMPERATURES = (CABIN[0], CALIBRATED_AT, CABIN[1])

# What the values file does not say, with where it comes from.
INPUT_OHMS = 100e3  # at least; the chip's data sheet
PIN_LEAKAGE = 1e-6  # at most, either way [A]; the chip's data sheet
FEED_SPREAD = 0.3  # of the drop on the board's reference filter; no source
LEAKAGE_SPREAD = 4.0  # a Schottky diode may leak so many times its typical figure, or nothing (from memory)
TVS_DOUBLES_KELVIN = 11.0  # from memory, as the Schottky diodes'
INPUT_DRIFT = 0.01  # of the input resistance over the cabin's range; no figure is published
COPPER_TEMPCO = 0.00393  # IACS
# Converter figures in steps of 12 bits, from github.com/kitanokitsune/rp2040adc_correction at 61898dd.
OFFSETS = (11.1, 16.8)  # five chips; the firmware starts from 14
LINE_LARGEST, LINE_RMS = 1.07, 0.38  # left by five points' line, rounding included; worst of three (curve.report)
NOISE = 0.97  # rms of one reading; a published characterisation
OVERSAMPLE, SAMPLES_A_ROW = 64, 10

# What calibration does to a contribution.
PART, LASTING, NEW = "part", "lasting", "new"  # takes it away but for its change; leaves it; brings it


@dataclass(frozen=True)
class Contribution:
    """limits: error [mV] from and to, at each of TEMPERATURES, before calibration. `change`: from and
    to of how far it has moved since 25 C, at each. rule: PART, LASTING or NEW. circuit: of the
    network that the Monte Carlo runs draw. deviation [mV]: measured, else the limits' own."""

    name: str
    limits: tuple[tuple[float, float], ...]
    change: tuple[tuple[float, float], ...]
    rule: str
    source: str
    circuit: bool = False
    deviation: float = 0.0

    def at(self, index: int, calibrated: bool) -> tuple[float, float]:
        """Limits [mV] at the temperature of this index."""
        if self.rule == NEW and not calibrated:
            return (0.0, 0.0)
        return self.change[index] if calibrated and self.rule == PART else self.limits[index]

    def standard(self, index: int, calibrated: bool) -> float:
        """Standard uncertainty [mV]."""
        low, high = self.at(index, calibrated)
        return self.deviation or (high - low) / sqrt(12)


@dataclass(frozen=True)
class Total:
    """Of some contributions [mV]: the middle of their limits, the root of the sum of squares of their
    standard uncertainties, the largest error if all are at their limits on the same side."""

    shift: float
    standard: float
    worst: float

    @property
    def expanded(self) -> float:
        """Twice the standard uncertainty, and the shift that nobody corrects (95 %, about)."""
        return abs(self.shift) + 2 * self.standard


def total(parts: list[Contribution], index: int, calibrated: bool) -> Total:
    """The sum at the temperature of this index."""
    limits = [part.at(index, calibrated) for part in parts]
    low, high = sum(low for low, _ in limits), sum(high for _, high in limits)
    return Total((low + high) / 2, hypot(*(part.standard(index, calibrated) for part in parts)), max(-low, high, 0.0))


def contributions(values: Values) -> list[Contribution]:
    """Every contribution at VOLTS for a front end. UsageError if its board or divider is missing."""
    return _Budget(values).all()


class _Budget:
    def __init__(self, values: Values) -> None:
        self.values = values
        found = constants(values)
        self.step_mv = found.full_scale * 16 / UNFOLDED_MAX * 1000
        self.upper = arm(values, "fused", "sensed") + arm(values, "sensed", "bus_mid")
        self.ratio = found.full_scale / found.reference
        self.reference = found.reference

    def all(self) -> list[Contribution]:
        meter = VOLTS * METER_CLASS * 1000
        return [
            *self._divider(), *self._reference(), *self._currents(), *self._converter(), self._leads(),
            _constant("meter", (-meter, meter), NEW, f"class of {METER_CLASS * 100:g} % of the reading"),
        ]  # fmt: skip

    def _divider(self) -> list[Contribution]:
        """Each resistor on its own: they are bought singly, so nothing says that they drift together."""
        lower = arm(self.values, "bus_mid", GROUND)
        whole = self.upper + lower
        found = []
        for nodes, share in (
            (("fused", "sensed"), arm(self.values, "fused", "sensed") / whole),
            (("sensed", "bus_mid"), arm(self.values, "sensed", "bus_mid") / whole),
            (("bus_mid", GROUND), self.upper / whole),
        ):
            group = self.values.between("resistor", *nodes)
            for part in group:
                # Of resistors in parallel each counts by its part of the current.
                weight = share / part["ohms"] / sum(1 / other["ohms"] for other in group)
                found += self._tolerance(part, weight)
        return found

    def _reference(self) -> list[Contribution]:
        shunts = [part for part in self.values.present() if part.kind == "reference"]
        if shunts:
            return self._tolerance(shunts[0], 1.0)
        board = only(self.values, "board")
        # The converter's own current through the filter lowers the reference; the constants count with it.
        spread = board["vref_drop_volts"] / self.reference * VOLTS * 1000 * FEED_SPREAD
        feed = self._same(
            "reference filter's drop",
            (-spread, spread),
            (-spread / 2, spread / 2),
            "201 ohms (board data sheet), 150 uA (secondary); spread of 30 %, half of it with temperature: no source",
            circuit=True,
        )
        return [*self._tolerance(board, 1.0), feed]

    def _tolerance(self, part: Part, weight: float) -> list[Contribution]:
        """Tolerance and drift of a part whose relative error shows in the volts by `weight`."""
        scale = VOLTS * 1000 * weight
        drift = [scale * part["tempco_ppm"] * 1e-6 * abs(t - CALIBRATED_AT) for t in TEMPERATURES]
        limits = tuple((-each, each) for each in drift)
        apart = scale * part["tolerance"]
        return [
            self._same(f"{part.ref} tolerance {part['tolerance'] * 100:g} %", (-apart, apart), (0.0, 0.0),
                       part.source, circuit=True),
            Contribution(f"{part.ref} drift {part['tempco_ppm']:g} ppm/K", limits, limits, PART, part.source,
                         circuit=True),
        ]  # fmt: skip

    def _currents(self) -> list[Contribution]:
        """Small currents into and out of the divider. At the bus a current into its middle counts by its
        upper arm."""
        found = []
        for diode in self.values.present():
            if diode.kind == "schottky" and set(diode.nodes) == {"bus_mid", "v3"}:
                doubles = diode.get("leakage_doubles_kelvin", 11.0)
                most = diode["saturation_amps"] * LEAKAGE_SPREAD * self.upper * 1000
                found.append(self._leak(f"{diode.ref} leakage", most, doubles, f"{diode.source}; 0 to 4 times: memory"))
            elif diode.kind == "tvs" and set(diode.nodes) == {"sensed", GROUND}:
                most = -diode.get("leakage_amps") * arm(self.values, "fused", "sensed") * 1000
                found.append(self._leak(f"{diode.ref} leakage", most, TVS_DOUBLES_KELVIN, diode.source))
        series = sum(part["ohms"] for part in self.values.between("resistor", "bus_mid", "gp26"))
        pin = PIN_LEAKAGE * (self.upper + series * self.ratio) * 1000
        found.append(
            self._same("pin leakage up to 1 uA", (-pin, pin), (-pin, pin), "chip's data sheet; all of it may come with "
                       "temperature", circuit=True)
        )  # fmt: skip
        load = VOLTS / self.ratio / INPUT_OHMS * (self.upper + series * self.ratio) * 1000
        drift = load * INPUT_DRIFT
        found.append(
            self._same("input resistance from 100 kohm", (-load, 0.0), (-drift, drift),
                       "chip's data sheet; 1 % of change with temperature: no source", circuit=True)
        )  # fmt: skip
        return found

    def _leak(self, name: str, most: float, doubles: float, source: str) -> Contribution:
        """From nothing to `most` [mV] at 25 C, doubling every so many kelvin."""
        growth = [2.0 ** ((t - CALIBRATED_AT) / doubles) for t in TEMPERATURES]
        return Contribution(
            name,
            tuple(_ordered(0.0, most * factor) for factor in growth),
            tuple(_ordered(0.0, most * (factor - 1)) for factor in growth),
            PART,
            f"{source}; doubles every {doubles:g} K",
            circuit=True,
        )

    def _converter(self) -> list[Contribution]:
        """Offset, bends and noise of the converter."""
        middle = sum(OFFSETS) / 2 - 14.0
        half = (OFFSETS[1] - OFFSETS[0]) / 2
        offset = ((middle - half) * self.step_mv, (middle + half) * self.step_mv)
        curves = "github.com/kitanokitsune/rp2040adc_correction at 61898dd"
        bends = (-LINE_LARGEST * self.step_mv, LINE_LARGEST * self.step_mv)
        noise = NOISE / sqrt(OVERSAMPLE * SAMPLES_A_ROW) * self.step_mv
        return [
            self._same("converter's offset", offset, (0.0, 0.0), f"five chips, {curves}; no figure for its drift"),
            _constant("converter's bends", bends, LASTING, f"three chips, {curves}", LINE_RMS * self.step_mv),
            _constant(
                "noise of a row", (-3 * noise, 3 * noise), LASTING,
                f"{NOISE:g} steps rms a reading, {OVERSAMPLE * SAMPLES_A_ROW} readings; limits at three times", noise,
            ),
        ]  # fmt: skip

    def _leads(self) -> Contribution:
        """What the board's own current drops in the tap lead, the fuse and the ground leads, and the divider's
        in the sense lead. Calibrated with the car's own leads it goes, but for its change."""
        supply, sense = supply_amps(self.values), VOLTS / (self.upper * self.ratio / (self.ratio - 1))
        fuse = sum(part["ohms"] for part in self.values.between("fuse", "battery", "fused"))
        loom = leads(self.values)
        common = loom.tap + fuse + loom.ground
        drop = ((supply + sense) * common + sense * loom.sense) * 1000
        display = sum(part["load_amps"] for part in self.values.present() if part.kind == "display")
        wave = display * common * 1000
        source = (
            f"{(supply + sense) * 1000:.0f} mA; F1 {fuse * 1000:.0f} mohm; tap lead {loom.tap * 1000:.0f}, "
            f"ground leads side by side {loom.ground * 1000:.0f} mohm (the loom's, IACS copper)"
        )
        limits, change = [], []
        for t in TEMPERATURES:
            warm = drop * COPPER_TEMPCO * (t - CALIBRATED_AT)
            limits.append((-drop - warm, -drop - warm + wave))
            change.append((-warm - wave / 2, -warm + wave / 2))
        return Contribution("fuse and leads", tuple(limits), tuple(change), PART, source)

    @staticmethod
    def _same(
        name: str, limits: tuple[float, float], moved: tuple[float, float], source: str, circuit: bool = False
    ) -> Contribution:
        """The same at all temperatures; away from 25 C it may have moved by `moved`."""
        change = tuple(moved if t != CALIBRATED_AT else (0.0, 0.0) for t in TEMPERATURES)
        return Contribution(name, (limits,) * len(TEMPERATURES), change, PART, source, circuit)


def _constant(name: str, limits: tuple[float, float], rule: str, source: str, deviation: float = 0.0) -> Contribution:
    always = (limits,) * len(TEMPERATURES)
    return Contribution(name, always, always, rule, source, deviation=deviation)


def _ordered(one: float, other: float) -> tuple[float, float]:
    return (min(one, other), max(one, other))


def supply_amps(values: Values) -> float:
    """What the board takes from the supply lead, awake with the display lit [A]: the regulator passes its
    load's current on."""
    board = only(values, "board")
    regulator = only(values, "regulator")
    load = board["load_watts"] / (regulator["output_volts"] - 0.3)
    load += sum(part["load_amps"] for part in values.present() if part.kind == "clamp")
    return regulator["quiescent_amps"] + load * (1 + regulator["quiescent_share"])


# The table's columns: key, heading, whether calibrated, at which of TEMPERATURES (the worse counts).
_COLUMNS = (
    ("before_25", "at 25 C", False, (1,)),
    ("before_cabin", "0 to 50 C", False, (0, 2)),
    ("after_25", "at 25 C", True, (1,)),
    ("after_cabin", "0 to 50 C", True, (0, 2)),
)


def budget(values: Values) -> dict[str, Any]:
    """The budget [mV at VOLTS] for both references, each with its contributions and totals, before and after
    calibration at 25 C, at 25 C and at the worse end of the cabin's range. UsageError as `contributions`."""
    choices = []
    plain = [option for option in values.fitted if option != "reference"]
    offered = [plain]
    if any(part.kind == "reference" for part in values.parts.values()):
        offered.append([*plain, "reference"])
    for fitted in offered:
        chosen = values.with_options(fitted)
        found = constants(chosen)
        parts = contributions(chosen)
        without = [part for part in parts if part.rule != NEW]
        choices.append(
            {
                "reference": f"{'shunt' if 'reference' in fitted else 'board'}, {found.reference:g} V",
                "fitted": ("reference" in fitted) == ("reference" in values.fitted),
                "full_scale_v": round(found.full_scale, 4),
                "contributions": [_entry(part) for part in parts],
                "totals": {key: _worse(parts, calibrated, ends) for key, _, calibrated, ends in _COLUMNS},
                "totals_without_meter": {
                    key: _worse(without, calibrated, ends) for key, _, calibrated, ends in _COLUMNS
                },
            }
        )
    return {"volts": VOLTS, "calibrated_at_c": CALIBRATED_AT, "cabin_c": list(CABIN), "choices": choices}


def _entry(part: Contribution) -> dict[str, Any]:
    entry: dict[str, Any] = {"name": part.name, "source": part.source, "type": "A" if part.deviation else "B"}
    for key, _, calibrated, ends in _COLUMNS:
        end = max(ends, key=lambda index: max(map(abs, part.at(index, calibrated))))
        low, high = part.at(end, calibrated)
        entry[key] = {
            "limits": [round(low, 3) + 0.0, round(high, 3) + 0.0],
            "standard": round(part.standard(end, calibrated), 3),
        }
    return entry


def _worse(parts: list[Contribution], calibrated: bool, ends: tuple[int, ...]) -> dict[str, float]:
    worse = max((total(parts, index, calibrated) for index in ends), key=lambda each: each.worst)
    return {
        "shift": round(worse.shift, 2) + 0.0,
        "standard": round(worse.standard, 2),
        "expanded": round(worse.expanded, 2),
        "worst": round(worse.worst, 2),
    }


def text(budget: dict[str, Any]) -> str:
    """The budget as tables for a terminal: for each choice of reference the largest error of each contribution."""
    lines = []
    for choice in budget["choices"]:
        shipped = "fitted" if choice["fitted"] else "not fitted"
        lines += [
            f"Reference: {choice['reference']} ({shipped}). Full scale {choice['full_scale_v']:.3f} V. "
            f"Largest error of each [mV at {budget['volts']:g} V].",
            f"{'':<32}{'':<5}{'before calibration':>24}{'after it, at 25 C':>24}",
            f"{'':<32}{'type':<5}" + "".join(f"{heading:>12}" for _, heading, _, _ in _COLUMNS),
        ]
        for entry in choice["contributions"]:
            cells = "".join(f"{max(map(abs, entry[key]['limits'])):>12.2f}" for key, *_ in _COLUMNS)
            lines.append(f"{entry['name']:<32}{entry['type']:<5}{cells}")
        for title, table, what in (
            ("shift (middle of the limits)", "totals", "shift"),
            ("standard uncertainty, rss", "totals", "standard"),
            ("|shift| + twice that", "totals", "expanded"),
            ("worst case, all at their limits", "totals", "worst"),
            ("|shift| + twice, without meter", "totals_without_meter", "expanded"),
            ("worst case, without meter", "totals_without_meter", "worst"),
        ):
            lines.append(f"{title:<37}" + "".join(f"{choice[table][key][what]:>12.2f}" for key, *_ in _COLUMNS))
        lines.append("")
    lines.append("Type B: even between the limits, so divided by the root of 3 (half-width). Type A: measured.")
    lines.append("Sources:")
    seen = {entry["name"]: entry["source"] for choice in budget["choices"] for entry in choice["contributions"]}
    lines += [f"  {name}: {source}" for name, source in seen.items()]
    return "\n".join(lines)
