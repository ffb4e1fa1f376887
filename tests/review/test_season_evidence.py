"""Trends and changes against published data, against closed forms and against permutations."""

from itertools import combinations
from math import comb, exp

import numpy as np
import pytest
from scipy import stats

from underdash.review.season.evidence import LEAST_POINTS, change, deeper, latest, memory, pettitt, ranks, trend

# Annual flow of the Nile at Aswan 1871 to 1970 [10^8 m3]: Cobb, The problem of the Nile, Biometrika 65, 1978. The
# change is put after 1898 by Cobb and all who followed.
NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
    1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
    831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
    781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890,
    744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip


def test_the_niles_change_is_found_where_the_literature_has_it() -> None:
    flow = np.array(NILE, dtype=float)
    at, p = pettitt(flow)
    assert 1871 + at == 1899
    assert p < 1e-3
    found = change(flow)
    assert found is not None
    assert 1871 + found.at == 1899
    assert found.before == pytest.approx(np.median(flow[:28]))
    assert found.after == pytest.approx(np.median(flow[28:]))


def test_pettitts_p_against_his_formula_done_by_hand() -> None:
    """1..10 then 21..30: K = 10 x 10 = 100, p = 2 exp(-6 x 100^2 / (20^3 + 20^2))."""
    values = np.array([*np.random.default_rng(3).permutation(10), *(20 + np.random.default_rng(4).permutation(10))])
    at, p = pettitt(values.astype(float))
    assert at == 10
    assert p == pytest.approx(2 * exp(-6 * 1e4 / 8400))


def test_pettitts_p_is_no_smaller_than_permutations_say() -> None:
    rng = np.random.default_rng(5)
    values = np.concatenate([rng.normal(0, 1, 15), rng.normal(1, 1, 15)])

    def largest(ranks: np.ndarray) -> float:
        t = np.arange(1, len(ranks))
        return float(np.abs(2 * np.cumsum(ranks)[:-1] - t * (len(ranks) + 1)).max())

    ranks = stats.rankdata(values)
    k = largest(ranks)
    share = np.mean([largest(rng.permutation(ranks)) >= k for _ in range(4000)])
    assert pettitt(values)[1] >= share


def test_the_latest_values_p_is_the_share_of_all_orders() -> None:
    """8 values, the last 3 the highest but one: counted over all choices of which three come last."""
    values = np.array([1.0, 9.0, 2.0, 3.0, 4.0, 6.0, 7.0, 8.0])
    ways = [chosen for chosen in combinations(sorted(values), 3) if sum(one >= min(chosen) for one in values) - 3 <= 1]
    assert len(ways) / comb(8, 3) == pytest.approx(comb(4, 3) / comb(8, 3))
    assert latest(values) == pytest.approx(min(1.0, 14 * comb(4, 3) / comb(8, 3)))


def test_theil_sen_is_scipys_for_values_without_memory() -> None:
    rng = np.random.default_rng(6)
    x = np.arange(40.0)
    values = 3.0 + 0.2 * x + rng.normal(0, 1, 40)
    found = trend(x, values)
    assert found is not None
    slope, _, low, high = stats.theilslopes(values, x, alpha=0.95)
    assert found.slope == slope
    assert found.low <= low < slope < high <= found.high
    assert found.p < 0.001


def test_the_interval_of_a_trend_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(7)
    x = np.arange(30.0)
    held = 0
    for _ in range(300):
        found = trend(x, 0.1 * x + rng.standard_t(3, 30))
        assert found is not None
        held += found.low <= 0.1 <= found.high
    assert held >= 0.92 * 300


def test_a_memory_is_estimated_and_widens() -> None:
    rng = np.random.default_rng(8)
    noise = rng.normal(0, 1, 400)
    slow = noise.copy()
    for index in range(1, 400):
        slow[index] = 0.6 * slow[index - 1] + noise[index]
    assert memory(slow) == pytest.approx(0.6 - 0.05, abs=0.1)
    assert memory(noise) <= 0.06
    x = np.arange(400.0)
    found = trend(x, slow)
    assert found is not None
    _, _, low, high = stats.theilslopes(slow, x, alpha=0.95)
    assert found.high - found.low > 1.5 * (high - low)


@pytest.mark.parametrize("values", [[], [1.0], [1.0] * 40, [1.0, 2.0] * 3])
def test_too_little_or_nothing_that_moves(values: list[float]) -> None:
    found = change(np.array(values))
    assert found is None
    x = np.arange(len(values), dtype=float)
    line = trend(x, np.array(values))
    assert line is None or (line.slope == 0.0 and line.p > 0.5) or len(values) < LEAST_POINTS


def test_noise_is_seldom_called_a_change() -> None:
    rng = np.random.default_rng(9)
    called = 0
    for _ in range(300):
        found = change(rng.normal(0, 1, int(rng.integers(8, 80))))
        called += found is not None and found.p <= 0.05
    assert called <= 0.05 * 300


@pytest.mark.parametrize("values", [[3.0, 1.0, 2.0], [1.0] * 9, [2.0, 1.0, 2.0, 3.0, 1.0, 2.0]])
def test_ranks_are_scipys(values: list[float]) -> None:
    assert ranks(np.array(values)).tolist() == stats.rankdata(values).tolist()


def caught(rng: np.random.Generator, count: int, deep: float) -> np.ndarray:
    """Dips that a slow log caught: anything between a fifth and all of the true one, which grows by `deep` times."""
    true = 2.5 * np.linspace(1.0, deep, count)
    return np.asarray(true * rng.uniform(0.2, 1.0, count))


def test_deep_values_that_come_late_are_seen_though_the_middle_hardly_moves() -> None:
    rng = np.random.default_rng(10)
    found = [deeper(caught(rng, 40, 2.5)) for _ in range(100)]
    assert sum(one is not None and one.p <= 0.005 for one in found) >= 60
    assert all(one.after > one.before for one in found if one is not None and one.p <= 0.005)
    shallow = [deeper(caught(rng, 40, 2.5)[::-1].copy()) for _ in range(100)]
    assert not any(one is not None and one.p <= 0.05 for one in shallow)  # one-sided


@pytest.mark.parametrize("count", [8, 20, 60])
def test_chance_looks_deeper_as_seldom_as_its_p_says(count: int) -> None:
    """A few values again and again, as when few recordings make a season, and any values."""
    rng = np.random.default_rng(11)
    few = np.array([1.70, 2.17, 2.27, 2.40, 2.87, 3.26])
    found = [deeper(rng.choice(few, count) if odd else rng.uniform(0.0, 3.0, count)) for odd in [0, 1] * 1000]
    for p in (0.05, 0.005):
        share = np.mean([one is not None and one.p <= p for one in found])
        assert share <= p + 3 * np.sqrt(p / len(found))


def test_deepers_p_is_that_of_all_orders() -> None:
    """Counted over permutations of one season, ties and all."""
    rng = np.random.default_rng(12)
    values = np.round(caught(rng, 16, 2.0), 1)
    found = deeper(values)
    assert found is not None and memory(values[:8]) == 0.0

    def late(order: np.ndarray) -> float:
        return float(np.maximum(stats.rankdata(order) - 8.5, 0.0) @ np.arange(16))

    share = np.mean([late(rng.permutation(values)) >= late(values) for _ in range(4000)])
    assert found.p == pytest.approx(share, abs=0.012)
