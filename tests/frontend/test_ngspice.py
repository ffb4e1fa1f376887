"""ngspice itself against closed forms, and what is said when it is missing or fails."""

import math
import shutil

import numpy as np
import pytest

from underdash.frontend import spice
from underdash.problems import UnderdashError

RC = """* a step through 1 kohm into 1 uF
V_in in 0 PWL(0 0 1n 10)
R_a in out 1k
C_a out 0 1u
.options reltol=1e-5
.tran 1e-5 5e-3 0 1e-5
.end
"""
RL = """* a step across 10 ohm and 10 mH, measured across a divider of 1:3
V_in in 0 PWL(0 0 1n 10)
V_amps in mid 0
R_a mid out 10
L_a out 0 10m
R_b in tap 3k
R_c tap 0 1k
.options reltol=1e-5
.tran 1e-5 5e-3 0 1e-5
.end
"""


def test_a_capacitor_charges_as_it_should():
    trace = spice.run(RC, "rc")
    wanted = 10.0 * (1.0 - np.exp(-trace.t / 1e-3))
    assert abs(trace.volts("out") - wanted).max() < 0.005
    assert trace.t[-1] == pytest.approx(5e-3)


def test_an_inductor_and_a_divider():
    trace = spice.run(RL, "rl")
    through_inductor = (1.0 - np.exp(-trace.t / 1e-3)) * 1.0
    assert abs(trace.ammeter("amps") - through_inductor).max() < 0.001
    late = trace.t > 1e-6
    assert trace.volts("tap")[late] == pytest.approx(2.5, abs=1e-6)


def test_a_diode_follows_its_law():
    """0.65 V behind nothing: I = IS (exp(V / N Vt) - 1), Vt = k T / q at 27 C."""
    deck = "* diode\nV_in in 0 0.65\nD_a in x m\nV_a x 0 0\n.model m D(IS=1e-14 N=1)\n"
    trace = spice.run(deck + ".options tnom=27 temp=27\n.tran 1e-3 1e-2 0 1e-3\n.end\n", "diode")
    thermal = 1.380649e-23 * 300.15 / 1.602176634e-19
    assert trace.ammeter("a")[-1] == pytest.approx(1e-14 * math.exp(0.65 / thermal), rel=1e-3)


def test_missing_ngspice_is_one_line_with_the_remedy(monkeypatch):
    monkeypatch.setattr(shutil, "which", lambda name: None)
    with pytest.raises(UnderdashError, match=r"ngspice is not installed.*install the Debian package ngspice") as caught:
        spice.run(RC, "rc")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "deck",
    [
        RC.replace("R_a in out 1k", "R_a in out nonsense_model"),
        RC.replace("C_a out 0 1u", "X_a out 0 nothing"),
        RC.replace("V_in in 0 PWL(0 0 1n 10)", "V_in in 0 1\nV_again in 0 2"),
    ],
)
def test_a_refused_netlist_is_one_line(deck):
    with pytest.raises(UnderdashError, match=r"front\.toml: case x") as caught:
        spice.run(deck, "front.toml: case x")
    assert "\n" not in str(caught.value)


def test_a_torn_raw_file_is_refused():
    with pytest.raises(UnderdashError, match="cannot be read"):
        spice.read_raw(b"Title: x\nNo. Variables: 2\nNo. Points: 9\nFlags: real\nVariables:\n\t0 time time\n"
                       b"\t1 v(a) voltage\nBinary:\n1234", "x")  # fmt: skip
