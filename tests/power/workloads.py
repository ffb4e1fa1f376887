"""What a board writes, recorded operation by operation. Runs on MicroPython.

Each workload leaves a `Record`: the image before it, the log, and after each commit that returned a
`Mark` of what was on flash then, by which the images after a cut are judged.
"""

import os

from ram_flash import Flash, format_and_mount

from chargecore import engine, frames, thresholds
from chargecore.units import ABSENT, TICKS_MASK
from monitor import errors, settings
from monitor.journal import Journal

BLOCKS = 352  # as on the board
SMALL_BLOCKS = 64  # for a ring that is soon full
FOLDER = "/journal"


class Mark:
    """`operations` had been asked for when the commit returned; `sizes` of the segments then; rows
    from `first_row` on were still to come. `span_ms` of rows were in it, `parked` if any was of rest."""

    def __init__(self, operations, sizes, first_row, span_ms=0, parked=False):
        self.operations = operations
        self.sizes = sizes
        self.first_row = first_row
        self.span_ms = span_ms
        self.parked = parked


class Record:
    """One workload's truth. `contents` holds every segment as it was at its longest; `states`
    what the file in question held after each mark, for the workloads without a journal."""

    def __init__(self, flash):
        self.flash = flash
        self.marks = []
        self.contents = {}
        self.states = []
        self.image = None

    def begin(self, mark):
        """From here on every operation is recorded."""
        self.flash.log = self.log = []
        self.image = bytes(self.flash.image)
        self.marks = [mark]

    def end(self):
        """From here on nothing is, such as what closes a file that was left open."""
        self.flash.log = None


def chance(seed):
    """A generator of whole numbers that look like chance; chance(1) always gives the same."""
    x = seed
    while True:
        x = (x * 1103515245 + 12345) & 0x7FFFFFFF
        yield x >> 8


def drive(seed, minutes=70):
    """(dt_ms, low_mv, bus_mv, high_mv, clamp_ma) of a drive: rest with a row a minute, a crank,
    charging, a deficit now and then, and rest again."""
    numbers = chance(seed)

    def steady(seconds, bus_mv, spread_mv, clamp_ma, dt_ms=1000):
        for _ in range(seconds):
            middle = bus_mv + next(numbers) % (spread_mv + 1)
            below, above = next(numbers) % (spread_mv + 1), next(numbers) % (spread_mv + 1)
            yield dt_ms, middle - below, middle, middle + above, clamp_ma + 50 * (next(numbers) % 5) if clamp_ma else 0

    def crank(tenths):
        for index in range(tenths):
            mv = 8400 if index == 0 else 9700 + next(numbers) % 400
            yield 100, mv, mv, mv, -150000 + 50 * (next(numbers) % 600)
        for mv in (11380, 11420, 12100, 12900, 13300):
            yield 100, mv, mv, mv, 8000

    for row in steady(60, 12620, 2, 0):
        yield row
    for row in steady(35, 12615, 3, 0, 60000):
        yield row
    for row in crank(12):
        yield row
    for minute in range(minutes):
        if minute % 9 == 4:
            for row in steady(60, 12450, 25, -14000):
                yield row
        elif minute % 9 == 7:
            for row in steady(60, 13080, 25, 1000):
                yield row
        elif minute == 40:
            for _ in range(30):
                yield (1000, ABSENT, ABSENT, ABSENT, ABSENT)
            for row in crank(20):
                yield row
        else:
            for row in steady(60, 13950, 30, 4000):
                yield row
    for row in steady(90, 12750, 2, 0):
        yield row
    for row in steady(45, 12700, 3, 0, 60000):
        yield row


class Board:
    """The part of the monitor that decides when the journal writes."""

    def __init__(self, record=None):
        self.judge = engine.Engine(thresholds.Thresholds())
        header = frames.Header()
        header.board_id = b"powercut"
        header.calibration.clamp_fitted = 1
        self.journal = Journal(FOLDER, header)
        self.record = record
        self._t_ms = self._since_ms = 0
        self._parked = False

    def start(self):
        self.journal.start(self.judge.snapshot())
        self.mark()

    def run(self, rows):
        """Append rows, and commit as the monitor does."""
        judge, journal = self.judge, self.journal
        for dt_ms, low_mv, bus_mv, high_mv, clamp_ma in rows:
            self._t_ms += dt_ms
            self._since_ms += dt_ms
            self._parked = self._parked or dt_ms == 60000
            before, warned = judge.state, judge.warnings
            state = judge.step(self._t_ms & TICKS_MASK, low_mv, bus_mv, high_mv, clamp_ma)
            journal.append(
                dt_ms, self._t_ms // 1000, self._t_ms % 1000, low_mv, bus_mv, high_mv, clamp_ma, state, judge.warnings
            )
            if (state != before or warned != judge.warnings) and state != engine.CRANK:
                journal.want()
            if journal.is_due():
                self.commit()

    def commit(self):
        self.journal.commit(self.judge.snapshot())
        self.mark()

    def mark(self):
        span_ms, parked = self._since_ms, self._parked
        self._since_ms, self._parked = 0, False
        record, journal = self.record, self.journal
        if record is None:
            return
        sizes = dict(journal.segments())
        record.marks.append(Mark(len(record.flash.log), sizes, journal.header.first_row, span_ms, parked))
        newest = max(sizes)
        for number in (newest - 1, newest):
            if number in sizes and len(record.contents.get(number, b"")) < sizes[number]:
                record.contents[number] = content_of(number)


