"""What the board's flash holds before its first start: the firmware, as an installation leaves it."""

from pathlib import Path

from littlefs import LittleFS, UserContext

from underdash.install.build import build
from underdash.virtual.board import FLASH_BLOCKS

BLOCK_BYTES = 4096
_PAGE_BYTES = 256
_REGULAR = 1
_DISK_VERSION = 0x00020000  # littlefs 2.0: MicroPython 1.21 mounts no later one

# The harness's own instrument: a rising edge on a pin that the board does not use leaves the free
# heap, before and after a collection, in scratch registers of the watchdog block, and counts.
PROBE_PIN = 22
PROBE_SCRATCH = (1, 2, 3)  # 0 is the firmware's, 4 to 7 the boot ROM's
_PROBE = f"""\
import gc
import machine

def _heap_probe(pin):
    scratch = machine.mem32
    scratch[0x40058010] = gc.mem_free()
    gc.collect()
    scratch[0x40058014] = gc.mem_free()
    scratch[0x40058018] += 1

machine.mem32[0x40058018] = 0
machine.Pin({PROBE_PIN}, machine.Pin.IN, machine.Pin.PULL_DOWN).irq(_heap_probe, machine.Pin.IRQ_RISING)
"""


def installed_files(firmware: Path, settings: str) -> dict[str, bytes]:
    """Path on the board -> content, as `underdash install` builds it; and the settings file."""
    files = {file.path: file.data for file in build(firmware)}
    return {**files, "/settings.json": settings.encode()} if settings else files


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
        path = f"{folder.rstrip('/')}/{name}"
        if disk.stat(path).type == _REGULAR:
            with disk.open(path, "rb") as file:
                found[name] = file.read()
    return found
