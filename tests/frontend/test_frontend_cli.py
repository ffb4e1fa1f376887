"""`underdash frontend` as a user types it."""

import json
import shutil

import numpy as np
import pytest
from click.testing import CliRunner

from frontend.benches import changed
from underdash.cli.frontend import frontend
from underdash.problems import UnderdashError, UsageError
from underdash.virtual.signal_file import Converter


def run(*arguments):
    return CliRunner().invoke(frontend, [str(word) for word in arguments], catch_exceptions=False)


def test_a_case_as_text():
    done = run("--quick", "--case", "dump-a-upper", "--case", "pulse-1")
    assert done.exit_code == 0, done.output
    for word in ("dump-a-upper", "load dump A, 101 V behind 4 ohm", "the board", "Margins", "Full scale 18.26",
                 "bus_gain_nv", "clear in all corners", "memory only", "pulse-1: base, peak", "level IV",
                 "Every check passes with at least 10 % in hand."):  # fmt: skip
        assert word in done.stdout, word


def test_json_has_every_check_and_each_number_s_source():
    done = run("--quick", "--case", "pulse-2a", "--json")
    told = json.loads(done.stdout)
    (case,) = told["cases"]
    assert told["passed"] and case["outcome"] == "runs" and case["worst"]["share"] < 0.9
    assert {"gp26", "gp27", "D1", "R1", "U1", "A1", "F1"} <= {check["subject"] for check in case["checks"]}
    assert case["waveform"]["peak"]["value"] == 112.0
    assert case["waveform"]["peak"]["source"].startswith("opened")
    assert told["full_scale"]["clear"] and told["constants"]["bus_zero"] == 224


def test_a_failing_front_end_says_which_and_why_and_ends_with_1(tmp_path):
    values = changed(tmp_path, without=("D5",))
    done = run("--quick", "--values", values.path, "--case", "dump-a-upper")
    assert done.exit_code == 1
    last = done.stdout.splitlines()[-1]
    assert last.startswith("dump-a-upper: gp26, ") and "limit" in last and "Schottky diode from bus_mid to v3" in last
    assert "FAILS" in done.stdout
    assert not json.loads(run("--quick", "--values", values.path, "--case", "dump-a-upper", "--json").stdout)["passed"]


def test_options_replace_those_of_the_file():
    done = run("--quick", "--case", "running", "--with", "ripple", "--with", "reference")
    assert "options fitted: ripple, reference" in done.stdout
    assert "gp28" in done.stdout and "gp27" not in done.stdout
    skipped = run("--quick", "--case", "running", "--case", "clamp-unplugged", "--with", "ripple")
    assert "not applicable without its option: clamp-unplugged" in skipped.stdout


def test_a_wrong_full_scale_fails(tmp_path):
    values = changed(tmp_path, ("R3", "ohms", "8930.0"))
    done = run("--quick", "--values", values.path, "--case", "running")
    assert done.exit_code == 1 and "wide codes: one reaches" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--case", "lightning"), "no such case"),
        (("--values", "/no/such/file.toml"), "no such file"),
        (("--accuracy", "--adc-curve", "x.csv"), "one of them"),
    ],
)
def test_bad_requests(arguments, said):
    with pytest.raises(UsageError, match=said):
        run(*arguments)


def test_missing_ngspice(monkeypatch):
    monkeypatch.setattr(shutil, "which", lambda name: None)
    with pytest.raises(UnderdashError, match="install the Debian package ngspice"):
        run("--quick")


@pytest.mark.parametrize(("bend", "code"), [(0.0, 0), (0.05, 1)])
def test_a_converter_that_misses_the_goal_ends_with_1(tmp_path, bend, code):
    path = tmp_path / "curve.csv"
    levels = np.frombuffer(Converter().table(), "<u2", 4097) / 16 - 0.5  # a level is read as the code below it
    x = np.arange(0, 32768, 4) / 32768
    codes = np.clip(np.interp((x + bend * x * (1 - x)) * 4096, np.arange(4097), levels), 0, 4095)
    rows = [f"{step},{code:.2f}" for step, code in zip(range(0, 32768, 4), codes, strict=True)]
    path.write_text("\n".join(["dac_step_of_32768,mean_code_of_4096", *rows]))
    done = run("--adc-curve", path)
    assert done.exit_code == code, done.output
    assert ("NOT met" in done.output) == bool(code)
