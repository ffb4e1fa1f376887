"""The segment files in a journal's folder: their names, their headers, their frames.

Everything here gets by with a kilobyte of memory, however long a segment is.
"""

import os

from chargecore.frames import HEADER, MARK, OVERHEAD, PAYLOAD_MAX, decode_header, frame_length

_SUFFIX = ".seg"
_MARK = bytes([MARK])


def path(folder: str, number: int) -> str:
    """Where the segment of that number is kept."""
    return "%s/%08d%s" % (folder, number, _SUFFIX)


def listing(folder: str) -> list:
    """[(number, bytes)] of every segment on flash, oldest first. OSError if there is no such folder."""
    found = []
    for entry in os.ilistdir(folder):
        name, size = entry[0], entry[-1]
        if name.endswith(_SUFFIX) and name[:-4].isdigit():
            found.append((int(name[:-4]), size))
    return sorted(found)


def read(folder: str, number: int, offset: int, buffer) -> int:
    """Fill `buffer` from a segment; return how many bytes there were. OSError if none such."""
    with open(path(folder, number), "rb") as file:
        file.seek(offset)
        return file.readinto(buffer)


def header_of(folder: str, number: int):
    """The Header that opens a segment, or None if it cannot be read."""
    start = bytearray(PAYLOAD_MAX + OVERHEAD)
    with open(path(folder, number), "rb") as file:
        count = file.readinto(start)
    length = frame_length(memoryview(start)[:count], 0)
    if length and start[1] == HEADER:
        try:
            return decode_header(memoryview(start)[4 : length - 4])
        except ValueError:
            pass  # of another format
    return None


def frames_of(folder: str, number: int):
    """Yield (kind, payload) of each whole frame; a payload holds until the next is asked for."""
    buffer = bytearray(PAYLOAD_MAX + OVERHEAD)
    view = memoryview(buffer)
    at = 0
    with open(path(folder, number), "rb") as file:
        while True:
            file.seek(at)
            count = file.readinto(buffer)
            if count < OVERHEAD:
                return
            length = frame_length(view[:count], 0)
            if length:
                yield buffer[1], view[4 : length - 4]
                at += length
            else:  # damage: on to where the next frame may begin
                after = buffer.find(_MARK, 1, count)
                at += after if after > 0 else count
