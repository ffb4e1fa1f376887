"""The story the virtual car lives through, as data. All of it is invented for the demo."""

from dataclasses import dataclass, field, replace

from underdash.car.from_file import Car, build
from underdash.carfile import example
from underdash.carfile.model import ALWAYS, BRIEF, HOT_IDLE, NIGHT, PARKED, RAIN, CarFile


def demo_car() -> Car:
    """The car of the file that is shipped."""
    return build(example())


@dataclass(frozen=True)
class Phase:
    """A stretch of the story in which the driver changes nothing."""

    name: str
    length_s: float
    rpm: float = 0.0
    """Engine speed once the ramp is over [rev/min]."""
    on: tuple[str, ...] = ()
    """Conditions that hold (`carfile.model`), so which loads are on; the fan is the coolant's own business."""
    speed_mps: float = 0.0
    """Road speed, which cools the radiator [m/s]."""
    ambient_c: float = 24.0
    crank: bool = False
    ramp_s: float = 1.0
    """Time from the previous engine speed to this one [s]."""


@dataclass(frozen=True)
class Scenario:
    """A car and the phases it goes through."""

    name: str
    phases: tuple[Phase, ...]
    car: Car = field(default_factory=demo_car)

    @property
    def length_s(self) -> float:
        """Whole length [s]."""
        return sum(phase.length_s for phase in self.phases)


IDLE_RPM, FAST_IDLE_RPM, CRUISE_RPM = 800.0, 1250.0, 2300.0  # the phases below are of a car with these
STANDING = (PARKED,)
DAY = (PARKED, ALWAYS)
STOPPED = (*DAY, HOT_IDLE)
DUSK = (*DAY, NIGHT)
WET = (*DUSK, RAIN)
EVERYTHING = (*WET, HOT_IDLE)


def _town(name: str, *legs: tuple[float, float, float]) -> tuple[Phase, ...]:
    """Legs of (driving [s], standing [s], windows moving meanwhile [s]).

    The windows make a tired idle sag, so that for these seconds the battery helps out.
    """
    phases: list[Phase] = []
    for driving_s, standing_s, windows_s in legs:
        phases.append(Phase(name, driving_s, 1900.0, DAY, speed_mps=11.0, ramp_s=2.0))
        stop = Phase(f"{name} stop", standing_s, IDLE_RPM, STOPPED)
        if windows_s:
            moving = replace(stop, length_s=windows_s, rpm=590.0, on=(*STOPPED, BRIEF), ramp_s=0.3)
            after = replace(stop, length_s=standing_s - 6.0 - windows_s, ramp_s=0.3)
            phases += [replace(stop, length_s=6.0), moving, after]
        else:
            phases.append(stop)
    return tuple(phases)


def _traffic(standing_s: float, creeping_s: float, times: int) -> tuple[Phase, ...]:
    stand = Phase("traffic", standing_s, IDLE_RPM, STOPPED)
    creep = Phase("traffic creep", creeping_s, 1100.0, DAY, speed_mps=1.5)
    return (stand, creep) * times


_DRIVE = (
    Phase("rest", 300.0, on=STANDING),
    Phase("key on", 3.0, on=DAY),
    Phase("crank", 0.9, 170.0, DAY, crank=True, ramp_s=0.2),
    Phase("fast idle", 75.0, FAST_IDLE_RPM, DAY, ramp_s=0.9),
    Phase("warm-up", 61.1, 1050.0, DAY, ramp_s=4.0),
    *_town(
        "town",
        (70.0, 24.0, 0.0),
        (45.0, 31.0, 0.0),
        (85.0, 18.0, 0.0),
        (38.0, 27.0, 2.8),
        (96.0, 22.0, 0.0),
        (52.0, 35.0, 0.0),
    ),
    Phase("day cruise", 1080.0, CRUISE_RPM, DAY, speed_mps=24.0, ramp_s=4.0),
    *_town("suburb", (60.0, 33.0, 3.0), (75.0, 20.0, 0.0), (64.0, 28.0, 2.4), (57.0, 21.0, 0.0)),
    *_traffic(82.0, 7.0, 11),
    Phase("dusk cruise", 300.0, CRUISE_RPM, DUSK, speed_mps=24.0, ambient_c=20.0, ramp_s=4.0),
    Phase("rain cruise", 420.0, CRUISE_RPM, WET, speed_mps=22.0, ambient_c=19.0),
    Phase("night idle", 1200.0, IDLE_RPM, EVERYTHING, ambient_c=19.0, ramp_s=0.6),
    Phase("night cruise", 960.0, CRUISE_RPM, DUSK, speed_mps=22.0, ambient_c=18.0),
    Phase("home", 240.0, 2000.0, DUSK, speed_mps=14.0, ambient_c=18.0),
    Phase("parking", 14.0, IDLE_RPM, DUSK, ambient_c=18.0),
)

EVENING = Scenario(
    "evening",
    (*_DRIVE, Phase("parked", 7200.0 - sum(p.length_s for p in _DRIVE), on=STANDING, ambient_c=18.0)),
)
"""Two hours, from a cold start to the next rest; see docs/car-model.md."""


def evening(car: CarFile) -> Scenario:
    """The same evening in another car: its own idle, fast idle and cruise, its own loads."""
    speeds = {
        IDLE_RPM: car.engine.hot_idle_rpm,
        FAST_IDLE_RPM: car.engine.fast_idle_rpm,
        CRUISE_RPM: car.engine.cruise_rpm,
    }
    phases = tuple(replace(phase, rpm=speeds.get(phase.rpm, phase.rpm)) for phase in EVENING.phases)
    return Scenario(f"evening of {car.name}", phases, build(car))
