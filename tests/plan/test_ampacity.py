"""Ampacity against 33 CFR 183.425 Table 5, NEC 310.16's ambient factors and the published factors beside them."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.wire import ampacity
from underdash.wire.gauge import SIZES, Gauge

# 33 CFR 183.425 Table 5 as federal.elaws.us prints it, typed from there apart from the program's own copy.
PUBLISHED = """
AWG   60  75  80  90 105 125 200
18    10  10  15  20  20  25  25
16    15  15  20  25  25  30  35
14    20  20  25  30  35  40  45
12    25  25  35  40  45  50  55
10    40  40  50  55  60  70  70
8     55  65  70  70  80  90 100
6     80  95 100 100 120 125 135
4    105 125 130 135 160 170 180
3    120 145 150 155 180 195 210
2    140 170 175 180 210 225 240
1    165 195 210 210 245 265 280
0    195 230 245 245 285 305 325
00   225 265 285 285 330 355 370
000  260 310 330 330 385 410 430
0000 300 360 385 385 445 475 510
"""
HEAD, *ROWS = (line.split() for line in PUBLISHED.split("\n") if line)
CELLS = [(row[0], int(column), int(amps)) for row in ROWS for column, amps in zip(HEAD[1:], row[1:], strict=True)]

# NEC 310.16, ambient correction at a base of 30 C, 60/75/90 C (wiresizes.com): (top of the band, factors).
NEC_AMBIENT = {
    35: (0.91, 0.94, 0.96), 40: (0.82, 0.88, 0.91), 45: (0.71, 0.82, 0.87),
    50: (0.58, 0.75, 0.82), 55: (0.41, 0.67, 0.76), 60: (None, 0.58, 0.71),
}  # fmt: skip
NEC_CELLS = [
    (insulation, top, factor)
    for top, factors in NEC_AMBIENT.items()
    for insulation, factor in zip((60, 75, 90), factors, strict=True)
    if factor is not None
]

# ABYC E-11's engine-space column for 105 C wire, jamestowndistributors.com (secondary).
ENGINE_SPACE_105 = {
    "18": 17, "16": 21, "14": 30, "12": 38, "10": 51, "8": 68, "6": 102, "4": 136, "3": 153, "2": 178, "1": 208,
    "1/0": 242, "2/0": 280, "3/0": 327, "4/0": 378,
}  # fmt: skip

areas = st.floats(0.5, 120.0)
classes = st.sampled_from(ampacity.CLASSES)


def mm2(size: str) -> float:
    return Gauge("AWG", size).area_mm2


def our_name(published: str) -> str:
    return published if published.strip("0") else f"{len(published)}/0"


@pytest.mark.parametrize(("size", "insulation", "amps"), CELLS)
def test_table_5_cell_by_cell(size: str, insulation: int, amps: int) -> None:
    assert ampacity.table_a(mm2(our_name(size)), insulation) == pytest.approx(amps, rel=1e-12)


def test_the_table_is_whole() -> None:
    assert len(CELLS) == len(SIZES) * len(ampacity.CLASSES) == 105
    assert [our_name(row[0]) for row in ROWS] == list(SIZES)


def test_the_table_rises_with_size_and_never_falls_with_class() -> None:
    for thinner, thicker in pairwise(SIZES):
        assert all(a < b for a, b in zip(ampacity.TABLE_5[thinner], ampacity.TABLE_5[thicker], strict=True))
    for row in ampacity.TABLE_5.values():
        assert list(row) == sorted(row)


@pytest.mark.parametrize(
    ("rating", "column"), [(60, 60), (74.9, 60), (75, 75), (85, 80), (100, 90), (110, 105), (150, 125), (260, 200)]
)
def test_a_rating_counts_at_the_column_at_or_below_it(rating: float, column: int) -> None:
    assert ampacity.column(rating) == column


def test_below_the_table_it_refuses() -> None:
    with pytest.raises(ValueError, match="begins at 60 C"):
        ampacity.column(59.9)
    with pytest.raises(ValueError, match=r"0\.4 mm2 is too far below"):
        ampacity.table_a(0.4, 105)


@given(areas, areas, classes)
def test_more_copper_never_carries_less(one: float, other: float, insulation: int) -> None:
    thin, thick = sorted((one, other))
    # A rounding of the last place apart, where thin and thick are all but the same.
    assert ampacity.table_a(thin, insulation) <= ampacity.table_a(thick, insulation) * (1.0 + 1e-12)


@given(st.integers(0, len(SIZES) - 2), st.floats(0.0, 1.0), classes)
def test_between_rows_it_stays_between_and_below_the_logarithmic_line(row: int, part: float, insulation: int) -> None:
    thin, thick = mm2(SIZES[row]), mm2(SIZES[row + 1])
    area = thin * (thick / thin) ** part
    low, high = ampacity.table_a(thin, insulation), ampacity.table_a(thick, insulation)
    assert low * (1.0 - 1e-12) <= ampacity.table_a(area, insulation) <= low * (high / low) ** part * (1.0 + 1e-9)


def test_between_rows_it_is_the_ratio_of_the_areas() -> None:
    # ABYC E-11's note for metric sizes (a forum's quotation): 10 mm2 lies between 8 and 6 AWG.
    assert ampacity.table_a(10.0, 105) == pytest.approx(120.0 * 10.0 / mm2("6"))
    # 0.75 mm2 is thinner than 18 AWG, 9 mm2 too little above 8 AWG for the ratio: there the smaller row holds.
    assert ampacity.table_a(0.75, 105) == pytest.approx(20.0 * 0.75 / mm2("18"))
    assert ampacity.table_a(8.5, 105) == 80.0


def test_beyond_the_largest_row_nothing_is_added() -> None:
    assert ampacity.table_a(120.0, 105) == ampacity.table_a(mm2("4/0"), 105) == 445.0


@given(st.sampled_from(SIZES), classes)
def test_sae_never_carries_more_than_awg_of_the_same_number(size: str, insulation: int) -> None:
    assert ampacity.table_a(Gauge("SAE", size).area_mm2, insulation) < ampacity.table_a(mm2(size), insulation)


# -- surroundings -----------------------------------------------------------------------------


def test_there_are_seventeen_nec_factors() -> None:
    assert len(NEC_CELLS) == 17


@pytest.mark.parametrize(("insulation", "top_c", "factor"), NEC_CELLS)
def test_the_formula_gives_the_nec_factors(insulation: int, top_c: int, factor: float) -> None:
    assert round(ampacity.ambient_formula(insulation, top_c), 2) == factor
    assert ampacity.ambient_factor(insulation, top_c) <= factor + 0.005


def test_cool_air_earns_nothing() -> None:
    assert ampacity.ambient_factor(105, 30.0) == ampacity.ambient_factor(105, -20.0) == 1.0


@pytest.mark.parametrize(("size", "amps"), ENGINE_SPACE_105.items())
def test_the_engine_space_is_the_published_column(size: str, amps: int) -> None:
    # The column is rounded to whole amps, now up, now down.
    assert ampacity.allowed_a(mm2(size), 105, 50.0) == pytest.approx(amps, abs=0.76)


def test_the_engine_space_takes_the_more_careful_of_formula_and_note() -> None:
    # 0.85 from two trade pages; the others from memory, and no smaller than the formula by more than rounding.
    assert ampacity.ENGINE_SPACE[105] == 0.85
    assert ampacity.ambient_factor(105, 50.0) == 0.85 < ampacity.ambient_formula(105, 50.0)
    for insulation, note in ampacity.ENGINE_SPACE.items():
        assert ampacity.ambient_factor(insulation, 50.0) == min(note, ampacity.ambient_formula(insulation, 50.0))
        if insulation not in (105, 200):
            assert ampacity.ambient_formula(insulation, 50.0) == pytest.approx(note, abs=0.0055)


@pytest.mark.parametrize(
    # Note 2 of Table 5 as delzer.com p. 212 prints it (secondary); 3 to 24 on cableyutai.com.tw too.
    ("conductors", "factor"),
    [(1, 1.0), (2, 1.0), (3, 0.7), (4, 0.6), (6, 0.6), (7, 0.5), (24, 0.5), (25, 0.4), (100, 0.4)],
)
def test_bundles(conductors: int, factor: float) -> None:
    assert ampacity.bundle_factor(conductors) == factor


def test_a_published_bundle_of_10_awg() -> None:
    # cableyutai.com.tw (secondary): 10 AWG of 105 C, 60 A alone, 42, 36, 30 A in bundles.
    found = [ampacity.allowed_a(mm2("10"), 105, 30.0, conductors) for conductors in (1, 3, 5, 20)]
    assert found == pytest.approx([60.0, 42.0, 36.0, 30.0])


def test_no_conductors_are_no_bundle() -> None:
    with pytest.raises(ValueError, match="at least one"):
        ampacity.bundle_factor(0)


@pytest.mark.parametrize("ambient_c", [75.0, 90.0, 200.0])
def test_air_as_hot_as_the_insulation_leaves_nothing(ambient_c: float) -> None:
    assert ampacity.allowed_a(mm2("4"), 75.0, ambient_c) == 0.0


@given(areas, st.floats(60.0, 260.0), st.floats(60.0, 260.0), st.floats(-40.0, 200.0), st.floats(0.0, 100.0))
def test_hotter_or_lesser_never_carries_more(
    area: float, one_c: float, other_c: float, ambient_c: float, hotter_by: float
) -> None:
    lesser, better = sorted((one_c, other_c))
    here = ampacity.allowed_a(area, better, ambient_c)
    assert ampacity.allowed_a(area, lesser, ambient_c) <= here
    assert ampacity.allowed_a(area, better, ambient_c + hotter_by) <= here


# -- the estimate of warmth --------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES)
def test_the_table_current_warms_to_the_class(size: str) -> None:
    amps = ampacity.table_a(mm2(size), 105)
    assert ampacity.conductor_c(mm2(size), amps, 30.0) == pytest.approx(105.0)
    assert ampacity.conductor_c(mm2(size), 0.7 * amps, 30.0, 3) == pytest.approx(105.0)
    assert ampacity.conductor_c(mm2(size), 0.0, 43.0) == 43.0


def test_the_estimate_is_as_far_from_the_other_columns_as_the_page_says() -> None:
    over = {
        (size, insulation): ampacity.conductor_c(mm2(size), ampacity.table_a(mm2(size), insulation), 30.0) - insulation
        for size in SIZES
        for insulation in (60, 75, 80, 90)
    }
    assert 6.0 < max(by for (size, _), by in over.items() if size not in ("18", "16")) < 7.5
    assert max(over[size, insulation] for size in ("18", "16") for insulation in (60, 75, 80, 90)) == pytest.approx(
        15.0
    )
    assert min(over.values()) == pytest.approx(-26.25)
