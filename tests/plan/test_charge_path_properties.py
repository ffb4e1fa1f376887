"""Charge path and ground, whatever the copper: worse never looks better."""

from hypothesis import given, settings
from hypothesis import strategies as st
from loops import GROUND_CABLES, SUPPLY, car, copper, stated

from underdash.carfile.model import ALTERNATOR, CHARGE, ENGINE, GROUND, GROUND_SIDE
from underdash.plan.charge_path import charge_path

GAUGES = ("10 AWG", "8 AWG", "6 AWG", "4 AWG", "2 AWG", "1/0 AWG")


def charged_by(gauge: str, length_m: float, ambient_c: float, joints_ohm: float) -> tuple[float, float]:
    """(drop [V], volts between the battery's posts [V]) with this charge cable."""
    cable = copper(
        "charge cable", ALTERNATOR, "starter", gauge, length_m,
        ambient_c=ambient_c, insulation_c=125.0, joints_ohm=joints_ohm, carries=(CHARGE,), added=True,
    )  # fmt: skip
    path = charge_path(car(supply=(cable, *SUPPLY[1:])))
    return path.drops[0].volts, path.battery_v


@settings(deadline=None)
@given(
    st.integers(0, len(GAUGES) - 2), st.floats(0.3, 6.0), st.floats(20.0, 90.0), st.floats(0.0, 0.005),
    st.sampled_from(["thinner", "longer", "hotter", "worse joints"]),
)  # fmt: skip
def test_worse_copper_never_looks_better(size: int, length_m: float, air_c: float, joints: float, change: str) -> None:
    better = charged_by(GAUGES[size + 1], length_m, air_c, joints)
    one = (GAUGES[size + 1], length_m, air_c, joints)
    worse = charged_by(
        *{
            "thinner": (GAUGES[size], *one[1:]),
            "longer": (one[0], length_m * 1.3, *one[2:]),
            "hotter": (*one[:2], air_c + 10.0, joints),
            "worse joints": (*one[:3], joints + 0.001),
        }[change]
    )
    assert worse[0] > better[0]
    assert worse[1] < better[1]


@settings(deadline=None)
@given(st.floats(1e-4, 0.1))
def test_one_more_ground_never_raises_the_drop(ohm: float) -> None:
    added = stated("second ground", ENGINE, GROUND, ohm, side=GROUND_SIDE, added=True)
    path = charge_path(car(ground=(*GROUND_CABLES[:3], added)))
    assert path.ground_without_added_v is not None
    assert path.drops[1].volts < path.ground_without_added_v
