"""Bits into and out of bytes, and whole numbers in few bits when they are mostly small.

A number costs about as many bits as its usual size (Rice coding: its upper part in unary, its
lower `k` bits as they are); `k` follows the numbers seen so far, the same way on both sides.
"""

from chargecore.shim import const

_ESCAPE = const(12)  # this many ones, and the number follows in full
_FULL_BITS = const(24)


class BitWriter:
    """Writes into a given bytearray from `position` on, most significant bit first."""

    def __init__(self, buffer):
        self.buffer = buffer
        self.position = 0
        self._pending = 0
        self._count = 0

    def start(self, position: int):
        self.position = position
        self._pending = self._count = 0

    def put(self, value: int, bits: int):
        """Append the lowest `bits` (0 to 16) of `value`."""
        pending = self._pending << bits | (value & ((1 << bits) - 1))
        count = self._count + bits
        while count >= 8:
            count -= 8
            self.buffer[self.position] = pending >> count & 255
            self.position += 1
        self._pending = pending & ((1 << count) - 1)
        self._count = count

    def finish(self) -> int:
        """Fill the last byte with zeros; return the position behind it."""
        if self._count:
            self.put(0, 8 - self._count)
        return self.position


class BitReader:
    """Reads what BitWriter wrote; ValueError beyond the end."""

    def __init__(self, data):
        self._data = data
        self._at = 0
        self._end = len(data) * 8

    def get(self, bits: int) -> int:
        at = self._at
        if at + bits > self._end:
            raise ValueError("frame ends inside a row")
        self._at = at + bits
        value = 0
        data = self._data
        while bits:
            offset = at & 7
            take = min(bits, 8 - offset)
            value = value << take | (data[at >> 3] >> (8 - offset - take) & ((1 << take) - 1))
            at += take
            bits -= take
        return value


class Rice:
    """One stream of whole numbers with its own idea of their usual size."""

    def __init__(self, usual: int):
        self._usual = usual
        self.restart()

    def restart(self):
        self._mean16 = self._usual << 4  # sixteen times the running mean

    def _bits(self) -> int:
        mean = self._mean16 >> 4
        k = 0
        while mean > 1 << k and k < 15:
            k += 1
        return k

    def _learn(self, value):
        self._mean16 += min(value, 0xFFFF) - (self._mean16 >> 4)

    def put(self, writer: BitWriter, value: int):
        """Append `value`, 0 or more and below 2**24."""
        k = self._bits()
        upper = value >> k
        if upper < _ESCAPE:
            writer.put((1 << upper + 1) - 2, upper + 1)
            writer.put(value, k)
        else:
            writer.put((1 << _ESCAPE) - 1, _ESCAPE)
            writer.put(value >> 12, _FULL_BITS - 12)
            writer.put(value, 12)
        self._learn(value)

    def get(self, reader: BitReader) -> int:
        k = self._bits()
        upper = 0
        while upper < _ESCAPE and reader.get(1):
            upper += 1
        value = reader.get(_FULL_BITS) if upper == _ESCAPE else upper << k | reader.get(k)
        self._learn(value)
        return value

    def put_signed(self, writer: BitWriter, value: int):
        self.put(writer, value * 2 if value >= 0 else -value * 2 - 1)

    def get_signed(self, reader: BitReader) -> int:
        value = self.get(reader)
        return -(value + 1 >> 1) if value & 1 else value >> 1
