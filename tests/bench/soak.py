"""A thousand hours, an hour of driving to three of parking, over and over: free heap before and after."""

import subprocess
import sys
import sysconfig
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MICROPYTHON = Path(sysconfig.get_path("scripts")) / "micropython"


def main() -> int:
    hours = sys.argv[1] if len(sys.argv) > 1 else "1000"
    began = time.monotonic()
    print(f"soak of {hours} hours ...", flush=True)
    said = subprocess.run(
        [sys.executable, str(MICROPYTHON), "-X", "heapsize=8M", str(ROOT / "tests/monitor/steady.py"), "soak", hours],
        capture_output=True, text=True, check=True, env={"MICROPYPATH": str(ROOT / "firmware" / "lib")},
    ).stdout.split()  # fmt: skip
    found = dict(zip(said[::2], map(int, said[1::2]), strict=True))
    print(", ".join(f"{name} {value:,}" for name, value in found.items()))
    print(f"free heap before {found['before']:,}, after {found['after']:,}; {time.monotonic() - began:.0f} s")
    return found["before"] != found["after"]


if __name__ == "__main__":
    sys.exit(main())
