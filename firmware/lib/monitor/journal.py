"""The journal on flash: a ring of segments, each a file of chargecore's frames.

Rows gather in RAM, and only `commit` writes them. When it is due:

* something happened that `want` was told of: a verdict changed, the key was turned;
* a minute of rows has gathered. At rest, with a row a minute, half an hour of them. While the
  starter turns it holds the supply down, so a crank (30 s at most) puts the minute off;
* the frame in RAM is full.

What a power cut costs is what stood in RAM: at most FLUSH_MS of rows, or REST_FLUSH_MS of them
at rest, the crank that followed them, and the row in the making. A full ring gives up its
oldest segment and counts the rows that went with it.
"""

import io
import os

from chargecore import VERSION
from chargecore.engine import CRANK, REST, UNKNOWN
from chargecore.frames import OVERHEAD, PAYLOAD_MAX, PERIOD_MAX_MS, ROWS, Header, RowsFrame, rows_span
from chargecore.shim import const
from chargecore.units import ABSENT
from monitor import segments

FLUSH_MS = const(60000)
REST_FLUSH_MS = const(1800000)
SEGMENT_BYTES = const(32768)
_RESERVE_BYTES = const(65536)  # left free for settings, errors and the next segment


class Journal:
    """Appends rows to the newest segment in `folder`.

    Opening reads the newest segments to continue the counts of rows, boots and segments.
    `header` (a chargecore Header with calibration and thresholds set) opens every new segment.
    `key` (1 on, 0 off, ABSENT without a sense wire) is that of the rows that follow.
    """

    def __init__(self, folder: str, header: Header):
        self.folder = folder
        self.header = header
        self.key = ABSENT
        self._file: "io.FileIO" = None
        self._size = 0
        self._wanted = False
        self._state = UNKNOWN
        self._gathered_ms = 0
        # A row that cannot stand in the frame being filled begins the other one: no row waits for flash.
        self._frame = RowsFrame(header.calibration.clamp_fitted)
        self._other = RowsFrame(header.calibration.clamp_fitted)
        self._scratch = bytearray(PAYLOAD_MAX + OVERHEAD)
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there already
        self._continue()

    def segments(self) -> list:
        """[(number, bytes)] of every segment on flash, oldest first."""
        return segments.listing(self.folder)

    def read(self, number: int, offset: int, buffer) -> int:
        """Fill `buffer` from a segment; return how many bytes there were. OSError if none such."""
        return segments.read(self.folder, number, offset, buffer)

    def room_bytes(self) -> int:
        """What may still be written before a new segment takes the place of the oldest."""
        status = os.statvfs(self.folder)
        return max(0, status[0] * status[3] - SEGMENT_BYTES - _RESERVE_BYTES)

    def start(self, snapshot: tuple):
        """Open this boot's first segment; `snapshot` is the engine's, before the first row."""
        self._open_segment(snapshot)

    def append(
        self,
        dt_ms: int,
        t_s: int,
        t_ms: int,
        low_mv: int,
        bus_mv: int,
        high_mv: int,
        clamp_ma: int,
        state: int,
        warnings: int,
    ):
        """Add a row that ended `dt_ms` after the last one, at t_s + t_ms/1000 since boot.

        Touches RAM only, and allocates nothing.
        """
        frame = self._frame
        if frame.rows and (dt_ms > PERIOD_MAX_MS or frame.key != self.key or not frame.has_room()):
            frame = self._turn_over()
        if frame.rows == 0:
            frame.start(self.header.first_row, t_s, t_ms, self.key)
        frame.add(dt_ms, low_mv, bus_mv, high_mv, clamp_ma, state, warnings)
        self.header.first_row += 1
        self._state = state
        if self._gathered_ms < REST_FLUSH_MS:
            self._gathered_ms += min(dt_ms, REST_FLUSH_MS)

    def want(self):
        """Ask for a commit: something happened that must not be lost."""
        self._wanted = True

    def is_due(self) -> bool:
        """Is it time to commit?"""
        limit_ms = REST_FLUSH_MS if self._state == REST or self._state == CRANK else FLUSH_MS
        return self._wanted or self._gathered_ms >= limit_ms or self._frame.is_full()

    def commit(self, snapshot: tuple):
        """Write every row so far, and begin a new segment once this one has its size; `snapshot`
        is the engine's after the last row.

        OSError if the flash fails: the rows in RAM are then given up, as a jump in the numbers
        shows, and the next commit begins a new segment.
        """
        try:
            if self._file is None:
                self._forget()
                self._open_segment(snapshot)
            else:
                self._write()
                if self._size >= SEGMENT_BYTES:
                    self._open_segment(snapshot)
        except OSError:
            self._forget()
            self._abandon()
            raise

    def close(self):
        """Write what is left, and let go of the file."""
        if self._file:
            self._write()
            self._file.close()
            self._file = None

    # -- inside -------------------------------------------------------------------------------

    def _turn_over(self):
        """Go on in the other frame. If that was never committed, its rows, the oldest, are lost."""
        full = self._frame
        full.close()
        self._frame = self._other
        self._other = full
        self._frame.rows = 0
        self._wanted = True
        return self._frame

    def _forget(self):
        self._frame.rows = self._other.rows = 0
        self._gathered_ms = 0
        self._wanted = False

    def _write(self):
        """Hand the rows to the file system, and have them committed."""
        if self._frame.rows:
            for frame in (self._other, self._frame):
                if frame.rows:
                    length = frame.close()
                    self._file.write(memoryview(frame.buffer)[:length])
                    self._size += length
            self._file.flush()
        self._forget()

    def _abandon(self):
        """Nothing can be said of a file that failed: littlefs itself refuses to go on with it."""
        try:
            if self._file:
                self._file.close()
        except OSError:
            pass
        self._file = None

    def _open_segment(self, snapshot):
        if self._file:
            self._file.close()
            self._file = None
        self._make_room()
        header = self.header
        header.segment += 1
        header.snapshot = snapshot
        length = header.pack(self._scratch)
        file = open(segments.path(self.folder, header.segment), "wb")
        file.write(memoryview(self._scratch)[:length])
        file.flush()
        self._file = file
        self._size = length

    def _make_room(self):
        """Give up the oldest segments until a new one fits beside the reserve."""
        found = self.segments()
        while len(found) > 1:
            status = os.statvfs(self.folder)
            if status[0] * status[3] >= SEGMENT_BYTES + _RESERVE_BYTES:
                return
            os.remove(segments.path(self.folder, found[0][0]))
            found.pop(0)
            self._count_dropped(found[0][0])

    def _count_dropped(self, oldest):
        """Rows count from 0: what the oldest segment begins with is how many have gone before it.
        Counted afresh at each start, so that no power cut between removing and telling matters."""
        header = segments.header_of(self.folder, oldest)
        if header:
            self.header.rows_dropped = max(self.header.rows_dropped, header.first_row)

    def _continue(self):
        """Take up the counts where the newest readable header, and the rows since, left them."""
        mine = self.header
        found = self.segments()
        for number, size in reversed(found):
            mine.segment = max(mine.segment, number)
            if size == 0:  # the power went before its header was committed
                os.remove(segments.path(self.folder, number))
                continue
            for kind, payload in segments.frames_of(self.folder, number):
                if kind == ROWS:
                    first, count = rows_span(payload)
                    mine.first_row = max(mine.first_row, first + count)
            mine.boot += 1  # a segment without a header may be of a boot of its own
            last = segments.header_of(self.folder, number)
            if last:
                mine.boot += last.boot
                mine.rows_dropped = last.rows_dropped
                mine.first_row = max(mine.first_row, last.first_row)
                self._count_dropped(found[0][0])
                break
        else:
            mine.boot += 1
        mine.firmware = tuple([int(part) for part in VERSION.split(".")])
