"""Runs on MicroPython, on a flash in RAM: what journal, settings and errors promise beside power cuts.

Each `check_` function stands alone on a fresh file system; the name of each that holds is printed.
"""

import os

import micropython
import vfs
from ram_flash import Flash, format_and_mount
from workloads import FOLDER, content_of

from chargecore import engine, frames
from chargecore.units import ABSENT
from monitor import errors, segments, settings
from monitor.journal import FLUSH_MS, REST_FLUSH_MS, Journal

SNAPSHOT = frames.Header().snapshot
STARTED = []


def started(clamp=0):
    header = frames.Header()
    header.calibration.clamp_fitted = clamp
    journal = Journal(FOLDER, header)
    journal.start(SNAPSHOT)
    STARTED.append(journal)
    return journal


def add(journal, t_s, dt_ms=1000, state=engine.CHARGING, bus_mv=13800):
    journal.append(dt_ms, t_s, 0, bus_mv - 20, bus_mv, bus_mv + 20, ABSENT, state, 0)


def rows_on_flash(segment):
    """[(key, number of the first row, rows)] of a segment's frames."""
    found = []
    for kind, payload, _ in frames.scan(content_of(segment)):
        assert kind != 0, "damage"
        if kind == frames.ROWS:
            number, rows = frames.decode_rows(payload)
            found.append((frames.rows_key(payload), number, rows))
    return found


# -- the journal ------------------------------------------------------------------------------


def check_append_allocates_nothing(flash):
    journal = started(1)
    operations = flash.programmed
    micropython.heap_lock()
    try:
        for second in range(400):  # both frames fill, more than once
            journal.key = second // 50 % 2
            journal.append(
                1000, second, 0, 13000 - second, 13800 + second, 15000, 50 * second, second % 7, second % 256
            )
            journal.append(70000, second, 0, ABSENT, ABSENT, ABSENT, ABSENT, 0, 8)
            journal.want()
            journal.is_due()
    finally:
        micropython.heap_unlock()
    assert flash.programmed == operations, "append wrote"


def check_when_a_commit_is_due(flash):
    journal = started()
    for second in range(59):
        add(journal, second)
        assert not journal.is_due()
    add(journal, 59)
    assert journal.is_due()
    journal.commit(SNAPSHOT)
    assert not journal.is_due()
    journal.want()
    assert journal.is_due()
    journal.commit(SNAPSHOT)
    for minute in range(29):
        add(journal, 60 * minute, 60000, engine.REST)
        assert not journal.is_due()
    add(journal, 30 * 60, 100, engine.CRANK)
    assert not journal.is_due(), "a commit while the starter turns"
    add(journal, 30 * 60, 1000, engine.UNKNOWN)
    assert journal.is_due()
    journal.commit(SNAPSHOT)
    for minute in range(30):
        add(journal, 60 * minute, 60000, engine.REST)
    assert journal.is_due()
    journal.commit(SNAPSHOT)
    assert (FLUSH_MS, REST_FLUSH_MS) == (60000, 1800000)
    for index in range(59):  # rows unlike each other fill the frame before the minute is over
        add(journal, index, 100, bus_mv=9000 + 5000 * (index % 2))
        if journal.is_due():
            break
        for _ in range(3):
            add(journal, index, 100, bus_mv=60000 * (index % 2))
    assert index < 58 and journal.is_due(), "the frame never filled"


def check_an_empty_commit_costs_nothing(flash):
    journal = started()
    add(journal, 1)
    journal.commit(SNAPSHOT)
    before = flash.programmed
    journal.want()
    journal.commit(SNAPSHOT)
    assert flash.programmed == before


