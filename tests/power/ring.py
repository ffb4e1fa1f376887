"""Runs on MicroPython: fill a small flash several times over, and look at what the ring kept."""

import os

import vfs

from chargecore import engine, frames, thresholds
from monitor.journal import Journal


class Flash:
    def __init__(self, blocks):
        self._bytes = bytearray(4096 * blocks)
        self._blocks = blocks

    def readblocks(self, block, buffer, offset=0):
        at = block * 4096 + offset
        buffer[:] = memoryview(self._bytes)[at : at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        at = block * 4096 + offset
        self._bytes[at : at + len(buffer)] = buffer

    def ioctl(self, request, argument):
        return {4: self._blocks, 5: 4096}.get(request, 0)


flash = Flash(64)
vfs.VfsLfs2.mkfs(flash, progsize=256)
vfs.mount(vfs.VfsLfs2(flash, progsize=256), "/flash")
judge = engine.Engine(thresholds.Thresholds())
journal = Journal("/flash/journal", frames.Header())
journal.start(judge.snapshot())
ROWS = 200000
for index in range(ROWS):
    noise = index * 7919 % 41
    journal.append(1000, index, 0, 13780 - noise, 13800 + noise, 13860, -0x20000000, 3, 0)
    if journal.is_due():
        journal.commit(judge.snapshot())
journal.close()

segments = journal.segments()
expected = None
for number, _ in segments:
    with open(f"/flash/journal/{number:08d}.seg", "rb") as file:
        for kind, payload, _at in frames.scan(file.read()):
            if kind == frames.HEADER:
                header = frames.decode_header(payload)
                if expected is None:
                    oldest = header.first_row
                assert expected is None or header.first_row == expected
                expected = header.first_row
            else:
                assert kind == frames.ROWS
                first, count = frames.rows_span(payload)
                assert first == expected
                expected += count
again = Journal("/flash/journal", frames.Header())
print(len(segments), segments[0][0], oldest, header.rows_dropped, expected, again.header.first_row, again.header.boot)
print(os.statvfs("/flash")[0] * os.statvfs("/flash")[3])
