"""The list of what to buy: hardware/bom.csv, made from hardware/values.toml alone."""

import csv
import io
import string
from pathlib import Path

import items as items_file
import valuetext
from items import Item

from underdash.frontend import parts
from underdash.frontend.parts import Part, Values

HEAD = ("designators", "quantity", "what", "value", "tolerance", "rating", "footprint", "option", "purpose")
Row = tuple[str, int, str, str, str, str, str, str, str]


def rows(values: Values) -> list[Row]:
    """Parts, then connectors, leads and sundries; alike ones in one row."""
    grouped: dict[tuple[str, ...], list[Part]] = {}
    for part in values.parts.values():
        key = (
            valuetext.NAMES[part.kind], valuetext.value(part), valuetext.percent(part), valuetext.rating(part),
            part.footprint, part.option,
        )  # fmt: skip
        grouped.setdefault(key, []).append(part)
    found: list[Row] = []
    for (what, value, tolerance, rating, footprint, option), alike in grouped.items():
        refs = " ".join(part.ref for part in alike)
        purposes = "; ".join(dict.fromkeys(purpose(values, part) for part in alike))
        found.append((refs, len(alike), what, value, tolerance, rating, footprint, option, purposes))
    order = list(dict.fromkeys(valuetext.NAMES.values()))
    found.sort(key=lambda row: (order.index(row[2]), int(row[0].split()[0].lstrip(string.ascii_letters))))
    return found + [_item(item) for item in items_file.load(values).values()]


def purpose(values: Values, part: Part) -> str:
    """What a part is for; "as R5" becomes what R5 is for."""
    words, _, ref = part.purpose.rpartition(" ")
    if words == "as" and ref in values.parts and ref != part.ref:
        return purpose(values, values[ref])
    return part.purpose


def _item(item: Item) -> Row:
    value, rating = "", ""
    if item.awg:
        value = f"AWG {item.awg} ({item.square_mm:.2f} mm²), {item.metres:g} m"
        rating = f"insulation for {item.insulation_c:g} C"
    return (item.ref, item.quantity, item.what, value, "", rating, "", item.option, item.purpose)


def text(values: Values) -> str:
    """The whole file."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEAD)
    writer.writerows(rows(values))
    return out.getvalue()


if __name__ == "__main__":
    here = Path(__file__).resolve().parent
    (here / "bom.csv").write_text(text(parts.load(here / "values.toml")))
