"""`underdash virtual --adc-curve`: a board with a measured converter, or one line that says why not."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import measured_data
from underdash.link.client import Board


def command(*words: object) -> list[str]:
    return [sys.executable, "-m", "underdash", "virtual", *map(str, words)]


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.csv"
    path.write_text("t_s,volts\n" + "".join(f"{second},14.0\n" for second in range(20)))
    return path


def test_a_file_that_is_no_curve_is_one_line_and_leaves_no_board(tmp_path: Path, log: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("volts,code\n1,2\n")
    done = subprocess.run(
        command(tmp_path / "b", "--log", log, "--adc-curve", bad), capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 2
    assert done.stderr == (
        f"underdash: {bad}:1: the header is 'volts,code'; a converter's curve begins with "
        "dac_step_of_32768,mean_code_of_4096\n"
    )
    assert not (tmp_path / "b").exists()


def test_the_boards_volts_are_those_of_the_curve(tmp_path: Path, log: Path) -> None:
    """That chip reads some 100 mV low before calibration; the built-in model does not."""
    shown = []
    for curve in ([], ["--adc-curve", measured_data("rp2040-adc") / "device1.csv"]):
        words = command(tmp_path / f"b{len(curve)}", "--log", log, "--fast", *curve)
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as running:
            assert running.stdout
            with Board(running.stdout.readline().strip()) as link:
                link.ready()
                shown.append(link.status()["bus_mv"])
            running.send_signal(signal.SIGINT)
            running.wait(10)
    assert shown[0] == pytest.approx(14000, abs=8)
    assert 13860 < shown[1] < 13940
