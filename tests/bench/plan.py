"""How long a plan takes, and how soon the command line answers. Prints two tables, medians of several runs.

The car of 40 loads and 40 cables is written as a file and read back, as an owner's would be. Start-up times stand
beside those of an interpreter that does nothing: look at the ratios.
"""

import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

from underdash.carfile import EXAMPLE, read
from underdash.plan.report import as_dict, plan
from underdash.plan.show.page import render
from underdash.plan.show.text import text

HEAVY = ("numpy", "scipy", "matplotlib", "jinja2", "pandas", "rich", "rainflow")
LOADED = """
import json, sys
sys.argv[1:] = {words!r}
from underdash.cli.app import main
try:
    main()
except SystemExit:
    pass
print(json.dumps([name for name in {heavy!r} if name in sys.modules]), file=sys.stderr)
"""
CABLE = """[[cable]]
name = "cable {number}"
from = "fuse box"
to = "place {number}"
length = "{length:.1f} m"
gauge = "{gauge} AWG"
insulation = "105 C"
carries = "load {load}"
fuse = "10 A"
added = true

"""


def big_car() -> str:
    """The shipped car file, with loads and cables added until there are 40 of each."""
    content = EXAMPLE.read_text()
    head, bar, rest = content.partition("# -- cables")
    loads, cables = head.count("\n[[load]]"), rest.count("\n[[cable]]")
    for number in range(40 - loads):
        when = ("always", "night", "rain", "hot idle")[number % 4]
        head += f'[[load]]\nname = "load {number}"\ndraw = "{0.2 + number / 20:.2f} A"\nwhen = "{when}"\n\n'
    more = ""
    for number in range(40 - cables):
        gauge, load = (12, 14, 16)[number % 3], number % (40 - loads)
        more += CABLE.format(number=number, length=1 + number / 9, gauge=gauge, load=load)
    place = rest.index("[[cable]]")
    return head + bar + rest[:place] + more + rest[place:]


def timed(what: Callable[[], Any], times: int) -> float:
    """Median time of `what` [s]."""
    spans = []
    for _ in range(times):
        begun = time.perf_counter()
        what()
        spans.append(time.perf_counter() - begun)
    return median(spans)


def process(*words: str) -> None:
    subprocess.run([sys.executable, *words], check=True, capture_output=True)


def loaded(*words: str) -> list[str]:
    """Heavy modules that a command has loaded by its end."""
    script = LOADED.format(words=list(words), heavy=HEAVY)
    done = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)
    found: list[str] = json.loads(done.stderr)
    return found


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "car.toml"
        file.write_text(big_car())
        car = read(file)
        assert len(car.loads) == len(car.cables) == 40
        made = plan(car)
        told = as_dict(made)
        print(f"a car of {len(car.loads)} loads and {len(car.cables)} cables, after start-up [ms]")
        steps: tuple[tuple[str, Callable[[], Any]], ...] = (
            ("read the file", lambda: read(file)),
            ("plan", lambda: plan(car)),
            ("as data", lambda: as_dict(made)),
            ("as text", lambda: text(told)),
            ("as page", lambda: render(made)),
        )
        for name, what in steps:
            print(f"  {name:16} {1000 * timed(what, 7):7.1f}", flush=True)
        print("start-up and all, each a process of its own: [ms], ratio to an idle interpreter, heavy modules loaded")
        idle = timed(lambda: process("-c", "pass"), 9)
        print(f"  {'python -c pass':30} {1000 * idle:7.0f}   1.0")
        for name, words in (
            ("underdash --help", ("--help",)),
            ("underdash plan --help", ("plan", "--help")),
            ("underdash plan, shipped car", ("plan", str(EXAMPLE))),
            ("underdash plan, 40 and 40", ("plan", str(file))),
            ("... with --html", ("plan", str(file), "--html", str(Path(folder) / "plan.html"))),
        ):
            span = timed(lambda words=words: process("-m", "underdash", *words), 9)  # type: ignore[misc]
            print(
                f"  {name:30} {1000 * span:7.0f} {span / idle:5.1f}   {', '.join(loaded(*words)) or 'none'}", flush=True
            )


if __name__ == "__main__":
    main()
