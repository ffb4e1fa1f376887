"""The board's age goes on across the wraps of its clock, and from one monitor to the next."""

import subprocess
import sys
import sysconfig
from pathlib import Path

LIB = Path(__file__).resolve().parents[2] / "firmware" / "lib"
SCRIPT = """
import sys
class Clock:
    now = 2500
    def ticks_ms(self): return self.now & 0x3FFFFFFF
    def ticks_diff(self, end, start): return ((end - start + 0x20000000) & 0x3FFFFFFF) - 0x20000000
sys.modules["time"] = clock = Clock()
from monitor.supervisor import Life
life = Life(2)
print(life.failures, life.age_ms())
clock.now += 4000
print(life.age_ms())
days = 40 * 86400000  # a monitor runs for forty days, then tells how old the board is
clock.now += days
life.note(6500 + days)
clock.now += 1234
print(life.age_ms() - days)
"""


def test_the_age_outlives_the_clock() -> None:
    micropython = Path(sysconfig.get_path("scripts")) / "micropython"
    done = subprocess.run(
        [sys.executable, str(micropython), "-c", SCRIPT],
        capture_output=True,
        text=True,
        env={"MICROPYPATH": str(LIB)},
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["2", "2500", "6500", "7734"]