def content_of(number):
    with open(f"{FOLDER}/{number:08d}.seg", "rb") as file:
        return file.read()


def _begin_recording(record):
    """What is there now is the truth before the first operation."""
    sizes, first_row = {}, 0
    if "journal" in os.listdir("/"):
        found = Journal(FOLDER, frames.Header())
        sizes, first_row = dict(found.segments()), found.header.first_row
        for number in sizes:
            record.contents[number] = content_of(number)
    record.begin(Mark(0, sizes, first_row))


def _fresh(blocks):
    flash = Flash(blocks)
    format_and_mount(flash, "/")
    return Record(flash)


# -- the workloads ----------------------------------------------------------------------------


def whole_drive():
    """More than an hour of rows behind a first start."""
    record = _fresh(BLOCKS)
    board = Board()
    board.start()
    board.journal.close()
    _begin_recording(record)
    board = Board(record)
    board.start()
    board.run(drive(1))
    return record


def first_start():
    """The very first start of a board, and its first minutes."""
    record = _fresh(BLOCKS)
    _begin_recording(record)
    board = Board(record)
    board.start()
    board.run(drive(2, 1))
    return record


def later_start():
    """Three starts, each over the journal of those before it."""
    record = _fresh(BLOCKS)
    board = Board()
    board.start()
    board.run(drive(3, 3))
    board.journal.close()
    _begin_recording(record)
    for seed in (4, 5, 6):
        board = Board(record)
        board.start()
        board.run(drive(seed, 1))
    return record


def rotation():
    """A segment that fills, and the next one."""
    record = _fresh(BLOCKS)
    board = Board()
    board.start()
    while board.journal.segments()[-1][1] < 31500:
        board.run(drive(7, 1))
    board.commit()
    _begin_recording(record)
    board.record = record
    board.run(drive(8, 4))
    assert len(record.marks[-1].sizes) > len(record.marks[0].sizes), "no segment was filled"
    return record


def full_ring():
    """A flash so full that the next segment needs the oldest one's place."""
    record = _fresh(SMALL_BLOCKS)
    board = Board()
    board.start()
    numbers = chance(9)
    while True:
        board.run([(1000, 13700 - next(numbers) % 900, 13800, 13900 + next(numbers) % 900, 50 * (next(numbers) % 900))])
        found = board.journal.segments()
        if found[0][0] > 1 and found[-1][1] > 32400:
            break
    board.commit()
    _begin_recording(record)
    board.record = record
    board.run(drive(10, 4))
    assert min(record.marks[-1].sizes) > min(record.marks[0].sizes), "the ring gave nothing up"
    return record


def _setting(number):
    values = settings.values(settings.Settings())
    values["calibration"]["bus_gain_nv"] = 277000 + number
    values["options"]["show_s"] = 10 + number
    return values


def settings_store():
    """The first store of a board's life, and three more."""
    record = _fresh(BLOCKS)
    record.begin(Mark(0, {}, 0))
    record.states.append((settings.values(settings.Settings()), "no settings"))
    for number in range(4):
        settings.store(_setting(number))
        record.states.append((_setting(number), ""))
        record.marks.append(Mark(len(record.flash.log), {}, 0))
    return record


def errors_record():
    """Errors until the oldest make room."""
    record = _fresh(BLOCKS)
    record.begin(Mark(0, {}, 0))
    record.states.append([])
    for number in range(45):
        try:
            raise ValueError(f"number {number}")
        except ValueError as error:
            errors.record(error, number)
        record.states.append(errors.read())
        record.marks.append(Mark(len(record.flash.log), {}, 0))
    assert "number 0" not in record.states[-1][0], "nothing ever made room"
    return record


JOURNAL = {
    "whole drive": whole_drive,
    "first start": first_start,
    "later starts": later_start,
    "rotation": rotation,
    "full ring": full_ring,
}
FILES = {"settings store": settings_store, "errors record": errors_record}
