"""Numbers that every part shares. Units are in the names: `_mv`, `_ma`, `_ms`, `_mas` (mA s)."""

from chargecore.shim import const

# A quantity that could not be measured. Inside 31 bits, so the board never boxes it.
ABSENT = const(-0x20000000)

# The board's millisecond clock wraps at 2**30; every difference is taken through this mask.
TICKS_MASK = const(0x3FFFFFFF)

# An oversampled converter code counts sixteenths of a 12-bit step: 0 .. 65520.
CODE_MAX = const(65520)


def elapsed_ms(now_ms: int, then_ms: int) -> int:
    """Milliseconds from `then_ms` to `now_ms` across at most one wrap of the 2**30 ms clock."""
    return (now_ms - then_ms) & TICKS_MASK
