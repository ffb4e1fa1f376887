"""The frames of a segment, found quickly."""

from zlib import crc32

from chargecore import frames

_HEAD = 4  # mark, kind, length of the payload
_CRC = 4


def scan(data: bytes) -> list[tuple[int, bytes | int, int]]:
    """What chargecore.frames.scan yields: (kind, payload, offset) for each whole frame, and
    (0, how many bytes, offset) for each stretch that is no whole frame. Never raises."""
    view = memoryview(data)
    found: list[tuple[int, bytes | int, int]] = []
    size = len(data)
    at = bad = 0
    while at + frames.OVERHEAD <= size:
        end = at + _HEAD + (data[at + 2] | data[at + 3] << 8)
        if (
            data[at] == frames.MARK
            and data[at + 1] != 0
            and end - at <= _HEAD + frames.PAYLOAD_MAX
            and end + _CRC <= size
            and crc32(view[at:end]) == int.from_bytes(view[end : end + _CRC], "little")
        ):
            if bad < at:
                found.append((0, at - bad, bad))
            found.append((data[at + 1], data[at + _HEAD : end], at))
            at = bad = end + _CRC
        else:
            at = data.find(frames.MARK, at + 1)
            if at < 0:
                break
    if bad < size:
        found.append((0, size - bad, bad))
    return found
