"""Many rows frames unpacked at once.

The rows of a frame can only be read one after the other, but every frame stands alone: so all of
them are read side by side, the first row of each, then the second of each, an array element a
frame. docs/journal-format.md says what is read; chargecore.frames.decode_rows, which reads one
frame at a time, is what this agrees with to the last value.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chargecore.frames import CLAMP_STEP_MA
from chargecore.units import ABSENT
from underdash.archive.bitstreams import Ints, Streams, Where, memory

Ints32 = NDArray[np.int32]
Ints16 = NDArray[np.int16]

_HEAD = np.dtype([("number", "<u4"), ("t_s", "<u4"), ("t_ms", "<u2"), ("options", "u1"), ("count", "<u2")])
_CLAMP, _KEY_KNOWN, _KEY_ON = 1, 2, 4  # options
_POINT, _NO_BUS, _NO_CLAMP = 1, 2, 4  # shapes
_CHANGE_BITS = 16 + 3 + 8 + 3  # period, state, warnings, shape
_FIRST_CHANGE = 1000 << 14  # in force before the first row: a period of 1000, and nothing else
_FIRST_BUS_MV = 12600
_BLOCK = 8192  # frames read side by side: enough to forget what a step costs, few enough for memory


@dataclass(frozen=True)
class Decoded:
    """The rows of many frames. Units as in chargecore: [mV], [mA], [ms]; ABSENT where not measured.

    An element a row, frame after frame: t_ms (its end, since the board's power-up), low_mv, bus_mv,
    high_mv, clamp_ma, state, warnings. An element a frame: first (number of its first row), count
    (its rows), key (1 on, 0 off, ABSENT if not known), refused (the payload ends inside its head or
    inside a row: no row is taken from it).
    """

    t_ms: Ints
    low_mv: Ints32
    bus_mv: Ints32
    high_mv: Ints32
    clamp_ma: Ints
    state: Ints16
    warnings: Ints16
    first: Ints
    count: Ints
    key: Ints
    refused: NDArray[np.bool_]

    @property
    def frame(self) -> Ints:
        """The frame that each row stood in, by its place among the payloads."""
        return np.repeat(np.arange(len(self.count)), self.count)

    @property
    def number(self) -> Ints:
        """The number of each row."""
        return np.arange(len(self.t_ms)) + np.repeat(self.first - _starts(self.count), self.count)


def decode(payloads: Sequence[bytes]) -> Decoded:
    """Unpack the payloads of rows frames. Never raises for what is in them."""
    size = _HEAD.itemsize
    head = np.frombuffer(b"".join([payload[:size].ljust(size, b"\0") for payload in payloads]), _HEAD)
    bits = 8 * (np.fromiter(map(len, payloads), np.int64, len(payloads)) - size)
    refused = (bits < 0) | (head["count"] > bits)  # no row is shorter than a bit
    count = np.where(refused, 0, head["count"]).astype(np.int64)
    rows = _Rows(count)
    # Frames of like length go together, so that few wait for the longest; those with a clamp by themselves.
    fitted = head["options"] & _CLAMP
    order = np.lexsort((-count, fitted))
    order = order[count[order] > 0]
    for has_clamp in (0, 1):
        alike = order[fitted[order] == has_clamp]
        for at in range(0, len(alike), _BLOCK):
            block = alike[at : at + _BLOCK]
            refused[block] = rows.read(block, [payloads[index] for index in block.tolist()], bool(has_clamp))
    if refused.any():
        rows.leave_out(refused)
    period_ms, state, warnings = rows.changing()
    key = np.where(head["options"] & _KEY_KNOWN, np.where(head["options"] & _KEY_ON, 1, 0), ABSENT)
    return Decoded(
        _times(head["t_s"] * np.int64(1000) + head["t_ms"], period_ms, rows.count),
        rows.low_mv, rows.bus_mv, rows.high_mv, rows.clamp_ma, state, warnings,
        head["number"].astype(np.int64), rows.count, key, refused)  # fmt: skip


def _starts(count: Ints) -> Ints:
    """Where each frame's rows begin among the rows of all."""
    return np.cumsum(count) - count


def _times(first_ms: Ints, period_ms: Ints32, count: Ints) -> Ints:
    """When each row ended [ms]: the first of a frame as its head says, each other a period after the one before."""
    start, holds = _starts(count), count > 0
    period_ms[start[holds]] = 0
    t_ms = np.cumsum(period_ms, dtype=np.int64)
    t_ms += np.repeat(first_ms[holds] - t_ms[start[holds]], count[holds])
    return t_ms


class _Rows:
    """The rows of all frames, as they are being read. `count`: those of each frame."""

    def __init__(self, count: Ints):
        total = int(count.sum())
        self.count = count
        self._start = _starts(count)
        self.low_mv, self.bus_mv, self.high_mv = (np.full(total, ABSENT, np.int32) for _ in range(3))
        self.clamp_ma = np.full(total, ABSENT, np.int64)
        # Where period, state, warnings or shape change, and to what. The last of one place counts.
        begins = self._start[count > 0]
        self._changed_at = [begins]
        self._changed_to = [np.full(len(begins), _FIRST_CHANGE)]

    def read(self, block: Ints, payloads: list[bytes], has_clamp: bool) -> NDArray[np.bool_]:
        """Read the frames `block`, longest first, side by side; which of them end inside a row."""
        count, start = self.count[block], self._start[block]
        ends = np.cumsum(np.fromiter(map(len, payloads), np.int64, len(block)))
        bits = Streams(b"".join(payloads), 8 * (np.concatenate(([0], ends[:-1])) + _HEAD.itemsize))
        bus_mean, below_mean, above_mean, clamp_mean = (memory(usual, len(block)) for usual in (12, 12, 12, 6))
        bus_mv, clamp_ma = np.full(len(block), _FIRST_BUS_MV), np.zeros(len(block), np.int64)
        shape = np.zeros(len(block), np.int64)
        going_on = np.searchsorted(-count, -np.arange(count[0]))  # how many frames have so many rows, and more
        for index, going in enumerate(going_on.tolist()):
            every: Where = slice(going)
            at = start[every] + index
            changed = np.flatnonzero(bits.flags(every))
            if len(changed):
                to = bits.fields(changed, _CHANGE_BITS)
                shape[changed] = to & 7
                self._changed_at.append(at[changed])
                self._changed_to.append(to)
            has_bus = has_spread = has_amps = every
            if shape[every].any():
                has_bus, has_spread, has_amps = (
                    np.flatnonzero(shape[every] & without == 0) for without in (_NO_BUS, _NO_BUS | _POINT, _NO_CLAMP)
                )
            bus_mv[has_bus] += bits.differences(has_bus, bus_mean)
            self.bus_mv[at[has_bus]] = bus_mv[has_bus]
            if has_spread is not has_bus:
                self.low_mv[at[has_bus]] = self.high_mv[at[has_bus]] = bus_mv[has_bus]
            self.low_mv[at[has_spread]] = bus_mv[has_spread] - bits.numbers(has_spread, below_mean)
            self.high_mv[at[has_spread]] = bus_mv[has_spread] + bits.numbers(has_spread, above_mean)
            if has_clamp:
                clamp_ma[has_amps] += CLAMP_STEP_MA * bits.differences(has_amps, clamp_mean)
                self.clamp_ma[at[has_amps]] = clamp_ma[has_amps]
        return bits.at > 8 * ends

    def leave_out(self, refused: NDArray[np.bool_]) -> None:
        """Drop the rows of those frames."""
        taken = ~np.repeat(refused, self.count)
        place: Ints = np.cumsum(taken) - 1
        self.low_mv, self.bus_mv, self.high_mv = self.low_mv[taken], self.bus_mv[taken], self.high_mv[taken]
        self.clamp_ma = self.clamp_ma[taken]
        for index, at in enumerate(self._changed_at):
            self._changed_to[index] = self._changed_to[index][taken[at]]
            self._changed_at[index] = place[at[taken[at]]]
        self.count = np.where(refused, 0, self.count)

    def changing(self) -> tuple[Ints32, Ints16, Ints16]:
        """(period [ms], state, warnings) of each row."""
        at, to = np.concatenate(self._changed_at), np.concatenate(self._changed_to)
        order = np.argsort(at, kind="stable")
        order = order[np.diff(at[order], append=len(self.bus_mv)) > 0]
        rows = np.diff(at[order], append=len(self.bus_mv))
        to = to[order].astype(np.int32)
        state, warnings = (to >> 11 & 7).astype(np.int16), (to >> 3 & 255).astype(np.int16)
        return np.repeat(to >> 14, rows), np.repeat(state, rows), np.repeat(warnings, rows)
