"""Front ends to try: the shipped one with something changed, written as a file and read back."""

import re
from pathlib import Path

from underdash.frontend import parts
from underdash.frontend.corners import Corner
from underdash.frontend.parts import Values

SHIPPED = parts.shipped().read_text()


def changed(folder: Path, *edits: tuple[str, str, str], without: tuple[str, ...] = ()) -> Values:
    """The shipped front end with figures replaced, each (designator, figure, value), and parts left out."""
    text = SHIPPED
    for ref, figure, value in edits:
        table = _table(text, ref)
        new, count = re.subn(rf"^{figure} = .*$", f"{figure} = {value}", table, count=1, flags=re.MULTILINE)
        assert count == 1, f"{ref} has no {figure}"
        text = text.replace(table, new)
    for ref in without:
        text = text.replace(_table(text, ref), "")
    file = folder / "values.toml"
    file.write_text(text)
    return parts.load(file)


def _table(text: str, ref: str) -> str:
    found = re.search(rf"^\[part\.{ref}\]\n(?:(?!\[).*\n)*", text, flags=re.MULTILINE)
    assert found, f"no part {ref}"
    return found.group(0)


COLD_MOST = Corner("cold, clamps high, most through", 1, 1, True, -40.0)
