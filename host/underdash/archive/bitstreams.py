"""Rice codes out of many streams of bits at once, an array element a stream.

What one stream holds, and how, stands in docs/journal-format.md ("Streams"); chargecore.bits reads
and writes one at a time.
"""

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Words = NDArray[np.uint64]
Where = slice | Ints

_ESCAPE = 12  # this many ones, and the number follows in full
_FULL_BITS = 24
_LEARNT_MOST = 0xFFFF

# By a running mean: k, the smallest with 2^k >= mean, at most 15.
_SIZES = np.searchsorted(1 << np.arange(15), np.arange(_LEARNT_MOST + 1)).astype(np.int64)
# By 12 bits: how long their ones and the zero behind them are; 13 where there are only ones.
_UNARY = 1 + sum((np.arange(1 << _ESCAPE) >> _ESCAPE - ones == (1 << ones) - 1) for ones in range(1, _ESCAPE + 1))
# By that length: the ones, the zero and k more bits, read as one number, are too large by this times 2^k.
_EXCESS: Ints = np.array([0, *((2 << ones) - 2 - ones for ones in range(_ESCAPE + 1))], np.int64)


def memory(usual: int, count: int) -> Ints:
    """What `count` streams remember before their first number: sixteen times their running mean."""
    return np.full(count, usual << 4, np.int64)


class Streams:
    """Streams in one run of bytes, each read from its place `at` [bits] on.

    The methods read from the streams chosen by `where`, and move on there. Beyond the end of the
    bytes there is no telling what they read: whether `at` went too far is for the caller to see.
    """

    def __init__(self, data: bytes, at: Ints):
        self.at = at
        # The 64 bits that begin at each byte. Wherever in that byte one starts, 57 are to be had.
        padded = np.frombuffer(data + bytes(8), np.uint8)
        self._words = np.ndarray((len(data) + 1,), ">u8", padded, strides=(1,)).astype(np.uint64)

    def flags(self, where: Where) -> NDArray[np.bool_]:
        """The next bit of each."""
        word = self._look(self.at[where])
        self.at[where] += 1
        ones: NDArray[np.bool_] = word >> 63 != 0
        return ones

    def fields(self, where: Where, bits: int) -> Ints:
        """The next `bits` (at most 57) of each."""
        word = self._look(self.at[where])
        self.at[where] += bits
        value: Ints = (word >> 64 - bits).view(np.int64)
        return value

    def numbers(self, where: Where, memory: Ints) -> Ints:
        """The next number of each, as Rice.get; `memory` learns it."""
        word = self._look(self.at[where])
        mean = memory[where] >> 4
        size = _SIZES.take(mean)
        unary = _UNARY.take((word >> 52).view(np.int64))
        bits = unary + size
        value: Ints = (word >> (64 - bits).view(np.uint64)).view(np.int64)
        value -= _EXCESS.take(unary) << size
        escaped = np.flatnonzero(unary > _ESCAPE)
        if len(escaped):
            value[escaped] = (word[escaped] << _ESCAPE >> 64 - _FULL_BITS).view(np.int64)
            bits[escaped] = _ESCAPE + _FULL_BITS
        self.at[where] += bits
        memory[where] += np.minimum(value, _LEARNT_MOST) - mean
        return value

    def differences(self, where: Where, memory: Ints) -> Ints:
        """The next signed number of each, as Rice.get_signed."""
        value = self.numbers(where, memory)
        difference: Ints = value >> 1 ^ -(value & 1)
        return difference

    def _look(self, at: Ints) -> Words:
        """What follows there, from the uppermost bit of each word down."""
        return self._words.take(at >> 3, mode="clip") << (at & 7).view(np.uint64)
