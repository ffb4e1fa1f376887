"""CRC-32 (ISO-HDLC, as in zlib) in two halves of 16 bits.

`binascii.crc32` returns numbers beyond 2**30, which the board would have to box on its heap in
the middle of a tick; the halves never leave small-integer range. Both give the same checksum.
"""

from array import array


def _tables():
    low = array("H", [0] * 256)
    high = array("H", [0] * 256)
    for index in range(256):
        lo, hi = index, 0
        for _ in range(8):
            carry = lo & 1
            lo = lo >> 1 | (hi & 1) << 15
            hi >>= 1
            if carry:  # the reversed polynomial 0xEDB88320
                lo ^= 0x8320
                hi ^= 0xEDB8
        low[index] = lo
        high[index] = hi
    return low, high


_LOW, _HIGH = _tables()


def put_crc32(buffer, end: int):
    """Write the checksum of `buffer[0:end]` behind it, four bytes, least significant first."""
    table_low, table_high = _LOW, _HIGH
    lo = hi = 0xFFFF
    for position in range(end):
        index = (lo ^ buffer[position]) & 255
        lo = (lo >> 8 | (hi & 255) << 8) ^ table_low[index]
        hi = hi >> 8 ^ table_high[index]
    lo ^= 0xFFFF
    hi ^= 0xFFFF
    buffer[end] = lo & 255
    buffer[end + 1] = lo >> 8
    buffer[end + 2] = hi & 255
    buffer[end + 3] = hi >> 8
