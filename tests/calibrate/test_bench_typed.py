"""The commands with the firmware itself: from a file, on a terminal, and left in the middle."""

import json
import os
import pty
import re
import select
import signal
import subprocess
import time
from pathlib import Path

import pytest

from calibrate.make_believe import METER
from calibrate.on_bench import COMMAND, codes, levels, run
from conftest import clamp_settings
from underdash.calibrate import meter, work
from underdash.calibrate.work import Wishes
from underdash.link.client import Board
from underdash.problems import UnderdashError
from underdash.virtual.board import VirtualBoard

BAD_VOLTS = {
    "too few": ("13.5,48000", "too few"),
    "millivolts": ("11800,{0}\n15400,{1}", "read in mV"),
    "reversed": ("-11.8,{0}\n-15.4,{1}", "reversed"),
    "swapped": ("11.8,{0}\n14.5,{1}", "swapped|wrong meter range|away"),
    "close": ("11.8,{0}\n12.2,44200", "too close"),
    "falls": ("11.8,{1}\n15.4,{0}", "away"),
    "saturated": ("11.8,{0}\n15.4,65520", "saturated"),
    "words": ("11.8,{0}\nfifteen,{1}", "not a number"),
    "commas": ("11,8,{0}\n15,4,{1}", "decimal point"),
}


def test_from_a_file_and_what_is_refused(tmp_path: Path) -> None:
    path = levels(tmp_path / "s.signal", [15.4], [0.0], [5.0])
    at = codes([11.8, 15.4], [0.0, 0.0])[:, 0]
    file = tmp_path / "points.csv"
    with VirtualBoard(tmp_path / "board") as virtual:
        virtual.start(path)
        with Board(virtual.port) as link:
            link.ready()
            before = link.settings()
        common = ("volts", "--port", virtual.port, "--points", file, "--out", tmp_path / "out")
        with Board(virtual.port) as link:
            link.ready()
            for lines, said in BAD_VOLTS.values():
                file.write_text("meter_volts,bus_code\n" + lines.format(*(f"{code:.1f}" for code in at)) + "\n")
                with pytest.raises(UnderdashError, match=said):
                    work.volts(link, Wishes(None, print, meter.parse(METER), file, yes=True, out=tmp_path / "out"))
            assert link.settings() == before
        done = run(*common, "--meter", METER, "--yes", cwd=tmp_path)  # of the last of these
        assert done.returncode == 2 and re.search(said, done.stderr) and len(done.stderr.splitlines()) == 1, done
        file.write_text("meter_volts,bus_code\n" + BAD_VOLTS["reversed"][0].format(*at) + "\n")
        assert run(*common, "--meter", METER, "--yes", cwd=tmp_path).returncode == 1
        file.write_text(
            "meter_volts,bus_code\n" + "".join(f"{v:.3f},{c:.2f}\n" for v, c in zip((11.8, 15.4), at, strict=True))
        )
        for words, said in (
            (("--yes",), "--meter"),
            (("--meter", METER), "--yes"),
            (("--meter", "fine", "--yes"), "meter class"),
            (("--meter", METER, "--yes", "--at", "12,14"), "--at"),
        ):
            done = run(*common, *words, cwd=tmp_path)
            assert done.returncode == 2 and said in done.stderr and len(done.stderr.splitlines()) == 1, done
        assert "needs a terminal" in run("volts", "--port", virtual.port, cwd=tmp_path).stderr
        assert "needs a terminal" in run("amps", "--port", virtual.port, cwd=tmp_path).stderr
        done = run(*common, "--meter", METER, "--dry-run", cwd=tmp_path)
        assert done.returncode == 0 and "nothing was stored" in done.stdout, done
        with Board(virtual.port) as link:
            link.ready()
            assert link.settings() == before, "something was stored"
        done = run(*common, "--meter", METER, "--yes", cwd=tmp_path)
        assert done.returncode == 0, done
        with Board(virtual.port) as link:
            link.ready()
            assert link.settings()["calibration"]["bus_gain_nv"] == pytest.approx(18.29e9 / 66072, rel=2e-3)
        records = [json.loads(one.read_text()) for one in sorted((tmp_path / "out").glob("volts-*.json"))]
        assert [one["stored"] for one in records] == [False, True]
        assert records[1]["proof"]["meter"] == 15.4 and abs(records[1]["proof"]["difference"]) < 0.003
        # What the board had can be given back.
        (backup,) = (tmp_path / "out").glob("before-*.toml")
        sent = subprocess.run(
            [*COMMAND, "settings", "send", str(backup), "--port", virtual.port],
            capture_output=True,
            text=True,
            timeout=60,
        )
        assert sent.returncode == 0, sent
        with Board(virtual.port) as link:
            link.ready()
            assert link.settings() == before


