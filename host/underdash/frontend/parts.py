"""hardware/values.toml: the front end's parts, read and checked."""

import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

from underdash.problems import UsageError, readable

OPTIONS = ("clamp", "ripple", "reference")
GROUND = "ground"

# What each kind of part needs besides kind, nodes, footprint, purpose and source: how many nodes, and
# which figures. All are positive numbers, those in _MAY_BE_ZERO at least 0.
_FIGURES: dict[str, tuple[int, tuple[str, ...]]] = {
    "fuse": (2, ("amps", "largest_amps", "ohms", "melting_a2s")),
    "resistor": (2, ("ohms", "tolerance", "tempco_ppm", "watts", "volts")),
    "capacitor": (2, ("farads", "tolerance", "tempco_ppm", "volts")),
    "tvs": (2, ("standoff_volts", "breakdown_volts", "tolerance", "tempco_ppm", "ohms", "pulse_watts", "watts")),
    "schottky": (2, ("saturation_amps", "emission", "ohms", "volts", "amps")),
    "diode": (2, ("volts", "amps")),
    "led": (2, ("volts", "amps")),
    "regulator": (
        3,
        (
            "output_volts", "tolerance", "tempco_ppm", "dropout_ohms", "dropout_volts", "quiescent_amps",
            "quiescent_share", "limit_amps", "volts", "transient_volts", "theta_ja", "max_junction",
        ),
    ),
    "reference": (2, ("output_volts", "tolerance", "tempco_ppm")),
    "shunt": (3, ("reference_volts", "tolerance", "tempco_ppm", "amps")),
    "board": (
        4,
        (
            "load_watts", "sleep_watts", "minimum_volts", "maximum_volts", "v3_volts", "v3_maximum_volts", "v3_farads",
            "tolerance", "tempco_ppm", "v3_load_ohms", "sleep_ohms", "dead_ohms", "vref_drop_volts",
        ),
    ),
    "clamp": (3, ("volts_per_amp", "supply_volts", "load_amps", "range_amps", "output_volts", "tolerance",
                  "tempco_ppm")),
    "npn": (3, ("gain", "volts", "amps")),
    "buzzer": (2, ("volts", "amps")),
    "display": (4, ("load_amps",)),
    "switch": (2, ()),
}  # fmt: skip
_MAY_BE_ZERO = ("tolerance", "tempco_ppm", "quiescent_share", "leakage_amps", "vref_drop_volts")
# What a part may have besides: reverse_volts marks a polarised capacitor; cold_share and cold_esr are what is
# left of its farads, and the factor on its esr_ohms, at -40 C; zero_celsius is where a rating has fallen to 0.
_ALSO = (
    "esr_ohms", "joules", "leakage_amps", "leakage_doubles_kelvin", "reverse_volts", "cold_share", "cold_esr",
    "zero_celsius",
)  # fmt: skip
_WORDS = ("footprint", "purpose", "source")


@dataclass(frozen=True)
class Part:
    """One component. `figures`: name to value, in the units that the file's head lists."""

    ref: str
    kind: str
    nodes: tuple[str, ...]
    figures: dict[str, float]
    footprint: str
    purpose: str
    source: str
    option: str = ""

    def __getitem__(self, name: str) -> float:
        return self.figures[name]

    def get(self, name: str, default: float = 0.0) -> float:
        return self.figures.get(name, default)


@dataclass(frozen=True)
class Values:
    """A front end: its parts by designator, in the file's order, and which options are fitted."""

    path: Path
    parts: dict[str, Part]
    fitted: tuple[str, ...]
    text: str = field(repr=False, default="")

    def __getitem__(self, ref: str) -> Part:
        return self.parts[ref]

    def __contains__(self, ref: str) -> bool:
        return ref in self.parts and self.has(self.parts[ref])

    def has(self, part: Part) -> bool:
        """Whether the part is there: it belongs to no option, or to one that is fitted."""
        return not part.option or part.option in self.fitted

    def present(self) -> Iterator[Part]:
        """Every part that is there."""
        return (part for part in self.parts.values() if self.has(part))

    def between(self, kind: str, *nodes: str) -> list[Part]:
        """The parts of a kind that are there and lie between these nodes, whichever way round."""
        return [part for part in self.present() if part.kind == kind and sorted(part.nodes) == sorted(nodes)]

    def with_options(self, fitted: Iterable[str]) -> "Values":
        """The same front end with other options fitted."""
        return Values(self.path, self.parts, tuple(fitted), self.text)


def shipped() -> Path:
    """The values that the project ships: beside the package when installed, else the checkout's."""
    installed = Path(str(resources.files("underdash"))) / "hardware" / "values.toml"
    return installed if installed.is_file() else Path(__file__).resolve().parents[3] / "hardware" / "values.toml"


