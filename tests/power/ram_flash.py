"""Flash in RAM under the real littlefs. Runs on MicroPython.

`Flash` counts and, while `log` is a list, records what littlefs asks of it. `Cut` looks at the
image of a flash through changes of its own, so that thousands of cuts need no copies of it.
Both work as NOR flash does: an erase sets every bit of a block, a program only clears bits.
"""

import vfs

BLOCK = 4096
ERASE, PROGRAM, SYNC = 0, 1, 2
_ERASED = b"\xff" * BLOCK


def clear_bits(target, at: int, data):
    """Program `data` over `target[at:]`; where the place was erased, that is a copy."""
    end = at + len(data)
    if target[at:end] == _ERASED[: len(data)]:
        target[at:end] = data
    else:
        for index in range(len(data)):
            target[at + index] &= data[index]


class Flash:
    """A flash of so many blocks. An operation in `log` is (ERASE, block, None, None),
    (PROGRAM, block, offset, bytes) or (SYNC, None, None, None)."""

    def __init__(self, blocks: int):
        self.blocks = blocks
        self.image = bytearray(_ERASED * blocks)
        self.log = None
        self.erases = [0] * blocks
        self.erased = 0  # blocks, all in all
        self.programmed = 0  # bytes
        self.failing = False  # True: no erase and no program succeeds

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK + offset
        buffer[:] = memoryview(self.image)[at : at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        if self.failing:
            raise OSError(5)
        self.programmed += len(buffer)
        if self.log is not None:
            self.log.append((PROGRAM, block, offset, bytes(buffer)))
        clear_bits(self.image, block * BLOCK + offset, buffer)

    def ioctl(self, request, argument):
        if request == 6:
            if self.failing:
                raise OSError(5)
            self.erases[argument] += 1
            self.erased += 1
            if self.log is not None:
                self.log.append((ERASE, argument, None, None))
            self.image[argument * BLOCK : (argument + 1) * BLOCK] = _ERASED
        elif request == 3 and self.log is not None:
            self.log.append((SYNC, None, None, None))
        return {4: self.blocks, 5: BLOCK}.get(request, 0)


class Cut:
    """A flash after a power cut: `base` (anything with `block(number)`) with changes over it."""

    def __init__(self, base):
        self.blocks = base.blocks
        self._base = base
        self._changed = {}
        self.log = None

    def block(self, number):
        """The content of a block, to look at."""
        return self._changed.get(number) or self._base.block(number)

    def change(self, number):
        """The content of a block, to change."""
        if number not in self._changed:
            self._changed[number] = bytearray(self._base.block(number))
        return self._changed[number]

    def land(self, operation):
        """Let a recorded operation happen."""
        kind, block, offset, data = operation
        if kind == ERASE:
            self._changed[block] = bytearray(_ERASED)
        elif kind == PROGRAM:
            clear_bits(self.change(block), offset, data)

    def readblocks(self, block, buffer, offset=0):
        buffer[:] = memoryview(self.block(block))[offset : offset + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        if self.log is not None:
            self.log.append((PROGRAM, block, offset, bytes(buffer)))
        clear_bits(self.change(block), offset, buffer)

    def ioctl(self, request, argument):
        if request == 6:
            if self.log is not None:
                self.log.append((ERASE, argument, None, None))
            self._changed[argument] = bytearray(_ERASED)
        elif request == 3 and self.log is not None:
            self.log.append((SYNC, None, None, None))
        return {4: self.blocks, 5: BLOCK}.get(request, 0)


class Replay:
    """The image as it was at a moment of a log: begins where the log began, and moves on."""

    def __init__(self, image, log):
        self.blocks = len(image) // BLOCK
        self._image = bytearray(image)
        self._log = log
        self.done = 0  # how many operations have landed

    def block(self, number):
        return memoryview(self._image)[number * BLOCK : (number + 1) * BLOCK]

    def advance(self, count: int):
        """Let operations land until `count` have."""
        while self.done < count:
            kind, block, offset, data = self._log[self.done]
            if kind == ERASE:
                self._image[block * BLOCK : (block + 1) * BLOCK] = _ERASED
            elif kind == PROGRAM:
                clear_bits(self._image, block * BLOCK + offset, data)
            self.done += 1


def format_and_mount(flash, where: str):
    """A fresh file system, as the board's own start makes it."""
    vfs.VfsLfs2.mkfs(flash, progsize=256)
    mount(flash, where)


def mount(flash, where: str):
    """As the board's own start mounts it; OSError if littlefs cannot."""
    vfs.mount(vfs.VfsLfs2(flash, progsize=256), where)
