"""Which fuse protects a cable, and where it goes: 33 CFR 183.455, 46 CFR 183.380(d)."""

from collections.abc import Sequence

from underdash.carfile.model import CHARGE, LOOP, SUPPLY_SIDE, Cable
from underdash.plan.cables.flows import Flow
from underdash.plan.results import FuseAdvice

MOST_SHARE = 1.5
"""Rating over ampacity at most: 33 CFR 183.455(c)(1); 46 CFR 183.380(d) for the next larger standard size.

The law means the table's amps; here it is those with air and bundle taken off, which is more careful.
"""

LOAD_SHARE = 0.8
"""Lasting current over rating at most, for a blade fuse: trade practice, from memory (75 to 80 %)."""

# Blade fuses as two public lists have them (secondary), bolt-down ones above 80 A: common practice, no source.
BLADE = (1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0)
BOLT_DOWN = (100.0, 125.0, 150.0, 175.0, 200.0, 225.0, 250.0, 300.0, 400.0, 500.0)
STANDARD = BLADE + BOLT_DOWN
"""Ratings to choose from [A]."""

_DISTANCE = (
    "where that cannot be, within 7 in (18 cm) of it along the cable, or within 40 in (1 m) if the cable is sheathed "
    "all the way to the fuse (33 CFR 183.455(b))"
)


def place(cable: Cable, ends: Sequence[str]) -> str:
    """Where the fuse of a supply cable goes, in words; `ends` of `plan.cables.sources.fuse_ends`."""
    words = "; ".join([" and ".join(f"at the {end} end" for end in ends), _DISTANCE])
    if len(ends) > 1:
        words += ". The cable is fed from both ends: a fuse at one of them leaves the other way open"
    elif CHARGE in cable.carries or LOOP in cable.carries:
        words += (
            ". The cable has two sources: a battery gives a fault many hundreds of amps, an alternator hardly more "
            "than its rating, so the fuse belongs at the end that the battery feeds"
        )
    return words


def needs_fuse(cable: Cable, flow: Flow) -> bool:
    """True on the supply side, but for what cranks: starter cables usually carry none (common practice, no source)."""
    return cable.side == SUPPLY_SIDE and flow.crank_a <= 0.0


def least_a(flow: Flow) -> float:
    """The smallest rating that carries a flow [A]: 1/0.8 of what lasts, and all that can be on together."""
    return max(flow.sustained_a / LOAD_SHARE, flow.steady_a)


def advise(cable: Cable, flow: Flow, ampacity_a: float | None, ends: Sequence[str]) -> FuseAdvice | None:
    """The fuse for a cable with this flow that may carry `ampacity_a` [A], at `ends`.

    The smallest standard rating between the two; for a motor or a lamp, which takes twice its amps or more at
    switch-on, the next one where the copper allows it. None for what needs none, and where nothing flows or the cable
    has no gauge.
    """
    if not needs_fuse(cable, flow) or flow.steady_a <= 0.0 or ampacity_a is None:
        return None
    least, most = least_a(flow), MOST_SHARE * ampacity_a
    fit = [rating for rating in STANDARD if least <= rating <= most]
    choice = fit[min(len(fit) - 1, 1 if flow.starts_motor else 0)] if fit else None
    return FuseAdvice(least, most, choice, place(cable, ends), tuple(ends))