def load(path: Path | None = None) -> Values:
    """Read a values file, the shipped one if none is given. UsageError, with one line for each
    mistake, if it is not one."""
    path = path or shipped()
    with readable(path):
        data = path.read_bytes()
    if b"\0" in data:
        raise UsageError(f"{path}: not a text file in UTF-8; a values file is TOML, a copy of the shipped one")
    text = data.decode("utf-8-sig", "replace")
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise UsageError(
            f"{path}: not TOML: {problem}; write `name = number`, with a point, and text in quotes"
        ) from None
    reader = _Reader(path, text)
    values = reader.values(document)
    if reader.problems:
        raise UsageError("\n".join(reader.problems))
    return values


class _Reader:
    """Turns the document into parts and notes each mistake with its line."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.text = text
        self.problems: list[str] = []

    def values(self, document: dict[str, object]) -> Values:
        for name in document:
            # [item.…] tables are connectors, leads and mounting: hardware/items.py reads them for the drawings.
            if name not in ("fitted", "part", "item"):
                self._note(name, name, "is not known here; a values file has `fitted`, [part.…] and [item.…] tables")
        if "fitted" not in document:
            self._note("fitted", "fitted", "is missing; write which options there are: fitted = [] for none")
        fitted = document.get("fitted", [])
        if not isinstance(fitted, list) or any(option not in OPTIONS for option in fitted):
            self._note("fitted", "fitted", f"must be a list of any of {', '.join(OPTIONS)}")
            fitted = []
        tables = document.get("part", {})
        if not isinstance(tables, dict) or not tables:
            self._note("part", "part", "is missing: a values file has a [part.NAME] table for each component")
            tables = {}
        parts = {ref: part for ref, table in tables.items() if (part := self._part(ref, table))}
        return Values(self.path, parts, tuple(fitted), self.text)

    def _part(self, ref: str, table: object) -> Part | None:
        before = len(self.problems)
        if not isinstance(table, dict):
            self._note(ref, ref, f"must be a table: write [part.{ref}]")
            return None
        kind = table.get("kind")
        if kind not in _FIGURES:
            self._note(ref, "kind", f"is {kind!r}; must be one of {', '.join(_FIGURES)}")
            return None
        count, needed = _FIGURES[kind]
        nodes = table.get("nodes")
        if not isinstance(nodes, list) or len(nodes) != count or not all(_is_node(node) for node in nodes):
            self._note(ref, "nodes", f"must be {count} names of nodes (letters, digits and _) for a {kind}")
        for name in needed:
            if name not in table:
                self._note(ref, name, f"is missing; a {kind} needs {', '.join(needed)}")
        for name, value in table.items():
            if name in needed or name in _ALSO:
                self._figure(ref, name, value)
            elif name in _WORDS:
                if not isinstance(value, str) or not value:
                    self._note(ref, name, "must be text")
            elif name == "option":
                if value not in OPTIONS:
                    self._note(ref, name, f"is {value!r}; must be one of {', '.join(OPTIONS)}")
            elif name not in ("kind", "nodes"):
                self._note(ref, name, f"is not known for a {kind}; take it out, or look at its spelling")
        if len(self.problems) > before:
            return None
        figures = {name: float(value) for name, value in table.items() if name in needed or name in _ALSO}
        footprint, purpose, source, option = (str(table.get(word, "")) for word in (*_WORDS, "option"))
        return Part(ref, kind, tuple(nodes or ()), figures, footprint, purpose, source, option)

    def _figure(self, ref: str, name: str, value: object) -> None:
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e12:
            self._note(ref, name, f"is {value!r}; must be a number, in the unit that the file's head names")
        elif value < 0 or (value == 0 and name not in _MAY_BE_ZERO):
            self._note(ref, name, f"is {value:g}; must be more than 0")
        elif name == "tolerance" and value >= 0.9:
            self._note(ref, name, f"is {value:g}; it is a share: write 0.01 for 1 %")

    def _note(self, ref: str, name: str, what: str) -> None:
        line = self._line(ref, name)
        place = f"{self.path}:{line}" if line else f"{self.path}"
        subject = f"{ref}.{name}" if ref != name else name
        self.problems.append(f"{place}: {subject} {what}")

    def _line(self, ref: str, name: str) -> int:
        """The line of `name` in the table of `ref`, or of the table; 0 if there is neither."""
        table = 0
        for number, line in enumerate(self.text.splitlines(), 1):
            stripped = line.strip()
            if stripped.startswith("["):
                if table:
                    break
                table = number if stripped.partition("]")[0] == f"[part.{ref}" else 0
            elif (table or ref == name) and stripped.partition("=")[0].strip() == name:
                return number
        return table


def _is_node(node: object) -> bool:
    return isinstance(node, str) and node.isascii() and node.replace("_", "").isalnum()
