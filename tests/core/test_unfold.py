"""Wide codes undone: on every code, on both interpreters, in small integers, without a cell of the heap."""

import itertools
import sys

from test_both_interpreters import micropython, output
from test_integers import Small

from chargecore.calibration import UNFOLDED_MAX, unfold
from chargecore.units import CODE_MAX

WIDTH = 138  # sixteenths of a step by which a wide code is wider than the others

# The heap is locked while the board unfolds: where a cell is taken, a MemoryError ends the script.
SCRIPT = """
from array import array
from chargecore.calibration import unfold
try:
    from micropython import heap_lock, heap_unlock
except ImportError:
    heap_lock = heap_unlock = lambda: None
found = array("i", [0] * 65536)
def fill():
    code = 0
    while code < 65536:
        found[code] = unfold(code)
        code += 1
heap_lock()
fill()
heap_unlock()
for first in range(0, 65536, 256):
    print(list(found[first:first + 256]))
"""


def test_identical_on_both_interpreters_and_allocation_free() -> None:
    desk = output(sys.executable, "-c", SCRIPT)
    board = output(sys.executable, micropython(), "-c", SCRIPT)
    assert desk == board
    assert len(desk) == 256


def test_a_wide_code_is_crossed_evenly_and_the_rest_moves_by_its_width() -> None:
    for below, wide in enumerate((511, 1535, 2559, 3583)):
        begin, end = wide * 16 - 8, wide * 16 + 8
        assert unfold(begin) == begin + below * WIDTH
        assert unfold(wide * 16) == wide * 16 + below * WIDTH + WIDTH // 2
        assert unfold(end) == end + (below + 1) * WIDTH
    readings = [unfold(code) for code in range(CODE_MAX + 1)]
    steps = [after - before for before, after in itertools.pairwise(readings)]
    assert min(steps) == 1, "a higher code must never read lower"
    assert max(steps) <= 1 + -(-WIDTH // 16)
    assert sum(step > 1 for step in steps) == 4 * 16
    assert readings[0] == 0 and readings[-1] == UNFOLDED_MAX


def test_small_integers() -> None:
    for code in (0, 64, 8167, 8168, 8176, 8184, 24560, 40944, 57328, 65520, 65535, 1 << 20):
        assert unfold(Small(code)) == unfold(code)
        assert type(unfold(Small(code))) is Small
