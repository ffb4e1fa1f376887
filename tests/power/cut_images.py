"""What may be on a flash when the power goes at an operation. Runs on MicroPython.

The images are made by replaying the recorded operations up to the last finished sync, and landing
over that what the cut let land.
"""

from ram_flash import PROGRAM, SYNC, Cut, Replay


def torn(cut, operation, how, numbers):
    """Let a part of an operation happen."""
    kind, block, offset, data = operation
    content = cut.change(block)
    if kind == PROGRAM:
        half = len(data) // 2
        if how == "random":
            half = next(numbers) % len(data)
        cut.land((PROGRAM, block, offset, data[:half]))
        if how == "random":  # and a few cells got there by chance
            for index in range(half, min(half + 40, len(data))):
                content[offset + index] &= data[index] | (next(numbers) & 255)
    elif how == "half":
        content[:2048] = b"\xff" * 2048
    elif how == "other half":
        content[2048:] = b"\xff" * 2048
    else:
        for index in range(len(content)):
            content[index] |= next(numbers) & 255


def orders(window, numbers):
    """Subsets of unfinished operations, as bit masks, that a disorderly flash may have finished."""
    count = len(window)
    everything = (1 << count) - 1
    for index in range(count):
        yield everything & ~(1 << index)
        yield 1 << index
    blocks = {operation[1] for operation in window}
    for block in blocks:  # one block late, or one block early
        mask = 0
        for index in range(count):
            if window[index][1] == block:
                mask |= 1 << index
        yield mask
        yield everything & ~mask
    for _ in range(2):
        yield next(numbers) & everything  # any at all
        limits = {block: next(numbers) % (count + 1) for block in blocks}  # each block as far as it got
        mask = 0
        for index in range(count):
            if limits[window[index][1]] > 0:
                limits[window[index][1]] -= 1
                mask |= 1 << index
        yield mask


def images(record, every, numbers, heeded=1):
    """Yield (how, operations asked for, image) of each cut.

    every: 1 for all operations, 3 for each third. heeded: 1 where what was synchronised is
    finished, 0 for a flash that has finished it only when asked the next time.
    """
    log = record.log
    replay = Replay(record.image, log)
    syncs = [0, 0]
    synced = 0  # operations up to here are finished, whatever happens
    tried = set()
    for at in range(len(log) + 1):
        if at and log[at - 1][0] == SYNC:
            syncs = [syncs[1], at]
            synced = syncs[heeded]
            tried = set()
        if at % every:
            continue
        replay.advance(synced)
        window = log[synced:at]

        def landed(mask, window=window):
            cut = Cut(replay)
            for index in range(len(window)):
                if mask >> index & 1:
                    cut.land(window[index])
            return cut

        everything = (1 << len(window)) - 1
        tried.add(everything)
        yield "before", at, landed(everything)
        if at < len(log) and log[at][0] != SYNC:
            for how in ("half", "random") if log[at][0] == PROGRAM else ("half", "other half", "random"):
                cut = landed(everything)
                torn(cut, log[at], how, numbers)
                yield "torn", at, cut
        if len(window) > 1:
            for mask in orders(window, numbers):
                if mask not in tried:
                    tried.add(mask)
                    yield "disordered", at, landed(mask)
