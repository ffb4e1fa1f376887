"""Power-on of the virtual board: the flash becomes the root, then main.py runs as on a board."""

import json
import os
import sys
import vfs

with open(sys.argv[1]) as _file:
    _config = json.load(_file)
sys.path.insert(0, _config["onboard"])
for _name in ("time", "machine"):  # the desk's own must not be found first
    sys.modules.pop(_name, None)

import machine
import pace
import time

_BLOCK = 4096


class _Flash:
    """A block device in a file, erased to ones as flash is."""

    def __init__(self, path, blocks):
        self._file = open(path, "r+b")
        self._blocks = blocks
        self._erased = b"\xff" * _BLOCK

    def readblocks(self, block, buffer, offset=0):
        self._file.seek(block * _BLOCK + offset)
        self._file.readinto(buffer)

    def writeblocks(self, block, buffer, offset=0):
        self._file.seek(block * _BLOCK + offset)
        self._file.write(buffer)

    def ioctl(self, request, argument):
        if request == 4:
            return self._blocks
        if request == 5:
            return _BLOCK
        if request == 3:
            machine._note(machine._NOTE_SYNC)
        if request == 6:
            self._file.seek(argument * _BLOCK)
            self._file.write(self._erased)
        return 0


def _copy(source, target):
    for entry in os.ilistdir(source):
        name, kind = entry[0], entry[1]
        if name.startswith(("__pycache__", ".")):
            continue
        if kind == 0x4000:
            os.mkdir(target + "/" + name)
            _copy(source + "/" + name, target + "/" + name)
        elif name.endswith(".py"):
            with open(source + "/" + name, "rb") as read, open(target + "/" + name, "wb") as write:
                write.write(read.read())


def _power_on():
    flash = _Flash(_config["flash"], _config["blocks"])
    if _config["install"]:
        vfs.VfsLfs2.mkfs(flash, progsize=256)
        vfs.mount(vfs.VfsLfs2(flash, progsize=256), "/new")
        _copy(_config["install"], "/new")
        if _config["settings"]:
            with open("/new/settings.json", "w") as file:
                file.write(_config["settings"])
        vfs.umount("/new")
    machine._open(_config)
    pace.start(machine._signal.end_ms() if _config["fast"] else 0, 0)
    vfs.umount("/")
    vfs.mount(vfs.VfsLfs2(flash, progsize=256), "/")
    os.chdir("/")
    sys.path[:] = ["", ".frozen", "/lib"]


try:
    _power_on()
finally:  # in whatever state: from here on it can be talked to, and interrupted
    machine._note(machine._NOTE_UP)
del _file, _name
if _config["run_main"]:
    with open("/main.py") as _main:
        _source = _main.read()
    exec(compile(_source, "main.py", "exec"), {"__name__": "__main__"})
