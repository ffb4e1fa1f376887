"""What one simulated case says: each part and pin against its limits, and what the board did.

A check's share is how much of a limit is used. The limits that lie close to a working voltage (the board's
supply, its 3.3 V rail) are counted from there, the others from 0. A check passes with at least a tenth in
hand: the figures behind it are those of classes of parts, and no better than that.

Rules of thumb in here, all from memory: a suppressor's pulse power goes with the square root of the time
(data sheets' slope, from the 10/1000 us rating, width at half power) and falls to nothing from 25 to 175 C,
its steady power from 75 to 175 C; film resistors carry 6.25 times their power for seconds (short-time
overload of IEC 60115-1) and are derated from 70 to 155 C; a diode takes ten times its mean current for a
moment; a fuse carries three quarters of its rating for good.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from underdash.frontend.cases import RUNS, Case
from underdash.frontend.corners import Corner
from underdash.frontend.netlist import BOARD_GROUND, inputs, node
from underdash.frontend.parts import GROUND, Part, Values
from underdash.frontend.spice import Array, Trace

IN_HAND = 0.1
# [V] absolute limits of an RP2040's pin, over its supply and below ground (chip data sheet, table 622).
PIN_VOLTS = 0.5
# [A] through a pin's own diode: nothing is published; common practice, no source.
PIN_AMPS = 1e-4
# [A] into a computer's USB supply: common practice, no source.
BACK_FEED_AMPS = 1e-3
_SUPPRESSOR_TEST_AMPS = 1e-3  # at which breakdown volts are given: more than that is conduction
_MOMENT, _STEADY = 1.0, 10.0  # [s] the spans over which energy and steady power are counted
_BELOW_GROUND = 0.3  # [V] at the board's supply pin, from memory
_JUNCTION_RISE = 150.0  # [K] of a suppressor at its full pulse, from memory: 25 to 175 C


@dataclass(frozen=True)
class Check:
    """One limit in one case and corner. share: 1 is the limit itself."""

    case: str
    corner: str
    subject: str
    what: str
    value: float
    limit: float
    unit: str
    share: float
    remedy: str

    @property
    def passed(self) -> bool:
        return self.share <= 1.0 - IN_HAND


@dataclass(frozen=True)
class Outcome:
    """What the board did. off [s]: how long it was without supply. started_on, ends_on: it ran at the
    beginning, at the end. low, high [V]: at the battery, when it first went off and last came back."""

    off: float
    started_on: bool
    ends_on: bool
    low: float = 0.0
    high: float = 0.0

    @property
    def words(self) -> str:
        if self.off == 0:
            return "runs"
        if not self.started_on and not self.ends_on:
            return "off"
        if self.off > _STEADY and self.ends_on:
            return f"off below {self.low:.1f} V, starts again at {self.high:.1f} V"
        return f"off for {self.off:.2g} s" + (", starts again" if self.ends_on else "")


def outcome(values: Values, trace: Trace) -> Outcome:
    board = next(part for part in values.present() if part.kind == "board")
    on = trace.volts(board.nodes[0], BOARD_GROUND) >= board["minimum_volts"]
    spans = np.diff(trace.t, append=trace.t[-1])
    off, battery = np.flatnonzero(~on), trace.volts("battery")
    low, high = (float(battery[off[0]]), float(battery[off[-1]])) if len(off) else (0.0, 0.0)
    return Outcome(float(spans[~on].sum()), bool(on[0]), bool(on[-1]), low, high)


def check(values: Values, case: Case, corner: Corner, trace: Trace) -> list[Check]:
    """Every check of a simulated case."""
    return list(_Checker(values, case, corner.at(*case.celsius), trace).all())


class _Checker:
    def __init__(self, values: Values, case: Case, corner: Corner, trace: Trace) -> None:
        self.values, self.case, self.corner, self.trace = values, case, corner, trace
        self.heat_volts = 0.0  # what a suppressor's own heat adds to its clamped volts
        self.board = next(part for part in values.present() if part.kind == "board")

    def all(self) -> Iterator[Check]:
        # Suppressors first: their heat counts in the regulator's volts.
        parts = sorted(self.values.present(), key=lambda part: part.kind != "tvs")
        for part in parts:
            rule: Callable[[Part], Iterator[Check]] | None = getattr(self, f"_{part.kind}", None)
            if rule:
                yield from rule(part)
        yield from self._pins()
        if self.case.expect == RUNS:
            yield self._runs()

    def _check(self, subject: str, what: str, value: float, limit: float, unit: str, remedy: str,
               base: float = 0.0) -> Check:  # fmt: skip
        share = max(0.0, float(value - base) / float(limit - base)) if limit > base else float("inf")
        return Check(self.case.name, self.corner.name, subject, what, float(value), float(limit), unit, share, remedy)

    # ---- quantities -----------------------------------------------------------------------------

    def _across(self, part: Part) -> Array:
        begin, end = (node(name) for name in part.nodes[:2])
        return self.trace.volts(begin, end)

    def _steady(self, power: Array) -> float:
        """The highest mean of a power, or of any such quantity, over _STEADY or over its repetition."""
        total, every = _integral(self.trace.t, power), self.case.waveform.every
        return float(total[-1]) / every if every else _most(self.trace.t, total, _STEADY) / _STEADY

    def _energy(self, power: Array) -> float:
        """The most in any second [J]."""
        return _most(self.trace.t, _integral(self.trace.t, power), _MOMENT)

    # ---- parts ----------------------------------------------------------------------------------

    def _resistor(self, part: Part) -> Iterator[Check]:
        volts = self._across(part)
        if abs(volts).max() < 1e-6:
            return  # nothing of the car reaches it, as at the lamp's and the buzzer's outputs
        power = volts**2 / self.corner.ohms(part)
        rated = part["watts"] * _left(self.corner.celsius, 70.0, part.get("zero_celsius", 155.0))
        ref, ohms = part.ref, f"{part['ohms']:g} ohm"
        yield self._check(ref, "steady power", self._steady(power), rated, "W",
                          f"give {ref} ({ohms}) more watts or more ohms")  # fmt: skip
        joules = part.get("joules") or 6.25 * part["watts"] * _MOMENT
        yield self._check(ref, "energy of a pulse", self._energy(power), joules, "J",
                          f"give {ref} ({ohms}) more watts or more ohms")  # fmt: skip
        yield self._check(ref, "volts across it", float(abs(volts).max()), part["volts"], "V",
                          f"take a longer {ref}, or two in series")  # fmt: skip

    def _fuse(self, part: Part) -> Iterator[Check]:
        amps = self.trace.ammeter(part.ref)
        yield self._check(part.ref, "melting integral", self._energy(amps**2), part["melting_a2s"], "A2s",
                          f"{part.ref} would open: more ohms behind it, or what its leads bear at most")  # fmt: skip
        yield self._check(part.ref, "steady current", self._steady(abs(amps)), 0.75 * part["amps"], "A",
                          f"more ohms behind {part.ref}; a larger fuse would only let more flow")  # fmt: skip

    def _tvs(self, part: Part) -> Iterator[Check]:
        if part.nodes[0] in self.case.shorted:
            return
        ref, amps = part.ref, self.trace.ammeter(part.ref)
        power = abs(amps * self._across(part))
        peak, width = float(power.max()), _half_width(self.trace.t, power)
        allowed = part["pulse_watts"] * np.sqrt(1e-3 / max(width, 1e-6)) * _left(self.corner.celsius, 25.0, 175.0)
        pulse = self._check(ref, f"pulse power, {width * 1e3:.3g} ms wide", peak, max(allowed, part["watts"]), "W",
                            f"a larger {ref}, or more ohms before it")  # fmt: skip
        yield pulse
        if part.nodes[0] == "limited":
            rise = _JUNCTION_RISE * min(pulse.share, 1.0)
            self.heat_volts = part["breakdown_volts"] * part["tempco_ppm"] * 1e-6 * rise
        yield self._check(ref, "steady power", self._steady(power),
                          part["watts"] * _left(self.corner.celsius, 75.0, 175.0), "W",
                          f"a {ref} of higher breakdown volts, or more ohms before it")  # fmt: skip
        if self.case.normal:
            reverse = float(max(0.0, (-amps).max()))
            yield self._check(ref, "current in normal operation", reverse, _SUPPRESSOR_TEST_AMPS, "A",
                              f"{ref} conducts in normal operation: breakdown_volts {part['breakdown_volts']:g} is too "
                              "low, take one that stands off 18 V or more")  # fmt: skip

    def _schottky(self, part: Part) -> Iterator[Check]:
        amps, volts = self.trace.ammeter(part.ref), self._across(part)
        ref, wider = part.ref, f"a {part.ref} for more"
        yield self._check(ref, "reverse volts", float(max(0.0, (-volts).max())), part["volts"], "V", f"{wider} volts")
        forward = np.maximum(amps, 0.0)
        yield self._check(ref, "mean current", self._steady(forward), part["amps"], "A",
                          f"{wider} amps, or more ohms before it")  # fmt: skip
        yield self._check(ref, "peak current", float(forward.max()), 10 * part["amps"], "A",
                          f"{wider} amps, or more ohms before it")  # fmt: skip

    def _capacitor(self, part: Part) -> Iterator[Check]:
        volts, reverse = self._across(part), part.get("reverse_volts")
        yield self._check(part.ref, "volts", float(abs(volts).max()), part["volts"], "V",
                          f"a {part.ref} for more volts, or a suppressor of lower breakdown volts")  # fmt: skip
        if reverse:
            yield self._check(part.ref, "reversed volts", float(max(0.0, (-volts).max())), reverse, "V",
                              f"{part.ref} is polarised: keep negative volts off it, by a diode")  # fmt: skip

    def _regulator(self, part: Part) -> Iterator[Check]:
        ref, (source, _, out) = part.ref, part.nodes
        volts = self.trace.volts(source, BOARD_GROUND)
        amps = self.trace.ammeter(ref)
        lower = "a suppressor of lower breakdown volts before it"
        yield self._check(ref, "input volts, a moment", float(volts.max()) + self.heat_volts,
                          part["transient_volts"], "V", f"{ref} is over its limit: {lower}")  # fmt: skip
        span = _most(self.trace.t, _integral(self.trace.t, np.maximum(volts, 0.0)), _MOMENT)
        yield self._check(ref, "input volts, a second and more", span / _MOMENT, part["volts"], "V", lower)
        drop = volts - self.trace.volts(out, BOARD_GROUND)
        power = drop * amps + volts * (part["quiescent_amps"] + part["quiescent_share"] * amps)
        celsius = self.corner.celsius + part["theta_ja"] * self._steady(np.maximum(power, 0.0))
        yield self._check(ref, "junction", celsius, part["max_junction"], "C",
                          f"a larger cooler on {ref}, less load, or more ohms before it", base=25.0)  # fmt: skip

    def _shunt(self, part: Part) -> Iterator[Check]:
        yield self._check(part.ref, "current", float(self.trace.ammeter(part.ref).max()), part["amps"], "A",
                          f"more ohms before the clamp diodes, so that {part.ref} has less to take")  # fmt: skip

    def _clamp(self, part: Part) -> Iterator[Check]:
        if self.case.clamp == "battery":
            volts = self.trace.volts(part.nodes[2], BOARD_GROUND)
            yield self._check(part.ref, "volts at its output", float(abs(volts).max()), part["output_volts"], "V",
                              f"a sensor {part.ref} whose output withstands the battery")  # fmt: skip

    def _board(self, part: Part) -> Iterator[Check]:
        vsys, _, v3, _ = part.nodes
        supply = self.trace.volts(vsys, BOARD_GROUND)
        working = next((other["output_volts"] for other in self.values.present() if other.kind == "regulator"), 5.0)
        yield self._check(part.ref, "supply volts", float(supply.max()), part["maximum_volts"], "V",
                          "a regulator of lower output volts, or one that holds them better",
                          base=min(working, part["maximum_volts"] - 0.1))  # fmt: skip
        yield self._check(part.ref, "supply below ground", float(max(0.0, -supply.min())), _BELOW_GROUND, "V",
                          "a diode between the wires and the regulator, the right way round")  # fmt: skip
        yield self._check(part.ref, "3.3 V rail (IOVDD)", float(self.trace.volts(v3, BOARD_GROUND).max()),
                          part["v3_maximum_volts"], "V",
                          "more ohms before the clamp diodes, or a shunt on the rail that begins lower",
                          base=part["v3_volts"])  # fmt: skip
        if self.case.usb:
            back = float(max(0.0, self.trace.ammeter("usb").max()))
            yield self._check(part.ref, "current back into USB", back, BACK_FEED_AMPS, "A",
                              "a diode that keeps the board's supply from its USB supply")  # fmt: skip

    def _pins(self) -> Iterator[Check]:
        rail = self.trace.volts(self.board.nodes[2], BOARD_GROUND)
        for pin in inputs(self.values):
            volts, near = self.trace.volts(pin, BOARD_GROUND), self._before(pin)
            yield self._check(pin, "volts over the chip's supply", float((volts - rail).max()), PIN_VOLTS, "V",
                              f"a Schottky diode from {near} to v3, or more ohms before it")  # fmt: skip
            yield self._check(pin, "volts below ground", float(max(0.0, -volts.min())), PIN_VOLTS, "V",
                              f"a Schottky diode from ground to {near}, or a one-way suppressor before it")  # fmt: skip
            amps = max(self.trace.ammeter(f"high_{pin}").max(), self.trace.ammeter(f"low_{pin}").max())
            yield self._check(pin, "current in the chip's own diode", float(max(0.0, amps)), PIN_AMPS, "A",
                              f"a Schottky clamp at {near}, or more ohms between {near} and {pin}")  # fmt: skip

    def _before(self, pin: str) -> str:
        """The node before a pin's last resistor."""
        for part in self.values.present():
            if part.kind == "resistor" and pin in part.nodes and GROUND not in part.nodes:
                return part.nodes[0] if part.nodes[1] == pin else part.nodes[1]
        return pin

    def _runs(self) -> Check:
        found = outcome(self.values, self.trace)
        if not found.started_on:
            remedy = ("no supply reaches it: look at the way from fuse to regulator, and at which way round its diodes "
                      "are (a diode's nodes are anode, cathode)")  # fmt: skip
        else:
            remedy = "a larger capacitor before the regulator, fewer ohms before it, or less load"
        what = "the board must keep running"
        return Check(self.case.name, self.corner.name, self.board.ref, what, found.off, 0.0, "s off",
                     2.0 if found.off else 0.0, remedy)  # fmt: skip


def _left(celsius: float, full: float, nothing: float) -> float:
    """What is left of a rating that falls from `full` to `nothing` [C]."""
    return float(np.clip((nothing - celsius) / (nothing - full), 0.0, 1.0))


def _integral(t: Array, y: Array) -> Array:
    return np.concatenate(([0.0], np.cumsum(np.diff(t) * (y[1:] + y[:-1]) / 2)))


def _most(t: Array, integral: Array, span: float) -> float:
    """The largest growth of an integral within a span."""
    return float((np.interp(t + span, t, integral) - integral).max())


def _half_width(t: Array, power: Array) -> float:
    """How long a pulse is above half of its peak [s]."""
    top = int(power.argmax())
    if power[top] <= 0:
        return 0.0
    below = np.flatnonzero(power < power[top] / 2)
    before, after = below[below < top], below[below > top]
    begin = t[before[-1]] if len(before) else t[0]
    end = t[after[0]] if len(after) else t[-1]
    return float(end - begin)
