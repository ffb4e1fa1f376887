"""The cases that a front end must survive: a waveform, how the board is wired in it, what is expected of it."""

from collections.abc import Callable
from dataclasses import dataclass, field

from underdash.frontend import waveforms
from underdash.frontend.corners import COLD, HOT
from underdash.frontend.waveforms import Waveform

RUNS, MAY_RESET = "runs", "may reset"


@dataclass(frozen=True)
class Usb:
    """A computer on the board's USB. on: it gives 5.25 V (USB 2.0, from memory), else nothing.
    after [s]: it is plugged in then. grounded: its ground leads to the car's body."""

    on: bool = True
    after: float = 0.0
    grounded: bool = True

    def source(self) -> str:
        volts = 5.25 if self.on else 0.0
        return f"PWL(0 0 {self.after:g} 0 {self.after + 1e-5:g} {volts:g})" if self.after else f"{volts:g}"


@dataclass(frozen=True)
class Case:
    """One case.

    ignition, lamps: the wire is at "battery", at the "body" (through other loads) or "open". grounded:
    the board's ground wire is whole. clamp: "plugged", "unplugged", or its output at "battery" volts.
    asleep: the board is. buzzer: it sounds. opened: kinds of parts that are out; shorted: the suppressors
    at these nodes have failed short. expect: what the board must do. celsius: temperatures that the case
    can meet [C]. normal: nothing unusual happens, so no suppressor may conduct. sags: the volts only fall,
    so that corners which let most through say nothing.
    """

    name: str
    title: str
    waveform: Waveform = field(repr=False)
    ignition: str = "battery"
    lamps: str = "battery"
    grounded: bool = True
    clamp: str = "plugged"
    usb: Usb | None = None
    asleep: bool = False
    buzzer: bool = False
    opened: tuple[str, ...] = ()
    shorted: tuple[str, ...] = ()
    expect: str = RUNS
    celsius: tuple[float, float] = (COLD, HOT)
    normal: bool = False
    sags: bool = False

    @property
    def ends(self) -> float:
        """[s]"""
        return self.waveform.ends

    @property
    def step(self) -> float:
        """The longest time step [s]."""
        return min(self.ends / 400, 0.1)


def _plain(waveform: Waveform, **more: object) -> Case:
    return Case(waveform.name, waveform.title, waveform, **more)  # type: ignore[arg-type]


# A computer is not used outside these [C] (common practice, no source).
_DESK = (0.0, 50.0)
_DEAD: dict[str, object] = {"opened": ("fuse",), "expect": MAY_RESET}


def cases() -> list[Case]:
    """All of them, in the order of the table."""
    dump = waveforms.load_dump_a
    running: Callable[[], Waveform] = waveforms.running
    return [
        _plain(running(), normal=True, buzzer=True),
        _plain(dump(True)),
        _plain(dump(False)),
        _plain(dump(True, 0.04)),
        _plain(waveforms.load_dump_b()),
        _plain(waveforms.pulse_1(), expect=MAY_RESET),
        _plain(waveforms.pulse_2a()),
        _plain(waveforms.pulse_3a()),
        _plain(waveforms.pulse_3b()),
        _plain(waveforms.jump_start(), buzzer=True),
        _plain(waveforms.overvoltage(), buzzer=True, celsius=(COLD, HOT - 20.0)),
        _plain(waveforms.reverse(), expect=MAY_RESET),
        *(_plain(waveforms.crank(level), sags=True, expect=MAY_RESET if level == "III" else RUNS)
          for level in ("I", "II", "III", "IV")),
        _plain(waveforms.momentary_drop(), sags=True),
        _plain(waveforms.slow_ramp(), sags=True, expect=MAY_RESET),
        _plain(waveforms.reset_steps(), sags=True, expect=MAY_RESET),
        Case("ground-lost", "board's ground wire broken, load dump A", dump(True), grounded=False, expect=MAY_RESET),
        Case("ground-lost-usb", "ground wire broken, USB to a grounded computer, load dump A", dump(True),
             grounded=False, usb=Usb(), celsius=_DESK),
        Case("ground-lost-key", "ground wire broken, key wire pulled to the body, load dump A", dump(True),
             grounded=False, ignition="body", lamps="body", expect=MAY_RESET),
        Case("fuse-pulled", "fuse F1 out, key on, load dump A on its wire", dump(True), **_DEAD),  # type: ignore[arg-type]
        Case("fuse-pulled-jump", "fuse F1 out, key on, 24 V", waveforms.jump_start(), **_DEAD),  # type: ignore[arg-type]
        Case("clamp-unplugged", "clamp unplugged, load dump A", dump(True), clamp="unplugged"),
        Case("clamp-shorted", "clamp's output at battery volts, 24 V", waveforms.jump_start(), clamp="battery"),
        Case("clamp-shorted-asleep", "clamp's output at 16 V, board asleep, parking lamps lit", running(),
             clamp="battery", asleep=True, ignition="open"),
        Case("clamp-shorted-dead", "clamp's output at 24 V, fuse F1 out", waveforms.jump_start(), clamp="battery",
             **_DEAD),  # type: ignore[arg-type]
        Case("usb-live", "USB plugged in while the car is live", running(), usb=Usb(after=2.0), celsius=_DESK),
        Case("usb-off-live", "USB to a computer that is off, car live", running(), usb=Usb(on=False), celsius=_DESK),
        Case("usb-dump", "USB plugged in, load dump A", dump(True), usb=Usb(), celsius=_DESK),
        Case("d1-shorted", "D1 failed short, 16 V", running(), shorted=("limited",), expect=MAY_RESET),
    ]  # fmt: skip
