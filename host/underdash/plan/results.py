"""What a plan consists of: plain results, in SI units, that text, JSON and page are made from."""

from dataclasses import dataclass

from underdash.carfile.model import Cable, CarFile, Load
from underdash.wire.gauge import Gauge

# From the gravest to the reassuring, as in a review.
WEIGHTS = ("act", "watch", "note", "well")


@dataclass(frozen=True)
class Finding:
    """One thing to know, in plain words."""

    weight: str
    """One of WEIGHTS."""
    text: str
    """What is so, and what would mend it."""
    evidence: str
    """The figures that it rests on."""
    line: int = 0
    """Line of the car file that it is about; 0 for none."""


# -- budget -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Balance:
    """Output against demand at one speed in one situation, hot and cold. All amps at 13.5 V [A]."""

    speed: str
    """`hot idle`, `fast idle` or `cruise`."""
    engine_rpm: float
    situation: str
    """`day`, `night` or `night and rain`."""
    hot_a: float
    """Output available hot [A]."""
    cold_a: float
    """Output available cold [A]."""
    sustained_a: float
    """Demand on average: each load's amps times its duty [A]."""
    peak_a: float
    """Everything that can be on together, at its steady draw [A]."""
    inrush_a: float
    """`peak_a` with the worst single inrush on top [A]."""
    inrush_of: str
    """The load that has that inrush; empty if none."""
    loads: tuple[tuple[Load, float], ...]
    """What is on, each with its share of `sustained_a` [A], the largest first."""

    @property
    def margin_a(self) -> float:
        """Hot output less sustained demand [A]; below zero the battery makes up for it."""
        return self.hot_a - self.sustained_a

    @property
    def margin_share(self) -> float:
        """`margin_a` as a share of the sustained demand."""
        return self.margin_a / self.sustained_a if self.sustained_a else float("inf")


@dataclass(frozen=True)
class Shortfall:
    """What becomes of the battery where hot output is below demand, by the electrical model of `underdash.car`."""

    balance: Balance
    bus_v: float
    """Volts that the bus settles at, sustained demand, battery nearly full, its surface charge gone [V]."""
    battery_a: float
    """Out of the battery at those volts, on average [A]: positive."""
    least_a: float
    """The same with what a thermal switch turns on (the fan) off [A]; 0 if that is no shortfall."""
    most_a: float
    """The same with it on [A]."""
    to_75_min: float
    """Minutes of it from full to 75 % [min]."""
    to_50_min: float
    """From full to 50 % [min]."""


@dataclass(frozen=True)
class Remedy:
    """One change that alone would close a shortfall, margin included; or none can."""

    kind: str
    """`idle speed`, `pulley ratio`, `rated output` or `load`."""
    now: float
    needed: float | None
    """None if no sensible value does it; `text` says why."""
    unit: str
    text: str


@dataclass(frozen=True)
class Cycling:
    """What a day of traffic lights costs the battery. An estimate."""

    situation: str
    stops: int
    t_s: tuple[float, ...]
    """Times of the simulated stretch [s]."""
    charge: tuple[float, ...]
    """State of charge at these times [0..1]."""
    cycles: tuple[tuple[float, float], ...]
    """(depth as a share of capacity, how many), as ASTM E1049 counts them, the deepest first."""
    discharged_ah: float
    """Out of the battery in that day [Ah]."""
    life_share: float
    """Share of a starter battery's cycle life that the day uses up: an estimate."""


@dataclass(frozen=True)
class Budget:
    """The whole load budget."""

    balances: tuple[Balance, ...]
    """Each speed in each situation, speeds outermost."""
    shortfalls: tuple[Shortfall, ...]
    """The worst first."""
    remedies: tuple[Remedy, ...]
    """For the worst shortfall; empty without one."""
    cycling: tuple[Cycling, ...]
    """One for each situation."""
    curve_rpm: tuple[float, ...]
    """Engine speeds of the two curves below, for the picture [rev/min]."""
    curve_hot_a: tuple[float, ...]
    curve_cold_a: tuple[float, ...]
    findings: tuple[Finding, ...]


# -- cables -----------------------------------------------------------------------------------


GRAVITY = ("ampacity", "fuse", "load on the fuse")
"""Tests whose failing weighs more than a lost volt, the gravest first."""


