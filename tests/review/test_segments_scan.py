"""The quick scan finds what chargecore's finds."""

import random

from hypothesis import example, given, settings
from hypothesis import strategies as st
from pieces import header, seal

from chargecore import frames
from underdash.archive.scan import scan

HEADER = header(1, 1, 0)
whole = st.builds(seal, st.integers(1, 255), st.binary(max_size=60))
# Beginnings that promise a frame, and frames inside broken ones.
tempting = st.sampled_from(
    (b"\xc5", b"\xc5\x02", b"\xc5\x00\x00\x00", b"\xc5\x02\xff\xff", b"\xc5\x02\x05\x00", HEADER[:9])
)
piece = st.one_of(whole, tempting, st.binary(max_size=12), whole.map(lambda frame: frame[:-1]))


@settings(max_examples=500, deadline=None)
@given(st.lists(piece, max_size=12).map(b"".join))
@example(b"")
@example(seal(2, bytes(frames.PAYLOAD_MAX)) + seal(2, bytes(frames.PAYLOAD_MAX + 1)))
@example(seal(0, b"no such kind") + HEADER)
def test_the_same_frames_and_stretches(data: bytes) -> None:
    assert scan(data) == list(frames.scan(data))


def test_the_same_in_a_long_segment_with_random_damage() -> None:
    chance = random.Random(2)
    clean = HEADER + b"".join(seal(2, chance.randbytes(chance.randrange(200))) for _ in range(100))
    for _ in range(60):
        data = bytearray(clean)
        for _ in range(chance.randrange(6)):
            at = chance.randrange(len(data))
            what = chance.randrange(3)
            if what == 0:
                data[at] ^= 1 << chance.randrange(8)
            elif what == 1:
                del data[at : at + chance.randrange(40)]
            else:
                data[at:at] = chance.randbytes(chance.randrange(40))
        assert scan(bytes(data)) == list(frames.scan(bytes(data)))
