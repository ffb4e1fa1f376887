"""`underdash calibrate amps` at the bench: zero, a current each way with a zero after it, line, store, proof."""

from underdash.calibrate import amps
from underdash.calibrate.amps import Found
from underdash.calibrate.checks import Nominal, Refusal
from underdash.calibrate.desk import Desk, answer, until_right
from underdash.calibrate.gauge import SAMPLES, Gauge, Steady
from underdash.calibrate.meter import Meter
from underdash.calibrate.points import Point, number
from underdash.calibrate.session import Proof

STILL = 0.1  # [A] scatter and drift of a steady reading
MOVED = 0.15  # [A] between before and after the meter was read
BENCH = (
    "At the bench, not in the car: the clamp around nothing, or around a wire that carries a known direct current.",
    "Meter in series with the wire, fused; a supply that limits the current. N turns through the hole count N times.",
    (
        "Mark the face of the clamp that will look at the battery's ground post: BATTERY. On the "
        "ground cable, charging current"
    ),
    (
        "comes out of that post; so current that goes in at the face marked BATTERY is charging, and "
        "positive. (On the plus cable"
    ),
    "it is the other way: mark the face that looks away from the battery.)",
    "Feed the front end from its 12 V supply; the sensor's zero and gain follow its 5 V.",
)
# (how the current goes: 0 none, 1 charging, -1 discharging; what to do)
STEPS = (
    (
        0,
        (
            "Take every wire out of the clamp. Open and close it twice, a sharp tap with a finger: so "
            "the core forgets. Keep 50 cm from iron and other cables. Press Enter then."
        ),
    ),
    (1, "Pass a current IN at the face marked BATTERY: charging."),
    (0, "Switch the current off. Leave the clamp as it is, and press Enter."),
    (-1, "Turn the wire (or its ends) around: the current OUT at the face marked BATTERY: discharging."),
    (0, "Switch the current off. Leave the clamp as it is, and press Enter."),
)


