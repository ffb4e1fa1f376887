"""Networks of resistances: by hand, by Kirchhoff's laws, and against ngspice."""

from collections.abc import Mapping, Sequence

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from loops import example, spice_currents

from underdash.carfile.model import ALTERNATOR, BATTERY, ENGINE, GROUND
from underdash.carfile.paths import ground, supply
from underdash.wire.network import Branch, Unconnected, between, currents, potentials, reached

SERIES = [Branch("one", "a", "b", 2.0), Branch("two", "b", "c", 3.0)]
PARALLEL = [Branch("one", "a", "b", 2.0), Branch("two", "b", "a", 3.0)]
# Wheatstone's bridge: 1 and 2 ohm on one side, 3 and 4 on the other, 5 across.
BRIDGE = [
    Branch("top left", "top", "left", 1.0),
    Branch("top right", "top", "right", 3.0),
    Branch("left bottom", "left", "bottom", 2.0),
    Branch("right bottom", "right", "bottom", 4.0),
    Branch("across", "left", "right", 5.0),
]


def leaving(branches: Sequence[Branch], amps: Mapping[str, float], place: str) -> float:
    """What leaves a place through the branches [A]."""
    out = sum(amps[b.name] for b in branches if b.start == place)
    return out - sum(amps[b.name] for b in branches if b.end == place)


def test_in_series_the_resistances_add_and_the_current_is_one() -> None:
    assert between(SERIES, "a", "c") == pytest.approx(5.0)
    assert currents(SERIES, {"a": 4.0}, "c") == pytest.approx({"one": 4.0, "two": 4.0})
    assert potentials(SERIES, {"a": 4.0}, "c") == pytest.approx({"a": 20.0, "b": 12.0, "c": 0.0})


def test_in_parallel_the_current_divides_by_the_other_resistance() -> None:
    assert between(PARALLEL, "a", "b") == pytest.approx(1.2)
    # The second branch is stated from b to a: its current counts against its direction.
    assert currents(PARALLEL, {"a": 10.0}, "b") == pytest.approx({"one": 6.0, "two": -4.0})


def test_wheatstone_bridge_by_hand() -> None:
    # Nodes left l and right r, 1 V on top, bottom 0 V:
    #   l (1/1 + 1/2 + 1/5) - r/5 = 1/1        1.7 l - 0.2 r = 1
    #   r (1/3 + 1/4 + 1/5) - l/5 = 1/3        -0.2 l + 47/60 r = 1/3
    # Determinant 1.7 x 47/60 - 0.04 = 77.5/60; l = (47/60 + 1/15) / det = 51/77.5, r = (1.7/3 + 0.2) / det = 46/77.5.
    left, right = 51.0 / 77.5, 46.0 / 77.5
    amps = (1.0 - left) / 1.0 + (1.0 - right) / 3.0
    assert between(BRIDGE, "top", "bottom") == pytest.approx(1.0 / amps)
    assert currents(BRIDGE, {"top": amps}, "bottom")["across"] == pytest.approx((left - right) / 5.0)


def test_a_balanced_bridge_carries_nothing_across() -> None:
    balanced = [b._replace(ohm=2.0) if b.name == "top right" else b for b in BRIDGE]  # 1:2 = 2:4
    assert currents(balanced, {"top": 1.0}, "bottom")["across"] == pytest.approx(0.0, abs=1e-12)


def test_a_place_sees_nothing_between_itself_and_itself() -> None:
    assert between(BRIDGE, "left", "left") == 0.0


def test_what_hangs_loose_carries_nothing_and_disturbs_nothing() -> None:
    loose = [*SERIES, Branch("spur", "b", "end", 0.1), Branch("island", "x", "y", 1.0)]
    assert currents(loose, {"a": 1.0}, "c") == pytest.approx({"one": 1.0, "two": 1.0, "spur": 0.0, "island": 0.0})
    assert reached(loose, "a") == {"a", "b", "c", "end"}


