"""Runs on MicroPython: cut the power at every flash operation of a workload, and look at what is left.

Arguments: the workload's name; 1 to try every operation, 3 to try every third; the seed of what is
random; and, to see that this script notices what it is there to notice, a fault to build in.
Prints one line of JSON.
"""

import binascii
import json
import sys

import vfs
import workloads
from cut_images import images, torn
from ram_flash import ERASE, SYNC, Cut, mount
from workloads import content_of

from chargecore import frames
from chargecore.units import ABSENT
from monitor import errors, segments, settings
from monitor.journal import Journal

_NEST_EVERY = 40  # a recovery is cut itself after so many images
_NEST_CUTS = 4
_heeded = 1  # see cut_images.images


class Tally:
    """What the images showed."""

    def __init__(self, name):
        self.name = name
        self.images = {}
        self.lost = self.wrong = self.refused = self.stuck = 0
        self.at_risk = self.awake_s = self.parked_s = 0  # the most that was in RAM at a cut
        self.examples = []

    def count(self, kind):
        self.images[kind] = self.images.get(kind, 0) + 1

    def note(self, counter, what, where, by=1):
        setattr(self, counter, getattr(self, counter) + by)
        if len(self.examples) < 5:
            self.examples.append(f"{counter}: {what} at {where}")


# -- the journal's images ---------------------------------------------------------------------


def truth(record):
    """{number: {size: the next row's number}} of every segment, and its rows."""
    ends = {}
    for number, content in record.contents.items():
        ends[number] = table_of(content)
    return ends


def table_of(content):
    table, at, after = {0: None}, 0, 0
    while at < len(content):
        length = frames.frame_length(content, at)
        assert length, "the undisturbed journal is damaged"
        payload = content[at + 4 : at + length - 4]
        if content[at + 1] == frames.HEADER:
            after = frames.decode_header(payload).first_row
        else:
            first, count = frames.rows_span(payload)
            after = first + count
        at += length
        table[at] = after
    return table


class Found:
    """What a mounted image holds: `sizes` of segments, the next row's number, wrong rows."""

    def __init__(self, contents, ends):
        self.sizes = {}
        self.first_row = 0
        self.wrong = 0
        try:
            listed = segments.listing(workloads.FOLDER)
        except OSError:
            return  # not even the folder
        for number, size in listed:
            content = content_of(number)
            if content != contents.get(number, b"")[:size] or len(content) != size:
                self.wrong += rows_not_in(content, contents.get(number, b""))
            self.sizes[number] = size
            if size:
                after = ends.get(number, {}).get(size)
                if after is None:  # the file ends inside a frame
                    after = max([0] + [after for end, after in ends.get(number, {}).items() if end and end < size])
                self.first_row = max(self.first_row, after)


def rows_not_in(content, undisturbed):
    """How many of a segment's rows, as a reader accepts them, the undisturbed segment lacks."""

    def rows_of(data):
        found = set()
        for kind, payload, _ in frames.scan(data):
            if kind == frames.ROWS:
                number, rows = frames.decode_rows(payload)
                found |= {(number + index, row) for index, row in enumerate(rows)}
        return found

    return len(rows_of(content) - rows_of(undisturbed))


