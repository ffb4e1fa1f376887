"""The drawing and the table of docs/ammeter.md, from the shipped car file."""

import re
from pathlib import Path

import underdash.carfile
from underdash.carfile.model import CarFile
from underdash.carfile.reader import read
from underdash.plan.ammeter import share
from underdash.plan.ammeter.drawing import drawing
from underdash.plan.results import AmmeterShare

BEGIN, END = "<!-- made from the shipped car file: needles -->", "<!-- end -->"
PAGE = Path(__file__).parents[1] / "ammeter.md"


def shipped() -> CarFile:
    """The shipped car file."""
    return read(Path(underdash.carfile.__file__).parent / "example.toml")


def seen(car: CarFile) -> AmmeterShare:
    """What its ammeter sees."""
    found = share(car)
    assert found is not None, "the shipped car has an ammeter"
    return found


def table(found: AmmeterShare) -> str:
    """The needle in each case, as a table of the page."""
    rows = ["| case | alternator | loads | battery | needle before | needle after |", "|---|---|---|---|---|---|"]
    for needle in found.needles:
        name = needle.case if not needle.starter_a else f"{needle.case}, the starter takes {needle.starter_a:.0f} A"
        cells = [name, f"{needle.alternator_a:.0f} A", f"{needle.loads_a:.0f} A", _signed(needle.battery_a, 0)]
        cells += [_signed(amps, 1) for amps in (needle.before_a, needle.after_a)]
        rows.append(f"| {' | '.join(cells)} |")
    return "\n".join(rows)


def with_table(page: str, made: str) -> str:
    """The page with its table made anew."""
    block = re.compile(re.escape(BEGIN) + r"\n.*?" + re.escape(END), re.DOTALL)
    assert block.search(page), f"{PAGE} has no block for the table"
    return block.sub(lambda _: f"{BEGIN}\n{made}\n{END}", page)


def _signed(amps: float, digits: int) -> str:
    """Amps with their sign; zero has none."""
    text = f"{amps:+.{digits}f} A".replace("-", "−")
    return text if re.search(r"[1-9]", text) else "0 A"


def main(target: Path) -> None:
    """Write the drawing into `target`, and the table into the page."""
    car = shipped()
    found = seen(car)
    (target / "ammeter.svg").write_text(drawing(found, car))
    PAGE.write_text(with_table(PAGE.read_text(), table(found)))
