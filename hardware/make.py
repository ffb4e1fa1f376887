"""Makes everything that follows from hardware/values.toml: `make hardware`, or `python hardware/make.py [--check]`.

Schematic, list of parts, wiring pictures, netlists, the firmware's starting constants, and the tables of
docs/hardware.md. With --check it changes nothing, names each file that is stale, and ends with 1.
"""

import sys
from collections.abc import Callable
from pathlib import Path

import bom
import proofsection
import schematic
import stamp
import tables
import wiring

from underdash.frontend import netlist, parts, proof
from underdash.frontend.constants import nominal_module
from underdash.frontend.corners import NOMINAL
from underdash.frontend.parts import Values
from underdash.problems import UnderdashError, UsageError, write_whole

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
NETLISTS = "hardware/netlists"
# What a picture is made from, besides what the libraries draw.
_SOURCES = (
    "boardpicture.py", "boardpins.py", "bodies.py", "carpicture.py", "harnesspicture.py", "items.py", "picture.py",
    "placement.py", "router.py", "schematic.py", "sheet.py", "tracks.py", "valuetext.py", "wiring.py", "tracks.txt",
)  # fmt: skip


def texts(values: Values, document: str) -> dict[str, bytes]:
    """Every text file, by its path from the root; `document` is docs/hardware.md as it stands. ValueError or
    UsageError, a line for each mistake, if values, placement and drawing do not fit together."""
    made = {
        "hardware/schematic.svg": schematic.svg(values),
        "hardware/bom.csv": bom.text(values).encode(),
        "firmware/lib/chargecore/nominal.py": nominal_module(values).encode(),
        "docs/hardware.md": tables.fill(document, values).encode(),
    }
    made |= {f"hardware/{name}.svg": picture.svg() for name, picture in wiring.pictures(values).items()}
    for case in proof.chosen(values)[0]:
        made[f"{NETLISTS}/{case.name}.cir"] = netlist.deck(values, case, NOMINAL).encode()
    return made


def mark(values: Values) -> str:
    """What the PNGs made from these values carry."""
    return stamp.digest([values.path, *(HERE / name for name in _SOURCES)])


def pngs(values: Values) -> dict[str, Callable[[], bytes]]:
    """Every PNG by its path; called, it draws."""
    made = mark(values)
    drawn: dict[str, Callable[[], bytes]] = {"schematic": lambda: schematic.png(values)}
    for name, picture in wiring.pictures(values).items():
        drawn[name] = lambda picture=picture: picture.png({})  # type: ignore[misc]
    return {f"hardware/{name}.png": lambda draw=draw: stamp.stamped(draw(), made) for name, draw in drawn.items()}  # type: ignore[misc]


def stale(root: Path, values: Values) -> list[str]:
    """The files under `root` that are missing, differ from what the values give, or should not be there."""
    made = texts(values, _document(root))
    found = [name for name, body in made.items() if _read(root / name) != body]
    found += [name for name in pngs(values) if stamp.read(_read(root / name)) != mark(values)]
    return found + _orphans(root, made)


def write(root: Path, values: Values) -> list[str]:
    """Writes what is stale; returns its names."""
    made = texts(values, _document(root))
    wanted: dict[str, Callable[[], bytes]] = {name: lambda body=body: body for name, body in made.items()}  # type: ignore[misc]
    wanted |= pngs(values)
    found = stale(root, values)
    for name in found:
        if name in wanted:
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            write_whole(root / name, wanted[name]())
        else:
            (root / name).unlink()
    return found


def _orphans(root: Path, made: dict[str, bytes]) -> list[str]:
    there = sorted((root / NETLISTS).glob("*.cir"))
    return [name for path in there if (name := f"{NETLISTS}/{path.name}") not in made]


def _document(root: Path) -> str:
    return (root / "docs/hardware.md").read_text(encoding="utf-8")


def _read(path: Path) -> bytes:
    return path.read_bytes() if path.is_file() else b""


def prove(root: Path, values: Values) -> bool:
    """Simulates and writes the proof's section of docs/hardware.md if it is of other values; says whether."""
    document = _document(root)
    if not proofsection.stale(document, values):
        return False
    print("simulating; a minute or two", file=sys.stderr)
    write_whole(root / "docs/hardware.md", proofsection.fill(document, values).encode())
    return True


def main(arguments: list[str]) -> int:
    if arguments not in ([], ["--check"]):
        print(f"hardware/make.py: {' '.join(arguments)} is not known; there is only --check", file=sys.stderr)
        return 2
    try:
        values = parts.load(HERE / "values.toml")
        if arguments:
            found = stale(ROOT, values)
            if proofsection.stale(_document(ROOT), values):
                found.append("docs/hardware.md, its section Proof,")
            print(
                "\n".join(f"{name} is stale; run `make hardware`" for name in found),
                end="\n" * bool(found),
                file=sys.stderr,
            )
            return 1 if found else 0
        found = write(ROOT, values)
        if prove(ROOT, values):
            found.append("docs/hardware.md, its section Proof")
    except (ValueError, UsageError, UnderdashError) as problem:
        print(problem, file=sys.stderr)
        return 1
    print("\n".join(f"made {name}" for name in found) or "everything is up to date")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
