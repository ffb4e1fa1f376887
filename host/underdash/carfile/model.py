"""What a car file says, in SI units, once it has been read and checked (docs/car-file.md).

Places are names that cables run between. Five have a meaning of their own: `alternator`, `starter` and
`battery` are output post, starter's post and positive post; `engine` is the block, where alternator and starter are
grounded; `ground` is the battery's negative post; `body` is the sheet metal that the loads return through.
"""

from dataclasses import dataclass, field
from pathlib import Path

from underdash.wire.gauge import Gauge

NOMINAL_V = 13.5
"""Volts at which a load's amps and an alternator's output are stated [V]."""

# When a load is on: at any time, parked too; with the engine running; and so on. `brief` is by the driver's hand.
PARKED, ALWAYS, HOT_IDLE, NIGHT, RAIN, BRIEF = "parked", "always", "hot idle", "night", "rain", "brief"
CONDITIONS = (PARKED, ALWAYS, HOT_IDLE, NIGHT, RAIN, BRIEF)

ALTERNATOR, STARTER, BATTERY = "alternator", "starter", "battery"
ENGINE, GROUND, BODY = "engine", "ground", "body"

SUPPLY_SIDE, GROUND_SIDE = "supply", "ground"
# What a cable can carry, beside loads by name and stated amps.
CHARGE, ALL_LOADS, CRANK, LOOP = "charge", "loads", "crank", "ammeter loop"


@dataclass(frozen=True)
class Engine:
    """Speeds of the crankshaft [rev/min]."""

    hot_idle_rpm: float
    fast_idle_rpm: float
    cruise_rpm: float

    def speeds(self) -> dict[str, float]:
        """{`hot idle`, `fast idle`, `cruise`: [rev/min]}."""
        return {"hot idle": self.hot_idle_rpm, "fast idle": self.fast_idle_rpm, "cruise": self.cruise_rpm}


@dataclass(frozen=True)
class Alternator:
    """The machine and its regulator. The curves are of the machine's own speed, at 13.5 V."""

    rated_a: float
    """Output at high speed, hot [A]; what the class curve is scaled to."""
    pulley_ratio: float
    """Alternator turns for each engine turn."""
    curve_rpm: tuple[float, ...]
    """Alternator speeds [rev/min], rising; the first is where output begins."""
    hot_a: tuple[float, ...]
    """Output at each speed, hot [A], never falling."""
    cold_a: tuple[float, ...]
    """The same, cold [A]."""
    set_point_v: float
    """Regulated volts at 20 C [V]."""
    slope_v_per_k: float
    """Change of the set point with the regulator's temperature [V/K]."""
    senses: str = ALTERNATOR
    """Place where the regulator senses its volts: `alternator` or `battery`."""
    curve_source: str = ""
    """Where the curve comes from, in words."""


@dataclass(frozen=True)
class Battery:
    """A 12 V lead-acid battery."""

    kind: str
    """`flooded` or `agm`."""
    capacity_ah: float
    """Capacity at the 20 h rate [Ah]."""
    internal_ohm: float
    """Post to post [ohm]."""
    cca_a: float | None = None
    """Cold cranking amps [A], where known."""
    charge: float = 0.94
    """State of charge that the virtual car's evening begins with [0..1]."""


@dataclass(frozen=True)
class Load:
    """Something that draws current; several alike are one load."""

    name: str
    amps: float
    """Steady draw at 13.5 V [A]."""
    when: frozenset[str]
    """Conditions under each of which it is on, of CONDITIONS."""
    duty: float = 1.0
    """Share of that time in which it draws [0..1]."""
    constant_power: bool = False
    """True for electronics with a supply of their own; lamps, heaters and motors are resistances."""
    inrush: float = 1.0
    """Draw at switch-on, as a multiple of the steady one."""
    inrush_s: float = 0.1
    """Time constant of the inrush [s]."""
    coolant_switch: bool = False
    """True for what a thermal switch in the coolant turns on and off: fans, which the virtual car switches together."""
    source: str = ""
    """Where the amps come from, in words."""
    line: int = 0
    """Line of the file."""

    @property
    def watts(self) -> float:
        """Steady draw at 13.5 V [W]."""
        return self.amps * NOMINAL_V


@dataclass(frozen=True)
class Cable:
    """A conductor between two places, or a stated resistance: an engine's mounts, an unknown strap."""

    name: str
    start: str
    end: str
    side: str
    """SUPPLY_SIDE or GROUND_SIDE."""
    carries: tuple[str, ...] = ()
    """CHARGE, ALL_LOADS, CRANK, LOOP or names of loads; empty where `stated_a` is given or nothing is known to flow."""
    stated_a: float | None = None
    """Amps that the file states itself [A]."""
    length_m: float = 0.0
    """One way [m]."""
    gauge: Gauge | None = None
    """None where only the resistance is stated: nothing can be sized then."""
    insulation_c: float = 0.0
    """Temperature rating of the insulation [C]; 0 without a gauge."""
    ambient_c: float = 30.0
    """Air around it [C]: 50 in an engine space by 33 CFR 183.425, more where measured."""
    bundle: int = 1
    """Current-carrying conductors that run together, this one included."""
    joints_ohm: float = 0.0
    """Lugs, clamps and the like [ohm]."""
    stated_ohm: float | None = None
    """The whole resistance where the file states it [ohm]."""
    drop_limit_v: float | None = None
    """Volts it may lose, instead of the limits' own [V]."""
    fuse_a: float | None = None
    """Rating of the fuse at its source, where there is one [A]."""
    added: bool = False
    """True for what the conversion adds: `before` is the car without it."""
    line: int = 0
    """Line of the file."""


@dataclass(frozen=True)
class Ammeter:
    """The dash ammeter, a conductor like any other; its needle goes to + with current from `start` to `end`."""

    start: str
    end: str
    resistance_ohm: float
    full_scale_a: float
    smallest_a: float
    """The least that an eye sees on its scale [A]."""
    line: int = 0


@dataclass(frozen=True)
class Limits:
    """The voltage drops that the owner accepts, and how hard a battery may be used."""

    charge_supply_v: float = 0.2
    """Alternator's output post to battery's positive post at full output [V]."""
    charge_ground_v: float = 0.2
    """Alternator's case to battery's negative post at full output [V]."""
    load_share: float = 0.03
    """Supply and ground of one load together, as a share of 12 V."""
    crank_v: float = 0.5
    """Each starter cable [V]."""
    margin_share: float = 0.1
    """Output that should be left over at hot idle, as a share of the demand."""


@dataclass(frozen=True)
class CarFile:
    """A whole car file."""

    name: str
    path: Path
    engine: Engine
    alternator: Alternator
    battery: Battery
    bus: str
    """Place where the loads, and the monitor, are connected."""
    starter_a: float
    """Current while it turns the engine [A]."""
    loads: tuple[Load, ...]
    cables: tuple[Cable, ...]
    ammeter: Ammeter | None = None
    limits: Limits = field(default_factory=Limits)
    thresholds: dict[str, int] = field(default_factory=dict)
    """The board's thresholds that differ from the defaults, as in a settings file [mV], [ms]."""
    lights_a_day: int = 60
    """Stops at lights in a day, for the cycling that they cost."""
    light_s: float = 30.0
    """Standing at each [s]."""
    between_s: float = 60.0
    """Driving between them [s]."""