def test_guided_on_a_terminal_and_left(tmp_path: Path) -> None:
    path = levels(tmp_path / "s.signal", [11.8], [0.0], [5.0])
    with VirtualBoard(tmp_path / "board") as virtual:
        virtual.start(path)
        with Board(virtual.port) as link:
            link.ready()
            before = link.settings()
        ours, theirs = pty.openpty()
        process = subprocess.Popen(
            [*COMMAND, "calibrate", "volts", "--port", virtual.port, "--at", "11.8,15"],
            stdin=theirs,
            stdout=theirs,
            stderr=subprocess.PIPE,
            cwd=tmp_path,
            text=True,
            env={**os.environ, "TERM": "xterm"},
        )
        os.close(theirs)
        shown = ""
        for words, typed in (("meter class (as", METER), ("meter reads [V]", "11.8"), ("Point 2 of 2", None)):
            deadline = time.monotonic() + 60
            while words not in shown and time.monotonic() < deadline:
                if select.select([ours], [], [], 1.0)[0]:
                    shown += os.read(ours, 4096).decode(errors="replace")
            assert words in shown, shown
            if typed is not None:
                shown = shown.split(words)[-1]
                os.write(ours, typed.encode() + b"\n")
        os.write(ours, b"\x04")
        process.send_signal(2)  # Ctrl-C
        _, said = process.communicate(timeout=30)
        assert process.returncode == 1 and "Traceback" not in said, said
        os.close(ours)
        with Board(virtual.port) as link:
            link.ready()
            assert link.settings() == before


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_kill_or_a_closed_window_puts_the_clamp_back(number: signal.Signals, tmp_path: Path) -> None:
    path = levels(tmp_path / "s.signal", [12.6], [0.0], [5.0])
    with VirtualBoard(tmp_path / "board") as virtual:
        virtual.start(path)
        with Board(virtual.port) as link:
            link.ready()
            before = link.settings()
        assert before["calibration"]["clamp_fitted"] == 0
        ours, theirs = pty.openpty()
        process = subprocess.Popen(
            [*COMMAND, "calibrate", "amps", "--port", virtual.port, "--meter", "1% + 3 digits at 0.01"],
            stdin=theirs,
            stdout=theirs,
            stderr=subprocess.PIPE,
            cwd=tmp_path,
            text=True,
            preexec_fn=lambda: signal.signal(number, signal.SIG_DFL),  # the tests may run where it is ignored
        )
        os.close(theirs)
        shown = ""
        deadline = time.monotonic() + 60
        while "no current (Enter" not in shown and time.monotonic() < deadline:
            if select.select([ours], [], [], 1.0)[0]:
                shown += os.read(ours, 4096).decode(errors="replace")
        assert "told that a clamp is fitted" in shown and "no current (Enter" in shown, shown
        if number == signal.SIGHUP:
            os.close(ours)  # as a window does
        process.send_signal(number)
        process.send_signal(number)  # impatience must not stop what goes back
        _, said = process.communicate(timeout=40)
        assert process.returncode == 1 and "Traceback" not in said and "keeps the calibration" in said, said
        if number != signal.SIGHUP:
            os.close(ours)
        with Board(virtual.port) as link:
            link.ready()
            assert link.settings() == before


def test_a_clamp_calibrated_from_a_file_with_a_board_that_has_one(tmp_path: Path) -> None:
    path = levels(tmp_path / "s.signal", [12.6], [0.0], [5.0])
    amps = [0.0, 48.0, 0.0, -48.0, 0.0]
    at = codes([12.6] * 5, amps)[:, 1]
    file = tmp_path / "amps.csv"
    with VirtualBoard(tmp_path / "board", settings=clamp_settings()) as virtual:
        virtual.start(path)
        with Board(virtual.port) as link:
            link.ready()
            time.sleep(1.0)
            before, supply = link.settings(), link.status()["supply_code"]
        common = (
            "amps",
            "--port",
            virtual.port,
            "--points",
            file,
            "--meter",
            "1% + 3 digits at 0.01",
            "--yes",
            "--out",
            tmp_path / "out",
        )
        header = "meter_amps,clamp_code,turns,supply_code\n"
        rows = [f"{a / 8:.2f},{c:.1f},8,{supply}" for a, c in zip(amps, at, strict=True)]
        for wrong, said in (
            (rows[:3], "one direction"),
            (rows[:4], "no zero after"),
            ([row.replace(",8,", ",1,") for row in rows], "8 times"),
            ([rows[0], "6000" + rows[1][4:], *rows[2:]], "mA"),
            ([rows[0], rows[1], rows[2], "-6.00" + rows[1][4:], rows[4]], "same side"),
        ):
            file.write_text(header + "\n".join(wrong) + "\n")
            done = run(*common, cwd=tmp_path)
            assert done.returncode == 1 and re.search(said, done.stderr) and len(done.stderr.splitlines()) == 1, done
        with Board(virtual.port) as link:
            link.ready()
            assert link.settings() == before
        file.write_text(header + "\n".join(rows) + "\n")
        done = run(*common, cwd=tmp_path)
        assert done.returncode == 0, done
        with Board(virtual.port) as link:
            link.ready()
            assert link.settings()["calibration"]["clamp_gain_ua"] == pytest.approx(267.0 / 66072 * 1e6, rel=0.01)