@dataclass(frozen=True)
class Criterion:
    """One test of a cable: it passes if `value` is at most `limit`."""

    name: str
    """`ampacity`, `fuse` (rating against copper), `load on the fuse` (least rating against its own), `path drop` (the
    whole charge path's), `drop` (its own) or `crank drop` (its own, while the starter turns)."""
    value: float
    limit: float
    unit: str
    smallest: Gauge | None
    """The smallest gauge of the same system that passes; None if none does, or if size does not matter to it."""

    @property
    def passed(self) -> bool:
        return self.value <= self.limit

    @property
    def used(self) -> float:
        """`value` as a share of `limit`."""
        return self.value / self.limit if self.limit > 0.0 else float("inf")


@dataclass(frozen=True)
class FuseAdvice:
    """What may protect a cable (33 CFR 183.455): the least that carries the load, the most that protects the copper."""

    least_a: float
    most_a: float
    choice_a: float | None
    """A standard rating between the two [A]; None if there is none: the cable must be larger."""
    place: str
    """Where it goes, in words."""
    ends: tuple[str, ...] = ()
    """The ends where it goes, the one that is fed hardest first; two where both are fed."""


@dataclass(frozen=True)
class CableResult:
    """One cable of the file, sized."""

    cable: Cable
    amps: float
    """Sustained [A]."""
    brief_amps: float
    """With inrush, or while cranking [A]: for the drop, not for ampacity."""
    table_a: float | None
    """33 CFR 183.425 Table 5 at 30 C, alone [A]; None where the file states a resistance only."""
    factors: tuple[tuple[str, float], ...]
    """(what, factor): ambient or engine space, bundle."""
    ampacity_a: float | None
    """`table_a` with its factors [A]."""
    ohm: float
    """At working temperature, joints included [ohm]."""
    conductor_c: float | None
    """Conductor at the sustained current: an estimate [C]."""
    drop_v: float
    """Lost in this cable at `drop_amps` [V], at the sustained current if there is no drop test."""
    criteria: tuple[Criterion, ...]
    smallest: Gauge | None
    """The smallest gauge that passes every test."""
    decided_by: str
    """Name of the test that decided `smallest`; empty if nothing did."""
    by_insulation: tuple[tuple[int, float], ...]
    """(insulation class [C], what it allows at this gauge here [A]) for all seven classes that outlast the ambient."""
    fuse: FuseAdvice | None
    """None on the ground side, for a starter cable, and where nothing sustained flows."""
    findings: tuple[Finding, ...]
    drop_amps: float = 0.0
    """Current of the harder drop test, cranking aside: what it feeds is on, or its part of the full hot output while
    the whole path is tested [A]; 0 if there is none."""
    crank_amps: float = 0.0
    """The starter's current in it [A]; 0 if it is no starter cable."""
    crank_v: float = 0.0
    """Lost in it at `crank_amps` [V]."""
    alone_a: float = 0.0
    """The most that flows lastingly if one other cable opens [A]; 0 where that is not clearly more than `amps`."""
    opened: str = ""
    """That one."""

    @property
    def used(self) -> float:
        """The hardest-used test's share; 0 without any."""
        return max((criterion.used for criterion in self.criteria), default=0.0)

    @property
    def ranked(self) -> tuple[Criterion, ...]:
        """Its tests: those that fail first, a fire risk before a lost volt; then the hardest-used first."""
        order = {name: rank for rank, name in enumerate(GRAVITY)}
        return tuple(
            sorted(self.criteria, key=lambda c: (c.passed, 0 if c.passed else order.get(c.name, len(order)), -c.used))
        )


@dataclass(frozen=True)
class Circuit:
    """One load's supply and ground together."""

    load: Load
    amps: float
    supply_v: float
    """Lost on the supply side, from the bus to the load [V]."""
    ground_v: float
    """Lost on the ground side, from the load to the body [V]."""
    limit_v: float
    """What both may lose together [V]."""
    supply_known: bool = True
    """False where the file has no cable of it on the supply side."""
    ground_known: bool = True
    """False where it has none on the ground side."""


