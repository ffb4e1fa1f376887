"""`underdash calibrate volts` at the bench: points one by one, each to be had again, then line, store, proof.

Nothing here knows a terminal: a Desk is told and asked, so a test can play the person.
"""

from dataclasses import dataclass

from underdash.calibrate import checks
from underdash.calibrate.checks import Nominal, Refusal
from underdash.calibrate.desk import Desk, answer, until_right
from underdash.calibrate.fit import Line
from underdash.calibrate.gauge import SAMPLES, Gauge, Steady
from underdash.calibrate.meter import SYNTAX, Meter, parse
from underdash.calibrate.points import Point, number
from underdash.calibrate.uncertainty import expected_of
from underdash.problems import UsageError

TARGETS = (11.8, 12.6, 13.5, 14.4, 15.4)  # [V] clear of the wide codes, 11.3 to 11.4 and near 15.9 V
VERIFY_TARGETS = (13.0, 14.0, 12.2, 14.9)  # the first that is no point is asked for
STILL = 0.003  # [V] scatter and drift of a steady reading
NEAR = 0.3  # [V] from the target, by the nominal divider
MOVED = 0.004  # [V] between before and after the meter was read
BENCH = (
    "At the bench, not in the car: board and front end on a supply with a current limit of 0.3 A, never above 16 V.",
    "The meter's leads at the front end's supply and ground terminals, not at the supply: leads drop millivolts.",
    "Supply and board on for 15 minutes first. The USB cable may stay plugged in.",
)
_KEYS = "Enter: measure again, r: redo the point before, q: leave"


@dataclass(frozen=True)
class Proof:
    """The reading after the store. meter and shown [V]; limit [V] that their difference must keep."""

    how: str
    meter: float
    shown: float
    limit: float

    @property
    def difference(self) -> float:
        return self.shown - self.meter


class _Back(Exception):
    """The point before is to be taken again."""


def targets_from(text: str) -> tuple[float, ...]:
    """Volts [V] to take points at, from `11.8,12.6,15.4`. UsageError that names what is wrong."""
    try:
        found = tuple(number(part) for part in text.replace(";", ",").split(",") if part.strip())
    except ValueError as problem:
        raise UsageError(f"--at {text}: {problem}, divided by commas") from None
    nominal = Nominal()
    for volts in found:
        if not 5.0 <= volts <= 16.0:
            raise UsageError(
                f"--at {text}: {volts:g} V is not from 5 to 16 V; more is a risk for the front end's protection"
            )
        if checks.near_wide(volts, nominal):
            raise UsageError(
                f"--at {text}: the converter is blind for some 40 mV near {volts:g} V; choose 0.2 V more or less"
            )
    if len(found) < 2 or max(found) - min(found) < checks.MIN_SPAN:
        raise UsageError(f"--at {text}: needs at least two voltages, {checks.MIN_SPAN:g} V apart; as 11.8,13.5,15.4")
    return found


def ask_meter(desk: Desk, example: str = "0.1% + 2 digits at 0.001") -> Meter:
    """The meter's class, asked until it is one."""
    desk.say(f"The meter's accuracy class for this range, from its manual: {SYNTAX}.")
    return until_right(desk, f"meter class (as {example}): ", parse)


