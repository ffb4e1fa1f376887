"""Runs ngspice and reads what it found."""

import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from underdash.problems import UnderdashError

Array = np.ndarray[tuple[int], np.dtype[np.float64]]
_PROGRAM = "ngspice"
_PATIENCE = 120.0  # [s]


@dataclass(frozen=True)
class Trace:
    """The result of a transient run: time [s], rising, and each saved vector at those times."""

    t: Array
    vectors: dict[str, Array]

    def volts(self, node: str, ground: str = "0") -> Array:
        """Of a node against another [V]; zeros for a node that is not in the circuit."""
        found = self._node(node)
        return found if ground == "0" else found - self._node(ground)

    def _node(self, node: str) -> Array:
        return self.vectors.get(f"v({node.lower()})", np.zeros_like(self.t)) if node != "0" else np.zeros_like(self.t)

    def ammeter(self, ref: str) -> Array:
        """Current through the source V_ref [A], of a diode from anode to cathode; zeros if there is none."""
        return self.vectors.get(f"i(v_{ref.lower()})", np.zeros_like(self.t))


def program() -> str:
    """Where ngspice is. UnderdashError if it is nowhere."""
    found = shutil.which(_PROGRAM)
    if not found:
        raise UnderdashError("ngspice is not installed; it does the simulation: install the Debian package ngspice")
    return found


def run(deck: str, what: str) -> Trace:
    """Run one netlist with a transient analysis. `what` names it in errors.

    UnderdashError if ngspice is missing, refuses the netlist, or does not get to the end.
    """
    vectors, said = solve(deck, what)
    if "time" not in vectors:
        raise UnderdashError(f"{what}: ngspice wrote a raw file that is no transient result; {_REMEDY}")
    trace = Trace(vectors.pop("time"), vectors)
    wanted = _stop_time(deck)
    if not len(trace.t) or trace.t[-1] < wanted * 0.999:
        at = trace.t[-1] if len(trace.t) else 0.0
        raise UnderdashError(f"{what}: ngspice stopped at {at:.4g} s of {wanted:.4g}: {_complaint(said)}; {_REMEDY}")
    return trace


def solve(deck: str, what: str) -> tuple[dict[str, Array], str]:
    """Run one netlist in batch mode: its vectors by name in lower case, and what ngspice said.

    UnderdashError if ngspice is missing, or refuses the netlist.
    """
    with tempfile.TemporaryDirectory(prefix="underdash-") as folder:
        source, raw = Path(folder, "deck.cir"), Path(folder, "out.raw")
        source.write_text(deck)
        try:
            done = subprocess.run(
                [program(), "-n", "-b", "-r", str(raw), str(source)],
                capture_output=True, text=True, timeout=_PATIENCE, cwd=folder, errors="replace",
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            raise UnderdashError(f"{what}: ngspice was not done after {_PATIENCE:.0f} s; {_REMEDY}") from None
        said = done.stdout + done.stderr
        if not raw.is_file():
            raise UnderdashError(f"{what}: ngspice gave no result: {_complaint(said)}; {_REMEDY}")
        return read_raw(raw.read_bytes(), what), said


_REMEDY = "look for a figure in the values file that no real part has"


def read_raw(data: bytes, what: str) -> dict[str, Array]:
    """The vectors of a binary raw file with real numbers (ngspice manual, "raw file")."""
    head, mark, body = data.partition(b"Binary:\n")
    lines = head.decode("ascii", "replace").splitlines()
    told = {name: rest.strip() for name, colon, rest in (line.partition(":") for line in lines) if colon}
    try:
        count, points = int(told["No. Variables"]), int(told["No. Points"])
        names = [line.split()[1].lower() for line in lines[lines.index("Variables:") + 1 :]][:count]
        if not mark or "real" not in told["Flags"] or len(names) != count:
            raise ValueError
        table = np.frombuffer(body, dtype="<f8", count=points * count).reshape(points, count)
    except (KeyError, ValueError, IndexError):
        raise UnderdashError(f"{what}: ngspice wrote a raw file that cannot be read; {_REMEDY}") from None
    if not np.isfinite(table).all():
        raise UnderdashError(f"{what}: ngspice found no finite solution; {_REMEDY}")
    return {name: np.ascontiguousarray(table[:, at]) for at, name in enumerate(names)}


def _stop_time(deck: str) -> float:
    line = next(line for line in reversed(deck.splitlines()) if line.startswith(".tran"))
    return float(line.split()[2])


def _complaint(said: str) -> str:
    """The line of ngspice's output that says most."""
    lines = [line.strip() for line in said.splitlines() if line.strip()]
    for word in ("timestep too small", "singular", "error", "fatal", "warning"):
        for line in lines:
            if word in line.lower():
                return line
    return lines[-1] if lines else "it said nothing"