def judge_journal(tally, cut, before, after, contents, ends, where):
    """Mount, compare, write on; return what the recovery wrote, or None if it could not."""
    try:
        mount(cut, "/")
    except OSError:
        tally.note("refused", "no mount", where)
        return None
    try:
        found = Found(contents, ends)
        if found.wrong:
            tally.note("wrong", f"{found.wrong} rows", where, found.wrong)
        if found.first_row < before.first_row:
            missing = before.first_row - found.first_row
            tally.note("lost", f"{missing} rows", where, missing)
        for number, size in before.sizes.items():
            if found.sizes.get(number, 0) < size and number in after.sizes:
                tally.note("lost", f"segment {number} has {found.sizes.get(number, 0)} of {size}", where)
            elif number not in found.sizes and number + 1 not in before.sizes:
                tally.note("lost", f"segment {number}, not the oldest", where)
        at_risk = after.first_row - found.first_row
        tally.at_risk = max(tally.at_risk, at_risk)
        if at_risk > 0 and after.parked:
            tally.parked_s = max(tally.parked_s, after.span_ms // 1000)
        elif at_risk > 0:
            tally.awake_s = max(tally.awake_s, after.span_ms // 1000)
        return write_on(tally, found, where)
    except (OSError, AssertionError) as problem:
        tally.note("stuck", repr(problem), where)
        return None
    finally:
        vfs.umount("/")


class Recovery:
    """What a recovery left: `sizes` and `contents` of the segments, as a mark and truth for the next cut."""

    def __init__(self, sizes, first_row, contents):
        self.sizes = sizes
        self.first_row = first_row
        self.contents = contents
        self.span_ms = 0
        self.parked = False


def write_on(tally, found, where):
    """The next start: nothing kept is harmed, and new rows are kept and read back."""
    header = frames.Header()
    journal = Journal(workloads.FOLDER, header)
    assert header.first_row == found.first_row, f"row {header.first_row} follows {found.first_row}"
    boot = header.boot
    journal.start(header.snapshot)
    for index in range(5):
        journal.append(1000, 9 + index, 7, 13000 + index, 13001 + index, 13005, ABSENT, 3, 0)
    journal.commit(header.snapshot)
    journal.close()
    content = content_of(header.segment)
    kinds = [(kind, payload) for kind, payload, _ in frames.scan(content)]
    assert [kind for kind, _ in kinds] == [frames.HEADER, frames.ROWS], "the new segment is damaged"
    opened = frames.decode_header(kinds[0][1])
    assert (opened.first_row, opened.boot) == (found.first_row, boot), "the new segment begins wrongly"
    number, rows = frames.decode_rows(kinds[1][1])
    assert number == found.first_row, "the new rows are numbered wrongly"
    expected = [((9 + index) * 1000 + 7, 13000 + index, 13001 + index, 13005, ABSENT, 3, 0) for index in range(5)]
    assert rows == expected, "the new rows are not those that were written"
    sizes = dict(journal.segments())
    oldest = min(sizes)
    for kept, size in found.sizes.items():
        assert sizes.get(kept) == size or size == 0 or kept < oldest, f"segment {kept} was harmed"
    return Recovery(sizes, header.first_row, {header.segment: content})


def cut_journal(tally, record, every, numbers):
    contents = record.contents
    ends = truth(record)
    marks = record.marks
    which = 0
    for number, (how, at, cut) in enumerate(images(record, every, numbers, _heeded), 1):
        while which + 1 < len(marks) and marks[which + 1].operations <= at:
            which += 1
        before, after = marks[which], marks[min(which + 1, len(marks) - 1)]
        where = f"{how} of operation {at}"
        tally.count(how)
        recovering = Cut(cut)
        nest = number % _NEST_EVERY == 0
        if nest:
            recovering.log = []
        recovery = judge_journal(tally, recovering, before, after, contents, ends, where)
        if nest and recovery:
            nested(tally, cut, recovering.log, recovery, (before, after, contents, ends), where, numbers)


def second_cuts(cut, log, numbers):
    """Yield (place in the log, flash): recoveries from `cut`, each cut in its turn, torn, at a place of chance."""
    for _ in range(_NEST_CUTS):
        at = next(numbers) % len(log)
        second = Cut(cut)
        for operation in log[:at]:
            second.land(operation)
        if log[at][0] != SYNC:
            torn(second, log[at], "random", numbers)
        yield at, second


def nested(tally, cut, log, recovery, first, where, numbers):
    """Cut the start that came after a cut, and start again."""
    before, after, contents, ends = first
    both = dict(contents)
    both.update(recovery.contents)
    both_ends = dict(ends)
    both_ends.update({number: table_of(content) for number, content in recovery.contents.items()})
    kept = Recovery({one: size for one, size in before.sizes.items() if one in after.sizes}, before.first_row, None)
    left = Recovery({one: size for one, size in kept.sizes.items() if one in recovery.sizes}, 0, None)
    for at, second in second_cuts(cut, log, numbers):
        tally.count("nested")
        judge_journal(tally, second, kept, left, both, both_ends, f"{where}, then {at} of the recovery")


# -- the images of settings and errors ---------------------------------------------------------


def judge_settings(tally, cut, states, where):
    """What is loaded must be one of `states`; then a store must take."""
    kept = settings.load()
    if (settings.values(kept), kept.notice) not in states:
        tally.note("wrong" if kept.notice == "" else "lost", f"loaded with '{kept.notice}'", where)
    values = settings.values(kept)
    values["options"]["show_s"] = 99
    settings.store(values)
    again = settings.load()
    if settings.values(again) != values or again.notice:
        tally.note("stuck", "a store after it did not take", where)


def judge_errors(tally, cut, states, where):
    kept = errors.read()
    if kept not in states:
        tally.note("lost", f"{len(kept)} lines", where)
    errors._count = -1
    if errors.count() != len([line for line in kept if line.endswith(" s after start")]):
        tally.note("wrong", "count", where)
    try:
        raise ValueError("after the cut")
    except ValueError as error:
        errors.record(error, 1)
    if errors.read()[-1] != "ValueError: after the cut":
        tally.note("stuck", "no error was recorded after it", where)


def cut_file(tally, record, every, numbers, judge):
    marks = record.marks
    which = 0
    for number, (how, at, cut) in enumerate(images(record, every, numbers, _heeded), 1):
        while which + 1 < len(marks) and marks[which + 1].operations <= at:
            which += 1
        states = record.states[which : which + 2]
        where = f"{how} of operation {at}"
        tally.count(how)
        nest = number % _NEST_EVERY == 0
        recovering = Cut(cut)
        if nest:
            recovering.log = []
        judge_mounted(tally, recovering, states, where, judge)
        if nest:
            _nested_file(tally, cut, recovering.log, states, where, numbers, judge)


def _nested_file(tally, cut, log, states, where, numbers, judge):
    """Cut what was written after a cut: now what that wrote is right, too."""
    whole = Cut(cut)
    for operation in log:
        whole.land(operation)
    mount(whole, "/")
    if judge is judge_settings:
        kept = settings.load()
        written = (settings.values(kept), kept.notice)
    else:
        written = errors.read()
    states = list(states)
    states.append(written)
    vfs.umount("/")
    for at, second in second_cuts(cut, log, numbers):
        tally.count("nested")
        judge_mounted(tally, second, states, f"{where}, then {at} of the recovery", judge)


def judge_mounted(tally, cut, states, where, judge):
    try:
        mount(cut, "/")
    except OSError:
        tally.note("refused", "no mount", where)
        return
    try:
        judge(tally, cut, states, where)
    except OSError as problem:
        tally.note("stuck", repr(problem), where)
    finally:
        vfs.umount("/")


# -- faults -----------------------------------------------------------------------------------


def build_in(fault):
    """Break what the images are to prove."""
    if fault == "no flush":  # a commit that leaves the rows to the file system's good will

        def write(journal):
            if journal._frame.rows:
                length = journal._frame.close()
                journal._file.write(bytes(journal._frame.buffer[:length]))
            journal._forget()

        Journal._write = write
    elif fault == "late sync":  # a flash that has finished things only when it is asked the next time
        global _heeded
        _heeded = 0
    elif fault == "forged row":  # a segment ends in a row that was never measured
        global content_of
        plain = content_of

        def content_of(number):
            frame = frames.RowsFrame(1)
            frame.start(900000, 1, 0)
            frame.add(1000, 14000, 14000, 14000, 0, 3, 0)
            return plain(number) + bytes(frame.buffer[: frame.close()])

    elif fault == "in place":  # settings written over the old ones

        def replace(path, line):
            with open(path, "wb") as file:
                file.flush()
                file.write(line + b"\n%08x\n" % binascii.crc32(line))

        settings._replace = replace


def main():
    name, every, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    build_in(sys.argv[4] if len(sys.argv) > 4 else "")
    vfs.umount("/")
    tally = Tally(name)
    numbers = workloads.chance(seed)
    journal = name in workloads.JOURNAL
    record = (workloads.JOURNAL if journal else workloads.FILES)[name]()
    record.end()
    vfs.umount("/")
    if journal:
        cut_journal(tally, record, every, numbers)
    else:
        cut_file(tally, record, every, numbers, judge_settings if name == "settings store" else judge_errors)
    log = record.log
    print(json.dumps({
        "workload": name, "operations": len(log), "erases": len([1 for one in log if one[0] == ERASE]),
        "commits": len(record.marks) - 1, "rows": record.marks[-1].first_row - record.marks[0].first_row,
        "images": tally.images, "at_risk": tally.at_risk, "awake_s": tally.awake_s, "parked_s": tally.parked_s,
        "lost": tally.lost, "wrong": tally.wrong, "refused": tally.refused, "stuck": tally.stuck,
        "examples": tally.examples,
    }))  # fmt: skip


main()