class AmpsSession:
    """Takes the points. expected: the nominal sensor; turns of the wire; bus_zero: the board's."""

    def __init__(self, desk: Desk, gauge: Gauge, expected: Nominal, meter: Meter, turns: int, bus_zero: int) -> None:
        self.desk = desk
        self.gauge = gauge
        self.expected = expected
        self.meter = meter
        self.turns = turns
        self.bus_zero = bus_zero
        self.points: list[Point] = []

    def run(self) -> Found:
        """Take all points and have them confirmed. Left if given up."""
        for hint in BENCH:
            self.desk.say(hint)
        while True:
            self._fill()
            try:
                found = amps.analyse(self.points, self.meter, self.expected, self.bus_zero)
            except Refusal as refusal:
                self.desk.say(f"Refused: {refusal}.")
                self._back_to(
                    refusal.number
                    or self._choose(f"from which point on shall they be taken again (1 to {len(self.points)})")
                )
                continue
            self._table(found)
            chosen = self._choose("Enter to accept, a point's number to take all from there again", accept=True)
            if not chosen:
                return found
            self._back_to(chosen)

    def prove(self, found: Found) -> Proof:
        """One more reading after the store, typed from the meter with its sign."""
        self.desk.say("Stored. One more reading, to prove it: pass a current either way.")
        gain, zero = found.values["clamp_gain_ua"] / 1e6, float(found.values["clamp_zero"])
        while True:
            taken = self._wait(Nominal(abs(gain), zero))
            typed = answer(
                self.desk, "meter reads [A], minus for discharging (Enter: measure again, q: undo and leave): "
            )
            if not typed:
                continue
            try:
                value = number(typed, "A") * self.turns
                point = Point(
                    value,
                    typed,
                    taken.code,
                    taken.reading,
                    taken.spread,
                    taken.count,
                    "bench",
                    self.turns,
                    taken.supply,
                )
                amps.check_point(point, self.expected)
            except (ValueError, Refusal) as problem:
                self.desk.say(f"  {problem}")
                continue
            shown = self.gauge.shown("clamp_ma", SAMPLES // 2) / 1000.0
            proof = Proof(
                "typed from the meter, after the store", value, shown, amps.proof_limit(point, found, self.meter)
            )
            said = (
                f"board {shown:+.2f} A, meter times turns {value:+.2f} A, difference {proof.difference:+.2f} "
                f"A (limit {proof.limit:.2f})"
            )
            if abs(proof.difference) <= proof.limit:
                self.desk.say(f"  {said}")
                return proof
            self.desk.say(
                f"  {said}: too far. Mind the direction, read again, or leave: then the old calibration comes back."
            )

    # -- inside -------------------------------------------------------------------------------

    def _fill(self) -> None:
        while len(self.points) < len(STEPS):
            way, what = STEPS[len(self.points)]
            self.desk.say(f"Point {len(self.points) + 1} of {len(STEPS)}: {what}")
            point = self._zero() if way == 0 else self._load(way)
            if point is not None:
                self.points.append(point)
            elif self.points:
                self.points.pop()

    def _zero(self) -> Point | None:
        while True:
            typed = answer(self.desk, "no current (Enter: measure, r: redo the point before, q: leave): ")
            if typed.lower() == "r":
                return None
            found = self._wait(self.expected)
            point = Point(0.0, "0", found.code, found.reading, found.spread, found.count, "bench", supply=found.supply)
            if self._right(point):
                return point

    def _load(self, way: int) -> Point | None:
        while True:
            typed = answer(self.desk, "flowing steadily (Enter: measure, r: redo the point before, q: leave): ")
            if typed.lower() == "r":
                return None
            found = self._wait(self.expected)
            typed = answer(
                self.desk, f"meter reads [A], once, not times {self.turns} (Enter: measure again, q: leave): "
            )
            if not typed:
                continue
            try:
                value = abs(number(typed, "A"))
            except ValueError as problem:
                self.desk.say(f"  {problem}")
                continue
            after = self.gauge.take(SAMPLES // 2)
            moved = abs(after.reading - found.reading) * self.expected.gain
            if moved > MOVED:
                self.desk.say(f"  the current moved by {moved:.2f} A while you read (limit {MOVED:g}); again")
                continue
            text = typed.lstrip("+-") if way > 0 else "-" + typed.lstrip("+-")
            point = Point(
                way * value * self.turns,
                text,
                found.code,
                found.reading,
                found.spread,
                found.count,
                "bench",
                self.turns,
                found.supply,
            )
            if value == 0:
                self.desk.say("  0 A is no load; pass a current")
            elif self._right(point):
                few = self.meter.too_few(typed)
                if few:
                    self.desk.say(f"  note: {few}. Taken as typed; r at the next point takes this one again.")
                return point

    def _right(self, point: Point) -> bool:
        try:
            amps.check_point(point, self.expected, len(self.points) + 1)
        except Refusal as refusal:
            self.desk.say(f"Refused: {refusal}.")
            return False
        return True

    def _wait(self, line: Nominal) -> Steady:
        def show(found: Steady, still: bool) -> None:
            word = "steady" if still else "waiting"
            volts = line.volts(found.reading)
            self.desk.live(
                f"  clamp about {volts:+7.2f} A from its nominal zero, scatter "
                f"{found.spread * line.gain:4.2f} A, {word}"
            )

        found = self.gauge.steady(STILL / line.gain, show)
        self.desk.say(f"  steady: about {line.volts(found.reading):+.2f} A from the nominal zero")
        return found

    def _table(self, found: Found) -> None:
        values = found.values
        self.desk.say(f"gain {values['clamp_gain_ua']} uA per unit, zero {values['clamp_zero']} units")
        if found.backwards:
            self.desk.say("The sensor counts the other way: the gain gets the minus sign, the clamp may stay as it is.")
        self.desk.say(
            f"zero after charging minus after discharging: {found.hysteresis:+.2f} A; gain differs by "
            f"{found.asymmetry * 100:+.1f} % between the directions"
        )
        self.desk.say("point  through the clamp [A]  clamp's reading  residual [A]")
        for index, point in enumerate(self.points):
            self.desk.say(
                f"{index + 1:5} {point.meter:+22.2f} {point.reading:16.1f} {found.line.residuals[index]:+13.2f}"
            )

    def _choose(self, question: str, accept: bool = False) -> int:
        def read(typed: str) -> int:
            if accept and not typed:
                return 0
            if typed.isdigit() and 1 <= int(typed) <= len(self.points):
                return int(typed)
            raise ValueError(f"type a number from 1 to {len(self.points)}")

        return until_right(self.desk, f"{question}, q to leave: ", read)

    def _back_to(self, number: int) -> None:
        """Points from this one on are taken again: what comes after a load depends on it."""
        del self.points[number - 1 :]