class VoltsSession:
    """Takes the points. expected: the nominal divider; targets [V]."""

    def __init__(self, desk: Desk, gauge: Gauge, expected: Nominal, meter: Meter, targets: tuple[float, ...]) -> None:
        self.desk = desk
        self.gauge = gauge
        self.expected = expected
        self.meter = meter
        self.targets = targets
        self.points: list[Point] = []

    def run(self) -> Line:
        """Take all points and have them confirmed; `points` are then those of the line. Left if given up."""
        for hint in BENCH:
            self.desk.say(hint)
        while len(self.points) < len(self.targets):
            try:
                self.points.append(self._take(len(self.points)))
            except _Back:
                if self.points:
                    self.points.pop()
                else:
                    self.desk.say("  this is the first point")
        while True:
            try:
                line = checks.check_set(self.points, self.meter, self.expected)
            except Refusal as refusal:
                self.desk.say(f"Refused: {refusal}.")
                self._again(refusal.number, None)
                continue
            self._table(line)
            if not self._again(None, line):
                return line

    def prove(self, line: Line) -> Proof:
        """One more reading, after the store: typed from the meter, against what the board now shows."""
        taken = [point.meter for point in self.points]
        target = next((volts for volts in VERIFY_TARGETS if all(abs(volts - one) > 0.25 for one in taken)), 13.0)
        self.desk.say(
            f"Stored. One more reading, to prove it: set the supply to about {target:g} V, where no point was."
        )
        now = expected_of(line)
        while True:
            found = self._wait(target, now)
            typed = answer(self.desk, "meter reads [V] (Enter: measure again, q: undo and leave): ")
            if not typed:
                continue
            try:
                point = Point(number(typed), typed, found.code, found.reading, found.spread, found.count, "bench")
                checks.check_point(point, self.expected)
            except (ValueError, Refusal) as problem:
                self.desk.say(f"  {problem}")
                continue
            shown = self.gauge.shown("bus_mv", SAMPLES // 2) / 1000.0
            proof = Proof("typed from the meter at another voltage", point.meter, shown, self.proof_limit(point, line))
            said = (
                f"board {shown:.3f} V, meter {typed} V, difference {proof.difference * 1e3:+.1f} mV (limit "
                f"{proof.limit * 1e3:.1f})"
            )
            if abs(proof.difference) <= proof.limit:
                self.desk.say(f"  {said}")
                return proof
            self.desk.say(f"  {said}: too far. Read the meter again, or leave: then the old calibration comes back.")

    def proof_limit(self, point: Point, line: Line) -> float:
        """By how much [V] the board may miss a point that the line has not seen."""
        step = checks.resolution([*self.points, point], self.meter)
        near = checks.off_limit(point, line.gain, self.meter, step)
        return float(near * (1 + float(line.leverage(point.reading))) ** 0.5) + 0.001

    # -- inside -------------------------------------------------------------------------------

    def _take(self, index: int) -> Point:
        """One point, measured until it is one. _Back for the point before."""
        target = self.targets[index]
        self.desk.say(f"Point {index + 1} of {len(self.targets)}: set the supply to about {target:g} V.")
        while True:
            found = self._wait(target, self.expected)
            typed = answer(self.desk, f"meter reads [V] ({_KEYS}): ")
            if not typed:
                continue
            if typed.lower() == "r":
                raise _Back
            try:
                meter = number(typed)
            except ValueError as problem:
                self.desk.say(f"  {problem}")
                continue
            after = self.gauge.take(SAMPLES // 2)
            moved = abs(after.reading - found.reading) * self.expected.gain
            if moved > MOVED:
                self.desk.say(
                    f"  the supply moved by {moved * 1e3:.0f} mV while you read (limit {MOVED * 1e3:.0f}); again"
                )
                continue
            point = Point(meter, typed, found.code, found.reading, found.spread, found.count, "bench")
            try:
                checks.check_point(point, self.expected, index + 1)
            except Refusal as refusal:
                self.desk.say(f"Refused: {refusal}.")
                continue
            few = self.meter.too_few(typed)
            if few:
                self.desk.say(f"  note: {few}. Taken as typed; r at the next point takes this one again.")
            return point

    def _wait(self, target: float, line: Nominal) -> Steady:
        def show(found: Steady, still: bool) -> None:
            word = "steady" if still else "waiting"
            self.desk.live(
                f"  board about {line.volts(found.reading):7.3f} V, scatter "
                f"{found.spread * line.gain * 1e3:4.1f} mV, {word}"
            )

        found = self.gauge.steady(
            STILL / line.gain, show, lambda found: abs(line.volts(found.reading) - target) <= NEAR
        )
        volts = line.volts(found.reading)
        note = "" if abs(volts - target) <= NEAR else f", not near {target:g} V: take it here if it is meant so"
        self.desk.say(f"  steady: about {volts:.3f} V by the board{note}")
        return found

    def _table(self, line: Line) -> None:
        self.desk.say(f"gain {line.bus_gain_nv} nV per unit, zero {line.bus_zero} units")
        self.desk.say("point  meter [V]  board's reading  residual [mV]")
        for index, point in enumerate(self.points):
            self.desk.say(f"{index + 1:5} {point.text:>10} {point.reading:16.1f} {line.residuals[index] * 1e3:+14.2f}")

    def _again(self, which: int | None, line: Line | None) -> bool:
        """Take a point again: `which`, or the one that is chosen. False if all are to stay as they are."""

        def read(typed: str) -> int:
            if not typed and (line is not None or which is not None):
                return which or 0
            if typed.isdigit() and 1 <= int(typed) <= len(self.points):
                return int(typed)
            raise ValueError(f"type a number from 1 to {len(self.points)}")

        if line is not None:
            question = "Enter to accept, a point's number to take it again, q to leave: "
        elif which is not None:
            question = f"Enter to take point {which} again, or another number, q to leave: "
        else:
            question = f"which point shall be taken again (1 to {len(self.points)}), q to leave: "
        chosen = until_right(self.desk, question, read)
        if not chosen:
            return False
        while True:
            try:
                self.points[chosen - 1] = self._take(chosen - 1)
                return True
            except _Back:
                self.desk.say("  points can be chosen by number once this one is taken")
