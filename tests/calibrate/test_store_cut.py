"""Power lost while a calibration is stored: the board has the old one or the new one, whole."""

import json
import sys
from pathlib import Path
from typing import Any

import pytest

POWER = Path(__file__).parents[1] / "power"
sys.path.insert(0, str(POWER))
import cut_script


def cuts(every: int, seed: int, fault: str = "") -> dict[str, Any]:
    """The cuts of cut_store.py."""
    here = Path(__file__).with_name("cut_store.py")
    found: dict[str, Any] = json.loads(cut_script.micropython(here, "settings store", every, seed, fault))
    return found


def test_old_or_new_at_every_flash_operation() -> None:
    found = cuts(every=1, seed=5)
    assert found["commits"] == 5 and found["operations"] > 50
    assert found["images"]["before"] >= found["operations"] and found["images"]["torn"] > 100
    assert found["lost"] == found["wrong"] == found["refused"] == found["stuck"] == 0, found["examples"]


@pytest.mark.parametrize("fault", ["in place"])
def test_a_store_that_writes_over_the_old_one_is_noticed(fault: str) -> None:
    found = cuts(every=2, seed=5, fault=fault)
    assert found["lost"] + found["wrong"] > 0
