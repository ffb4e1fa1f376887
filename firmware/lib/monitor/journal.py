"""The journal on flash: a ring of segments, each a file of chargecore's frames.

Rows gather in a frame in RAM; `flush` seals it and makes the file system commit it. What is
lost with the power is the frame in RAM: at most FLUSH_MS of rows, fewer when the verdict just
changed. A full ring gives up its oldest segment and counts the rows that went with it.
"""

import io
import os

from chargecore import VERSION
from chargecore.frames import (
    HEADER,
    OVERHEAD,
    PAYLOAD_MAX,
    ROWS,
    Header,
    RowsFrame,
    decode_header,
    rows_span,
    scan,
)
from chargecore.shim import const

FLUSH_MS = const(60000)
SEGMENT_BYTES = const(32768)
RESERVE_BYTES = const(65536)  # left free for settings, errors and the next segment
_SUFFIX = ".seg"


class Journal:
    """Appends rows to the newest segment in `folder`.

    Opening reads the newest segments to continue the counts of rows, boots and segments.
    `header` (a chargecore Header with calibration and thresholds set) opens every new segment.
    """

    def __init__(self, folder: str, header: Header):
        self.folder = folder
        self.header = header
        self._file: "io.FileIO" = None
        self._size = 0
        self._unflushed_ms = 0
        self._frame = RowsFrame(header.calibration.clamp_fitted)
        self._view = memoryview(self._frame.buffer)
        self._scratch = bytearray(PAYLOAD_MAX + OVERHEAD)
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there already
        self._continue()

    def segments(self) -> list:
        """[(number, bytes)] of every segment on flash, oldest first."""
        found = []
        for entry in os.ilistdir(self.folder):
            if entry[0].endswith(_SUFFIX) and entry[0][:8].isdigit():
                found.append((int(entry[0][:8]), os.stat(self._path(int(entry[0][:8])))[6]))
        return sorted(found)

    def read(self, number: int, offset: int, buffer) -> int:
        """Fill `buffer` from a segment; return how many bytes there were. OSError if none such."""
        with open(self._path(number), "rb") as file:
            file.seek(offset)
            return file.readinto(buffer)

    def start(self, snapshot: tuple):
        """Open this boot's first segment; `snapshot` is the engine's, before the first row."""
        self._open_segment(snapshot)

    def append(self, dt_ms: int, t_s: int, t_ms: int, row: tuple, state: int, warnings: int):
        """Add a row (low_mv, bus_mv, high_mv, clamp_ma) that ended `dt_ms` after the last one,
        at t_s + t_ms/1000 since boot."""
        frame = self._frame
        if frame.rows == 0:
            frame.start(self.header.first_row, t_s, t_ms)
        frame.add(dt_ms, row[0], row[1], row[2], row[3], state, warnings)
        self.header.first_row += 1
        self._unflushed_ms += dt_ms
        if frame.is_full():
            self._write_frame()

    def is_due(self) -> bool:
        return self._unflushed_ms >= FLUSH_MS

    def flush(self):
        """Commit every row so far."""
        self._write_frame()
        self._file.flush()
        self._unflushed_ms = 0

    def commit(self, snapshot: tuple):
        self.flush()
        self.rotate_if_full(snapshot)

    def rotate_if_full(self, snapshot: tuple):
        """Begin a new segment once this one has its size; call right after a flush."""
        if self._size >= SEGMENT_BYTES:
            self._open_segment(snapshot)

    def close(self):
        if self._file:
            self.flush()
            self._file.close()
            self._file = None

    # -- inside -------------------------------------------------------------------------------

    def _path(self, number):
        return "%s/%08d%s" % (self.folder, number, _SUFFIX)

    def _write_frame(self):
        if self._frame.rows:
            length = self._frame.close()
            self._file.write(self._view[:length])
            self._size += length
            self._frame.rows = 0

    def _open_segment(self, snapshot):
        if self._file:
            self._file.close()
        self._make_room()
        header = self.header
        header.segment += 1
        header.snapshot = snapshot
        length = header.pack(self._scratch)
        self._file = open(self._path(header.segment), "wb")
        self._file.write(memoryview(self._scratch)[:length])
        self._file.flush()
        self._size = length

    def _make_room(self):
        """Drop the oldest segments until a new one fits beside the reserve."""
        segments = self.segments()
        while len(segments) > 1:
            status = os.statvfs(self.folder)
            if status[0] * status[3] >= SEGMENT_BYTES + RESERVE_BYTES:
                return
            oldest = self._read_header(segments[0][0])
            after = self._read_header(segments[1][0])
            if oldest and after:
                self.header.rows_dropped += after.first_row - oldest.first_row
            os.remove(self._path(segments[0][0]))
            segments.pop(0)

    def _read_header(self, number):
        with open(self._path(number), "rb") as file:
            start = file.read(PAYLOAD_MAX + OVERHEAD)
        for kind, payload, _ in scan(start):
            if kind == HEADER:
                try:
                    return decode_header(payload)
                except ValueError:
                    pass
            return None

    def _continue(self):
        """Take up the counts where the newest readable segment left them."""
        mine = self.header
        for number, size in reversed(self.segments()):
            mine.segment = max(mine.segment, number)
            if size == 0:  # the power went before its header was committed
                os.remove(self._path(number))
                continue
            last = self._read_header(number)
            if last:
                mine.boot = last.boot
                mine.rows_dropped = last.rows_dropped
                mine.first_row = last.first_row
                with open(self._path(number), "rb") as file:
                    for kind, payload, _ in scan(memoryview(file.read())):
                        if kind == ROWS:
                            first, count = rows_span(payload)
                            mine.first_row = first + count
                break
        mine.boot += 1
        mine.firmware = tuple([int(part) for part in VERSION.split(".")])
