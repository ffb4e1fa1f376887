"""Runs on MicroPython: what writing a board's rows does to its flash, by real littlefs in RAM.

Arguments: a file of a day's rows, driving first and then at rest, a line each ("dt_ms low_mv bus_mv
high_mv clamp_ma state warnings"); a number of days. The flash is filled first, so that the ring gives
up its oldest segment throughout. Prints one line of JSON.
"""

import json
import sys
from array import array

import vfs
from ram_flash import Flash, format_and_mount

from chargecore import engine, frames
from monitor.journal import Journal

BLOCKS = 352
PROGRAM_BYTES = 120000  # about what the firmware's own files take: blocks that are never erased


def load(path):
    rows = array("i")
    with open(path) as file:
        for line in file:
            rows.extend(array("i", [int(word) for word in line.split()]))
    return rows


class Counts:
    """What one kind of hour cost."""

    def __init__(self):
        self.rows = self.journalled = self.programmed = self.erases = self.commits = self.ms = 0


class Writer:
    """Writes rows as the monitor does, and counts."""

    def __init__(self, flash):
        self.flash = flash
        header = frames.Header()
        header.calibration.clamp_fitted = 1
        self.snapshot = header.snapshot
        self.journal = Journal("/journal", header)
        self.journal.start(self.snapshot)
        self._t_ms = 0
        self._t_s = 0
        self._state = self._warnings = 0

    def run(self, rows, counts):
        journal, flash = self.journal, self.flash
        at = 0
        while at < len(rows):
            dt_ms, state, warnings = rows[at], rows[at + 5], rows[at + 6]
            self._t_ms += dt_ms
            self._t_s += self._t_ms // 1000
            self._t_ms %= 1000
            journal.append(
                dt_ms, self._t_s, self._t_ms, rows[at + 1], rows[at + 2], rows[at + 3], rows[at + 4], state, warnings
            )
            if (state != self._state or warnings != self._warnings) and state != engine.CRANK:
                journal.want()
            self._state, self._warnings = state, warnings
            at += 7
            counts.rows += 1
            counts.ms += dt_ms
            if journal.is_due() or at == len(rows):
                segment, size = journal.header.segment, journal._size
                programmed, erased = flash.programmed, flash.erased
                journal.commit(self.snapshot)
                if segment == journal.header.segment:
                    counts.journalled += journal._size - size
                else:  # that one is full, and the next has its header
                    counts.journalled += dict(journal.segments())[segment] - size + journal._size
                counts.commits += 1
                counts.programmed += flash.programmed - programmed
                counts.erases += flash.erased - erased


def main():
    rows, days = load(sys.argv[1]), int(sys.argv[2])
    parked = 0
    while parked < len(rows) and rows[parked] != 60000:
        parked += 7
    driving, parked = rows[:parked], rows[parked:]
    vfs.umount("/")
    flash = Flash(BLOCKS)
    format_and_mount(flash, "/")
    for number in range(PROGRAM_BYTES // 6000):
        with open(f"/program{number}", "wb") as file:
            file.write(bytes(6000))
    writer = Writer(flash)
    while writer.journal.segments()[0][0] == 1:
        writer.run(driving, Counts())
    flash.erases = [0] * BLOCKS
    awake, asleep = Counts(), Counts()
    for _ in range(days):
        writer.run(driving, awake)
        writer.run(parked, asleep)
    worn = sorted(flash.erases)
    header = writer.journal.header
    print(json.dumps({
        "days": days, "driving": awake.__dict__, "rest": asleep.__dict__,
        "segments": len(writer.journal.segments()), "held_rows": header.first_row - header.rows_dropped,
        "worn_most": worn[-1], "worn_median": worn[BLOCKS // 2], "worn_total": sum(worn),
        "never": len([one for one in worn if one == 0]),
    }))  # fmt: skip


main()
