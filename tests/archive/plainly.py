"""A board's folder looked at a byte, a frame and a row at a time: what the quick look must agree with.

Written for the tests, with chargecore's own scan and decode_rows, from docs/journal-format.md and docs/archive.md.
"""

from dataclasses import dataclass, field
from pathlib import Path

from chargecore import engine, frames

T_MS, STATE = 0, 5  # in a row


@dataclass
class Account:
    """As underdash.archive.check.Checked has it. damage: (segment, offset, bytes). gaps: (boot, start [s], length [s],
    rows missing). unreadable: (segment's file, offset, why, "" where the head of the frame was too short)."""

    rows: int = 0
    lost_rows: int = 0
    damage: list[tuple[int, int, int]] = field(default_factory=list)
    gaps: list[tuple[int, float, float, int]] = field(default_factory=list)
    unreadable: list[tuple[str, int, str]] = field(default_factory=list)


def account(paths: list[Path]) -> Account:
    """What these segments of one board hold, in order."""
    found = Account()
    expected = 0 if len(paths) > 1 else None
    boot = last = None
    for path in paths:
        pieces = list(frames.scan(path.read_bytes()))
        found.damage += [(int(path.stem), offset, lost) for kind, lost, offset in pieces if kind == 0]
        header = next((one for kind, payload, _ in pieces if kind == frames.HEADER and (one := opened(payload))), None)
        if header is None or header.boot != boot:
            boot, last = header and header.boot, None
        missing_here = 0
        if header:
            missing_here = max(0, header.first_row - expected) if expected is not None else 0
            found.lost_rows += missing_here
            expected = max(expected or 0, header.first_row)
        for kind, payload, offset in pieces:
            if kind == frames.HEADER and opened(payload) is None:
                found.unreadable.append((path.name, offset, ""))
            if kind != frames.ROWS:
                continue
            try:
                number, rows = frames.decode_rows(payload)
            except ValueError as problem:
                found.unreadable.append((path.name, offset, str(problem) if len(payload) >= 13 else ""))
                continue
            jump = max(0, number - expected) if expected is not None else 0
            found.lost_rows += jump
            missing = jump + missing_here
            for index, row in enumerate(rows):
                if expected is not None and number + index < expected:
                    continue
                found.rows += 1
                if last and boot is not None:
                    hole(found, boot, last, row, missing)
                last, missing, missing_here = row, 0, 0
            expected = max(expected or 0, number + len(rows))
    return found


def opened(payload: bytes) -> frames.Header | None:
    try:
        return frames.decode_header(payload)
    except ValueError:
        return None


def hole(found: Account, boot: int, before: tuple[int, ...], after: tuple[int, ...], missing: int) -> None:
    length_ms = after[T_MS] - before[T_MS]
    if missing or length_ms > (65_535 if before[STATE] == engine.REST else 10_000):
        found.gaps.append((boot, before[T_MS] / 1000, length_ms / 1000, missing))
