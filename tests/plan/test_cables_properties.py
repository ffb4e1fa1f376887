"""Whatever the cable: longer, hotter, thinner, more bundled, lower class, more amps never look better."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from wired import car, load, wire

from underdash.carfile.model import ALL_LOADS, CHARGE, CRANK, GROUND_SIDE, SUPPLY_SIDE, Cable
from underdash.plan.cables import fuses, size
from underdash.plan.results import CableResult
from underdash.wire.ampacity import CLASSES
from underdash.wire.gauge import SIZES, Gauge, ladder

LOADS = (load("lamp", 9.0, inrush=4.0), load("fan", 20.0, duty=0.4), load("horn", 6.0, "brief", duty=0.01))
ROUNDING = 1.0 + 1e-9

gauges = st.one_of(*(st.sampled_from(ladder(system)) for system in ("AWG", "SAE", "mm2")))
carried = st.sampled_from(((), ("lamp",), ("lamp", "horn"), (ALL_LOADS,), (CHARGE,), (CRANK,), (CHARGE, CRANK)))


@st.composite
def cables(draw: st.DrawFn) -> Cable:
    return replace(
        wire("4 AWG"),
        gauge=draw(gauges),
        side=draw(st.sampled_from((SUPPLY_SIDE, GROUND_SIDE))),
        carries=draw(carried),
        stated_a=draw(st.one_of(st.none(), st.floats(0.1, 300.0))),
        length_m=draw(st.floats(0.01, 20.0)),
        insulation_c=draw(st.floats(60.0, 220.0)),
        ambient_c=draw(st.floats(-40.0, 150.0)),
        bundle=draw(st.integers(1, 40)),
        joints_ohm=draw(st.floats(0.0, 0.01)),
        fuse_a=draw(st.one_of(st.none(), st.sampled_from(fuses.STANDARD))),
    )


def sized(cable: Cable) -> CableResult:
    return size(car(cable, loads=LOADS)).results[0]


def area(gauge: Gauge | None) -> float:
    return float("inf") if gauge is None else gauge.area_mm2


def assert_no_better(worse: CableResult, than: CableResult, *, sizes: bool = True) -> None:
    """`worse` uses each of its tests at least as hard, allows no more and asks for no smaller size."""
    assert [criterion.name for criterion in worse.criteria] == [criterion.name for criterion in than.criteria]
    for here, there in zip(worse.criteria, than.criteria, strict=True):
        assert here.used * ROUNDING >= there.used
        if sizes:
            assert area(here.smallest) >= area(there.smallest)
    assert worse.used * ROUNDING >= than.used
    assert worse.ampacity_a is not None
    assert than.ampacity_a is not None
    assert worse.ampacity_a <= than.ampacity_a * ROUNDING
    assert worse.ohm * ROUNDING >= than.ohm
    assert worse.conductor_c is not None
    assert than.conductor_c is not None
    assert worse.conductor_c + 1e-9 >= than.conductor_c
    if sizes and worse.criteria:
        assert area(worse.smallest) >= area(than.smallest)
    better = dict(than.by_insulation)
    assert all(allowed <= better[kind] * ROUNDING for kind, allowed in worse.by_insulation)


@given(cables(), st.floats(0.0, 20.0))
def test_longer(cable: Cable, by_m: float) -> None:
    assert_no_better(sized(replace(cable, length_m=cable.length_m + by_m)), sized(cable))


@given(cables(), st.floats(0.0, 0.01))
def test_worse_joints(cable: Cable, by_ohm: float) -> None:
    assert_no_better(sized(replace(cable, joints_ohm=cable.joints_ohm + by_ohm)), sized(cable))


@given(cables(), st.floats(0.0, 150.0))
def test_hotter(cable: Cable, by_k: float) -> None:
    assert_no_better(sized(replace(cable, ambient_c=cable.ambient_c + by_k)), sized(cable))


@given(cables(), st.integers(0, 60))
def test_more_bundled(cable: Cable, more: int) -> None:
    assert_no_better(sized(replace(cable, bundle=cable.bundle + more)), sized(cable))


@given(cables(), st.floats(60.0, 220.0))
def test_of_a_lower_class(cable: Cable, other_c: float) -> None:
    lower, higher = sorted((cable.insulation_c, other_c))
    assert_no_better(sized(replace(cable, insulation_c=lower)), sized(replace(cable, insulation_c=higher)))


@given(cables(), gauges, st.data())
def test_thinner(cable: Cable, one: Gauge, data: st.DataObject) -> None:
    other = data.draw(st.sampled_from(ladder(one.system)))
    thin, thick = sorted((one, other), key=area)
    assert_no_better(sized(replace(cable, gauge=thin)), sized(replace(cable, gauge=thick)))


@given(cables(), st.sampled_from(SIZES))
def test_sae_is_never_better_than_awg_of_the_same_number(cable: Cable, number: str) -> None:
    awg, sae = (sized(replace(cable, gauge=Gauge(system, number))) for system in ("AWG", "SAE"))
    assert_no_better(sae, awg, sizes=False)
    # The smallest that passes may be another number, but it is never a smaller one.
    assert rank(sae.smallest) >= rank(awg.smallest)


def rank(gauge: Gauge | None) -> int:
    return len(SIZES) if gauge is None else SIZES.index(gauge.size)


@given(cables(), st.floats(0.1, 300.0), st.floats(0.0, 300.0))
def test_more_amps(cable: Cable, amps: float, more: float) -> None:
    alone = replace(cable, carries=(), stated_a=amps)
    assert_no_better(sized(replace(alone, stated_a=amps + more)), sized(alone))


@given(cables())
@settings(max_examples=300)
def test_the_smallest_size_passes_and_the_next_thinner_does_not(cable: Cable) -> None:
    result = sized(cable)
    if result.smallest is None:
        return
    at = sized(replace(cable, gauge=result.smallest))
    by_size = {c.name for c in result.criteria if c.smallest is not None}
    assert all(criterion.passed for criterion in at.criteria if criterion.name in by_size)
    steps = ladder(result.smallest.system)
    place = steps.index(result.smallest)
    if place:
        thinner = sized(replace(cable, gauge=steps[place - 1]))
        assert not all(criterion.passed for criterion in thinner.criteria if criterion.name in by_size)
        assert not next(c for c in thinner.criteria if c.name == result.decided_by).passed
    else:
        assert result.decided_by == ""


@given(cables())
def test_the_parts_of_a_result_agree(cable: Cable) -> None:
    result = sized(cable)
    assert result.table_a is not None
    product = result.table_a
    for _, factor in result.factors:
        product *= factor
    assert abs(result.ampacity_a - product) <= 1e-9 * product + 1e-12
    assert result.drop_v == (result.drop_amps or result.amps) * result.ohm
    assert result.brief_amps >= result.amps
    assert [kind for kind, _ in result.by_insulation] == [kind for kind in CLASSES if kind > cable.ambient_c]
    if result.fuse is not None and result.fuse.choice_a is not None:
        assert result.fuse.least_a <= result.fuse.choice_a <= result.fuse.most_a
        assert result.fuse.choice_a >= result.amps / 0.8
        fused = sized(replace(cable, fuse_a=result.fuse.choice_a))
        assert all(criterion.passed for criterion in fused.criteria if "fuse" in criterion.name)
    failed = [criterion for criterion in result.criteria if not criterion.passed]
    assert len([f for f in result.findings if f.weight in ("act", "watch")]) >= len(failed)