def test_what_is_not_joined_is_refused_with_both_names() -> None:
    with pytest.raises(Unconnected, match="nothing leads from a to x") as refused:
        between([*SERIES, Branch("island", "x", "y", 1.0)], "a", "x")
    assert refused.value.places == ("a", "x")


# -- any network ------------------------------------------------------------------------------

PLACES = "abcdef"
OHMS = st.floats(1e-4, 10.0)


@st.composite
def networks(draw: st.DrawFn) -> list[Branch]:
    """A ring through all places, so that all are joined, and some more branches."""
    ends = [(PLACES[i], PLACES[(i + 1) % len(PLACES)]) for i in range(len(PLACES))]
    more = draw(st.lists(st.tuples(st.sampled_from(PLACES), st.sampled_from(PLACES)), max_size=8))
    ends += [pair for pair in more if pair[0] != pair[1]]
    return [Branch(f"branch {i}", one, other, draw(OHMS)) for i, (one, other) in enumerate(ends)]


FED = st.dictionaries(st.sampled_from(PLACES[1:]), st.floats(-100.0, 100.0), max_size=4)


@given(networks(), FED)
def test_currents_sum_to_what_is_fed_in_at_every_place(branches: list[Branch], fed: dict[str, float]) -> None:
    amps = currents(branches, fed, "a")
    for place in PLACES[1:]:
        assert leaving(branches, amps, place) == pytest.approx(fed.get(place, 0.0), abs=1e-6)
    assert leaving(branches, amps, "a") == pytest.approx(-sum(fed.values()), abs=1e-6)


@given(networks(), FED, FED)
def test_causes_add(branches: list[Branch], one: dict[str, float], other: dict[str, float]) -> None:
    both = {place: one.get(place, 0.0) + other.get(place, 0.0) for place in PLACES[1:]}
    alone, beside = currents(branches, one, "a"), currents(branches, other, "a")
    for name, amps in currents(branches, both, "a").items():
        assert amps == pytest.approx(alone[name] + beside[name], abs=1e-6)


@given(networks(), st.sampled_from(PLACES), st.sampled_from(PLACES))
def test_two_places_see_the_same_between_them(branches: list[Branch], one: str, other: str) -> None:
    assert between(branches, one, other) == pytest.approx(between(branches, other, one), rel=1e-6)


@given(networks(), OHMS, st.sampled_from(PLACES), st.sampled_from(PLACES))
def test_one_more_way_never_raises_a_resistance(branches: list[Branch], ohm: float, one: str, other: str) -> None:
    assume(one != other)
    more = [*branches, Branch("more", one, other, ohm)]
    assert between(more, "a", "d") <= between(branches, "a", "d") * (1.0 + 1e-9)


# -- ngspice ----------------------------------------------------------------------------------


@settings(max_examples=6, deadline=None)
@given(networks(), FED)
def test_ngspice_finds_the_same_currents(branches: list[Branch], fed: dict[str, float]) -> None:
    expected = spice_currents(branches, fed, "a")
    for name, amps in currents(branches, fed, "a").items():
        assert amps == pytest.approx(expected[name], rel=1e-5, abs=1e-5)


@pytest.mark.parametrize("before", [False, True])
def test_ngspice_agrees_on_the_shipped_cars_wiring(before: bool) -> None:
    car = example()
    fed = {ALTERNATOR: 50.0, car.bus: -70.0}
    branches = supply(car, before=before)
    assert currents(branches, fed, BATTERY) == pytest.approx(spice_currents(branches, fed, BATTERY), rel=1e-5, abs=1e-6)
    branches = ground(car, before=before)
    joined = [branch for branch in branches if branch.start in reached(branches, GROUND)]
    assert currents(joined, {ENGINE: -75.0}, GROUND) == pytest.approx(
        spice_currents(joined, {ENGINE: -75.0}, GROUND), rel=1e-5, abs=1e-6
    )
