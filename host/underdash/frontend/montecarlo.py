"""The budget's network, drawn many times from its tolerances and solved by ngspice: what the spread of the
shown volts is, for comparison with the sums of frontend.accuracy.

Each copy has its own resistors, leakages, input load and reference, each even between its limits, as the
budget has them. ngspice finds the volts at every copy's pin, at each temperature, with the battery at
three voltages; the reading is the pin's volts over the copy's reference. A line through the copy's
readings at 25 C is its calibration.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from underdash.frontend import accuracy, spice
from underdash.frontend.constants import constants, only
from underdash.frontend.parts import GROUND, Part, Values

Array = NDArray[np.float64]

_SWEEP = (12.0, accuracy.VOLTS, 15.0)  # evenly apart, as a sweep has them


@dataclass(frozen=True)
class Spread:
    """errors [mV at accuracy.VOLTS], shape (temperatures, copies), before and after calibration at 25 C."""

    before: Array
    after: Array


def spread(values: Values, copies: int = 400, seed: int = 1) -> Spread:
    """Draw that many copies of the network and solve them at each of accuracy.TEMPERATURES.

    UsageError if the values lack the board or the divider, UnderdashError if ngspice fails.
    """
    drawn = _Copies(values, copies, np.random.default_rng(seed))
    readings = []
    for celsius in accuracy.TEMPERATURES:
        found, _ = spice.solve(drawn.deck(celsius), f"copies of the divider at {celsius:g} C")
        pins = np.array([found[f"v(p{index})"] for index in range(copies)])
        readings.append(pins / drawn.reference(celsius)[:, None])
    table = np.array(readings)  # (temperature, copy, volts)
    full_scale = constants(values).full_scale
    middle = table[:, :, 1]
    before = (middle * full_scale - accuracy.VOLTS) * 1000
    at = table[accuracy.TEMPERATURES.index(accuracy.CALIBRATED_AT)]
    gain = (_SWEEP[2] - _SWEEP[0]) / (at[:, 2] - at[:, 0])
    after = ((middle - at[:, 0]) * gain + _SWEEP[0] - accuracy.VOLTS) * 1000
    return Spread(before, after)


class _Copies:
    """What each copy drew, as shares of the limits (-1 to 1, or 0 to 1)."""

    def __init__(self, values: Values, copies: int, chance: np.random.Generator) -> None:
        self._copies, self._chance = copies, chance
        chains = (("fused", "sensed"), ("sensed", "bus_mid"), ("bus_mid", GROUND), ("bus_mid", "gp26"))
        self._resistors = [(part, self._both(), self._both()) for chain in chains
                           for part in values.between("resistor", *chain)]  # fmt: skip
        self._diodes = [(part, self._one()) for part in values.between("schottky", "bus_mid", "v3")]
        self._suppressors = [(part, self._one()) for part in values.between("tvs", "sensed", GROUND)]
        shunts = [part for part in values.present() if part.kind == "reference"]
        self._source = shunts[0] if shunts else only(values, "board")
        self._supply = only(values, "board")["v3_volts"]
        self._tolerance, self._drift = self._both(), self._both()
        self._feed = 0.0 if shunts else only(values, "board")["vref_drop_volts"]
        self._nominal = constants(values).reference + self._feed
        self._feed_share, self._feed_drift = self._both(), (self._both(), self._both())
        self._load, self._load_drift = self._one(), (self._both(), self._both())
        self._pin, self._pin_drift = self._both(), (self._both(), self._both())

    def _both(self) -> Array:
        return self._chance.uniform(-1.0, 1.0, self._copies)

    def _one(self) -> Array:
        return self._chance.uniform(0.0, 1.0, self._copies)

    @staticmethod
    def _moved(celsius: float, drifts: tuple[Array, Array]) -> Array | float:
        """A change that comes away from 25 C, another one on either side."""
        return 0.0 if celsius == accuracy.CALIBRATED_AT else drifts[int(celsius > accuracy.CALIBRATED_AT)]

    def reference(self, celsius: float) -> Array:
        """Volts at each copy's converter reference."""
        drift = self._source["tempco_ppm"] * 1e-6 * (celsius - accuracy.CALIBRATED_AT)
        volts = self._nominal * (1 + self._tolerance * self._source["tolerance"]) * (1 + self._drift * drift)
        spread = self._feed_share + self._moved(celsius, self._feed_drift) / 2
        return np.asarray(volts - self._feed * (1 + accuracy.FEED_SPREAD * spread), dtype=np.float64)

    def deck(self, celsius: float) -> str:
        """The netlist of all copies. A copy's nodes are s (sensed), m (bus_mid) and p (the pin)."""
        nodes = {"fused": "fused", "sensed": "s{}", "bus_mid": "m{}", "gp26": "p{}", GROUND: "0", "v3": "v3"}
        lines = [
            "underdash: copies of the bus divider",
            f"vbattery fused 0 {_SWEEP[0]:g}",
            f"vv3 v3 0 {self._supply:g}",
        ]
        load = self._load / accuracy.INPUT_OHMS * (1 + accuracy.INPUT_DRIFT * self._moved(celsius, self._load_drift))
        moved = self._moved(celsius, self._pin_drift)
        pin = (self._pin + moved) * accuracy.PIN_LEAKAGE
        for index in range(self._copies):

            def ends(part: Part, index: int = index) -> str:
                return " ".join(nodes[node].format(index) for node in part.nodes)

            for part, tolerance, drift in self._resistors:
                ohms = part["ohms"] * (1 + tolerance[index] * part["tolerance"])
                tc = drift[index] * part["tempco_ppm"] * 1e-6
                lines.append(f"r{part.ref}_{index} {ends(part)} {ohms:.9g} tc1={tc:.6g}")
            for part, share in self._diodes:
                amps = part["saturation_amps"] * accuracy.LEAKAGE_SPREAD * share[index]
                amps *= _growth(celsius, part.get("leakage_doubles_kelvin", accuracy.TVS_DOUBLES_KELVIN))
                # The model's own temperature is the deck's, so that only the doubling moves the leakage.
                model = f"d(is={amps:.6g} n={part['emission']:g} tnom={celsius:g})"
                lines += [
                    f"d{part.ref}_{index} {ends(part)} m{part.ref}_{index}",
                    f".model m{part.ref}_{index} {model}",
                ]
            for part, share in self._suppressors:
                amps = part.get("leakage_amps") * share[index] * _growth(celsius, accuracy.TVS_DOUBLES_KELVIN)
                lines.append(f"i{part.ref}_{index} {ends(part)} {amps:.6g}")
            lines.append(f"rload_{index} p{index} 0 {1 / max(float(load[index]), 1e-12):.9g}")
            lines.append(f"ipin_{index} 0 p{index} {pin[index]:.6g}")
        lines.append(f".options tnom={accuracy.CALIBRATED_AT:g} temp={celsius:g} reltol=1e-6 gmin=1e-15")
        step = _SWEEP[1] - _SWEEP[0]
        lines.append(f".dc vbattery {_SWEEP[0]:g} {_SWEEP[2]:g} {step:g}")
        lines += [f".save v(p{index})" for index in range(self._copies)]
        return "\n".join([*lines, ".end", ""])


def _growth(celsius: float, doubles: float) -> float:
    return float(2.0 ** ((celsius - accuracy.CALIBRATED_AT) / doubles))