def check_a_long_gap_and_a_turned_key_begin_new_frames(flash):
    journal = started()
    journal.key = 0
    add(journal, 10)
    add(journal, 75, 65535)
    add(journal, 200, 65536)  # the head of a new frame has the time in full
    journal.commit(SNAPSHOT)
    journal.key = 1
    add(journal, 90000000, 1 << 29)
    journal.key = ABSENT  # the monitor commits first; should it not, the frame still has one key
    add(journal, 90000001)
    journal.commit(SNAPSHOT)
    found = [(key, number, [row[0] // 1000 for row in rows]) for key, number, rows in rows_on_flash(1)]
    assert found == [
        (0, 0, [10, 75]),
        (0, 2, [200]),
        (1, 3, [90000000]),
        (ABSENT, 4, [90000001]),
    ], found


def check_rows_that_no_one_commits_give_way_oldest_first(flash):
    journal = started(1)
    for second in range(3000):
        journal.append(1000, second, 0, 13000, 13500 + second % 500, 14500, 50 * (second % 97), 3, 0)
    journal.commit(SNAPSHOT)
    found = rows_on_flash(1)
    assert len(found) == 2 and found[-1][1] + len(found[-1][2]) == 3000
    assert found[0][1] + len(found[0][2]) == found[1][1]
    for _, number, rows in found:
        for index, row in enumerate(rows):
            assert row == ((number + index) * 1000, 13000, 13500 + (number + index) % 500, 14500,
                           50 * ((number + index) % 97), 3, 0), "a wrong row"  # fmt: skip


def check_a_failing_flash_costs_rows_and_no_more(flash):
    journal = started()
    add(journal, 1)
    journal.commit(SNAPSHOT)
    flash.failing = True
    for attempt in range(3):
        add(journal, 2 + attempt)
        try:
            journal.commit(SNAPSHOT)
            raise AssertionError("a commit on a failing flash returned")
        except OSError:
            pass
    add(journal, 8)
    flash.failing = False
    journal.commit(SNAPSHOT)  # begins a new segment, whose snapshot is of now
    add(journal, 9)
    journal.commit(SNAPSHOT)
    newest = journal.segments()[-1][0]
    assert newest > 1
    assert [(number, len(rows)) for _, number, rows in rows_on_flash(1)] == [(0, 1)]
    assert segments.header_of(FOLDER, newest).first_row == 5
    assert [(number, len(rows)) for _, number, rows in rows_on_flash(newest)] == [(5, 1)]


def overwrite(number, at, data):
    content = bytearray(content_of(number))
    content[at : at + len(data)] = data
    with open(segments.path(FOLDER, number), "wb") as file:
        file.write(content)


def check_numbers_go_on_over_damage(flash):
    for _ in range(2):
        journal = started()
        for second in range(100):
            add(journal, second)
            if second % 30 == 29:
                journal.commit(SNAPSHOT)
        journal.close()
    overwrite(2, 50, b"\xff\x00\xff")  # the newest header
    header = frames.Header()
    Journal(FOLDER, header)
    assert (header.segment, header.boot, header.first_row) == (2, 3, 200), header.__dict__
    overwrite(2, 300, b"\xff\x00\xff")  # and a frame of rows
    header = frames.Header()
    Journal(FOLDER, header)
    assert header.first_row == 200
    overwrite(1, 0, bytes(2000))
    header = frames.Header()
    Journal(FOLDER, header)
    assert (header.segment, header.boot, header.first_row) == (2, 3, 200), header.__dict__


def check_dropped_rows_are_counted_though_the_power_went_before_it_was_told(flash):
    for _ in range(3):
        journal = started()
        for second in range(50):
            add(journal, second)
        journal.close()
    os.remove(segments.path(FOLDER, 1))  # as far as _make_room got
    header = frames.Header()
    Journal(FOLDER, header)
    assert (header.rows_dropped, header.first_row, header.boot) == (50, 150, 4)


def check_foreign_files_in_the_folder_are_let_be(flash):
    started().close()
    for name in ("notes.txt", "abcdefgh.seg", "00000009.part"):
        with open(FOLDER + "/" + name, "w") as file:
            file.write("not a segment")
    header = frames.Header()
    journal = Journal(FOLDER, header)
    assert [number for number, _ in journal.segments()] == [1] and header.segment == 1
    assert len(os.listdir(FOLDER)) == 4


# -- settings and errors ----------------------------------------------------------------------


def changed(number):
    values = settings.values(settings.Settings())
    values["calibration"]["bus_gain_nv"] = 277000 + number
    values["thresholds"]["still_mv"] = 15
    values["options"]["show_s"] = 77
    values["pins"]["lamp"] = 22
    return values


def spoil(path):
    with open(path, "r+b") as file:
        file.seek(20)
        file.write(b"#")


def check_settings_fall_back_step_by_step(flash):
    assert settings.load().notice == "no settings"
    header = frames.Header()
    header.calibration.bus_gain_nv = 299999
    header.thresholds.still_mv = 33
    journal = Journal(FOLDER, header)
    journal.start(SNAPSHOT)
    journal.close()
    kept = settings.load()
    assert (kept.notice, kept.calibration.bus_gain_nv, kept.thresholds.still_mv) == ("from journal", 299999, 33)
    assert kept.options.show_s == settings.Settings().options.show_s
    settings.store(changed(1))
    settings.store(changed(2))
    kept = settings.load()
    assert (settings.values(kept), kept.notice) == (changed(2), "")
    spoil("/settings.json")
    kept = settings.load()
    assert (settings.values(kept), kept.notice) == (changed(1), "settings old")
    settings.store(changed(3))  # the spoilt one must not become the previous good one
    spoil("/settings.json")
    kept = settings.load()
    assert (settings.values(kept), kept.notice) == (changed(1), "settings old")
    os.remove("/settings.json")
    assert settings.load().notice == "settings old"
    spoil("/settings.old")
    assert settings.load().notice == "from journal"
    overwrite(1, 100, b"\xff\x00\xff")
    kept = settings.load()
    assert kept.notice == "settings bad"
    assert settings.values(kept) == settings.values(settings.Settings())


def check_an_uncalibrated_board_says_so_at_each_start(flash):
    for _ in range(3):
        assert settings.load().notice == "no settings"
        started().close()


def check_settings_of_firmware_0_1_0_are_read(flash):
    values = changed(4)
    line = b'{"calibration": {"bus_gain_nv": 277004, "later": 1}, "thresholds": {"still_mv": 15}}'
    settings._replace("/settings.json", line)
    kept = settings.load()
    assert kept.notice == "" and kept.calibration.bus_gain_nv == 277004 and kept.thresholds.still_mv == 15
    assert kept.pins["lamp"] != values["pins"]["lamp"]


def check_no_settings_file_can_stop_the_board(flash):
    lines = (
        b"", b"{}", b"[]", b"5", b"null", b'{"calibration": 5}', b'{"calibration": {"bus_gain_nv": "x"}}',
        b'{"thresholds": {"still_mv": 99999}}', b'{"pins": {"bus": 3}}', b"{", b"\xff\xfe", b'{"options": []}',
    )  # fmt: skip
    for line in lines:
        settings._replace("/settings.json", line)
        assert settings.load().notice in ("", "settings bad"), line
        assert settings.check(settings.values(settings.load())) == ""
    for content in (b"", b"\n", b"{}\nzz\n", b"{}\n", b"\xff" * 5000):
        with open("/settings.json", "wb") as file:
            file.write(content)
        assert settings.load().notice == "settings bad", content


def check_a_store_on_a_failing_flash_keeps_what_was(flash):
    settings.store(changed(5))
    flash.failing = True
    try:
        settings.store(changed(6))
        raise AssertionError("a store on a failing flash returned")
    except OSError:
        pass
    flash.failing = False
    assert settings.values(settings.load()) == changed(5)


def check_notices_fit_the_panel(flash):
    for notice in ("settings old", "from journal", "no settings", "settings bad"):
        assert len(notice) <= 16


def check_errors_are_counted_and_the_oldest_make_room(flash):
    errors._count = -1
    assert errors.count() == 0 and errors.read() == []
    for number in range(100):
        try:
            raise ValueError(f"number {number}")
        except ValueError as error:
            errors.record(error, number)
        if number < 5:
            assert errors.count() == number + 1
    lines = errors.read()
    assert 10 < errors.count() < 100
    assert lines[-1] == "ValueError: number 99" and "ValueError: number 1" not in lines
    counted = errors.count()
    errors._count = -1
    assert errors.count() == counted, "after the next start it is another"
    flash.failing = True
    errors.record(ValueError("not kept"), 1)
    flash.failing = False
    assert errors.count() == counted
    with open("/errors.txt", "wb") as file:
        file.write(b"\xff\xfe\xff")
    errors.record(ValueError("after nonsense"), 2)
    assert errors.read()[-1] == "ValueError: after nonsense" and errors.count() == 1


vfs.umount("/")
for name in sorted(globals()):
    if name.startswith("check_"):
        device = Flash(64)
        format_and_mount(device, "/")
        globals()[name](device)
        while STARTED:  # an open file's own end would come in the middle of another check
            STARTED.pop().close()
        vfs.umount("/")
        print(name)
