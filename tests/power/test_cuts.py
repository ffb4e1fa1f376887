"""The power goes at every flash operation: before it, in its middle, and with those before it in disorder.

docs/power-cuts.md says how; tests/bench/flash_cuts.py tries every operation and prints the table. Here
every second one is tried, with other random bits.
"""

from functools import cache
from typing import Any

import pytest
from cut_script import FILES, JOURNAL, cuts

AWAKE_S = 61  # docs/journal-format.md: a minute, and the row in the making
PARKED_S = 30 * 60 + 90  # half an hour, the row in the making, the crank that ended it


@cache
def sampled(workload: str) -> dict[str, Any]:
    return cuts(workload, every=2, seed=3)


@pytest.mark.parametrize("workload", [*JOURNAL, *FILES])
def test_nothing_committed_is_lost_and_nothing_wrong_accepted(workload: str) -> None:
    found = sampled(workload)
    assert found["lost"] == found["wrong"] == 0, found["examples"]
    assert found["refused"] == 0, f"littlefs could not be mounted: {found['examples']}"
    assert found["stuck"] == 0, f"the board could not go on: {found['examples']}"
    assert found["awake_s"] <= AWAKE_S
    assert found["parked_s"] <= PARKED_S
    for kind in ("before", "torn", "disordered"):
        assert found["images"][kind] > 0, kind
    assert found["operations"] // 2 <= found["images"]["before"]


def test_a_whole_drive_is_what_it_claims_to_be() -> None:
    found = sampled("whole drive")
    assert found["rows"] > 4000 and found["commits"] > 75
    assert found["operations"] > 5 * found["commits"]
    assert 55 <= found["awake_s"] <= AWAKE_S, "no cut came late in a minute"
    assert found["parked_s"] > 1700, "no cut came late in a half hour of rest"


@pytest.mark.parametrize(
    ("fault", "workload", "counter"),
    [
        ("no flush", "first start", "lost"),
        ("late sync", "later starts", "lost"),
        ("forged row", "first start", "wrong"),
        ("in place", "settings store", "lost"),
    ],
)
def test_the_harness_sees_what_it_is_there_to_see(fault: str, workload: str, counter: str) -> None:
    assert cuts(workload, fault=fault)[counter] > 0