@dataclass(frozen=True)
class Cranking:
    """What the cables lose together while the starter turns the engine."""

    amps: float
    supply_ohm: float | None
    """Battery to starter [ohm]; None where nothing leads there."""
    ground_ohm: float | None
    """Engine to the battery's negative post [ohm]; None where nothing leads there."""

    @property
    def volts(self) -> float:
        """Lost on both sides together [V]."""
        return self.amps * ((self.supply_ohm or 0.0) + (self.ground_ohm or 0.0))


@dataclass(frozen=True)
class Cables:
    """Every cable, the hardest-used first, and each load's circuit where the file has its cables."""

    results: tuple[CableResult, ...]
    """Those that fail a test first, a fire risk before a lost volt; then the hardest-used first."""
    circuits: tuple[Circuit, ...]
    findings: tuple[Finding, ...]
    cranking: Cranking | None = None
    """None where neither side connects."""
    """Those of the cables too."""


# -- charge path, ground, ammeter ---------------------------------------------------------------


@dataclass(frozen=True)
class Drop:
    """Volts between two places at a current."""

    name: str
    """Such as `alternator to battery`, in words."""
    start: str
    end: str
    amps: float
    ohm: float
    volts: float
    limit_v: float | None


@dataclass(frozen=True)
class ChargePath:
    """From the alternator to the battery and back, at full hot output at cruise, nearly all of it charging."""

    output_a: float
    drops: tuple[Drop, ...]
    """Supply side, ground side, engine to body."""
    set_point_v: float
    """At the regulator, hot [V]."""
    battery_v: float
    """What is left between the battery's posts [V]."""
    sensed_at_battery_v: float
    """The same if the regulator sensed its volts at the battery [V]."""
    ground_without_added_v: float | None
    """The ground side's drop without the ground cables that the conversion adds [V]; None where nothing else leads
    from the engine to the battery's negative post."""
    ground_shares: tuple[tuple[str, float], ...]
    """(name of a ground cable, share of the alternator's return current in it), the largest first."""
    findings: tuple[Finding, ...]
    sensed_at_alternator_v: float = 0.0
    """What is left between the battery's posts if the regulator senses at the alternator's own post [V]."""
    bus_over_battery_v: float = 0.0
    """The bus above the battery's positive post at that current [V]."""


@dataclass(frozen=True)
class Needle:
    """What the dash ammeter shows in one case. Positive: towards the battery."""

    case: str
    """In words, such as `battery gives 20 A at hot idle`."""
    alternator_a: float
    loads_a: float
    battery_a: float
    """Positive when it charges [A]."""
    before_a: float
    """Through the meter before the conversion's cables are added [A]."""
    after_a: float
    """After [A]."""
    starter_a: float = 0.0
    """What the starter takes in this case [A]."""


@dataclass(frozen=True)
class AmmeterShare:
    """The dash ammeter as one branch of a parallel path."""

    meter_path_ohm: float
    """Alternator to the battery's side by way of the meter [ohm]."""
    other_path_ohm: float | None
    """The same by what the conversion adds [ohm]; None if it adds nothing."""
    before_share: float
    """Share of a charging current, alternator to battery, that goes through the meter before."""
    after_share: float
    """And after; the two paths' shares sum to one."""
    needles: tuple[Needle, ...]
    loop_a: float
    """The most that the old loop carries after, over the cases [A]."""
    loop_alone_a: float
    """And if the charge cable or its fuse opens: all of it [A]."""
    loop_ampacity_a: float | None
    """What its weakest cable allows [A]; None if no cable of it has a gauge."""
    verdict: str
    """`leave`, `fuse` or `remove`, the finding says why."""
    findings: tuple[Finding, ...]
    before_known: bool = True
    """False where the file's wiring without what the conversion adds joins alternator, loads and battery by no way:
    then `before_share` and each `before_a` are 0 and say nothing."""


@dataclass(frozen=True)
class Plan:
    """Everything that `underdash plan` says of a car."""

    car: CarFile
    budget: Budget
    cables: Cables
    charge_path: ChargePath
    ammeter: AmmeterShare | None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All of them, the gravest first."""
        parts = (*self.budget.findings, *self.cables.findings, *self.charge_path.findings)
        mine = self.ammeter.findings if self.ammeter else ()
        return tuple(sorted((*parts, *mine), key=lambda finding: WEIGHTS.index(finding.weight)))
