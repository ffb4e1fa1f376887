"""The proof's tables in docs/hardware.md: every case simulated in every corner, which takes a minute or two.

The section carries a SHA-256 of what was simulated (the nominal netlists, the corners and the checks), so
that a test sees without simulating whether it is of these values.
"""

import hashlib
import re
from collections.abc import Callable
from pathlib import Path

from underdash.frontend import checks, corners, netlist, proof
from underdash.frontend.checks import Check
from underdash.frontend.parts import Values
from underdash.frontend.proof import Proof
from underdash.frontend.table import quantity

_SECTION = re.compile(r"(<!-- made: cases -->\n).*?(<!-- end: cases -->)", re.DOTALL)
_OF = re.compile(r"<!-- made: cases -->\n<!-- simulated (\w+) -->")


def digest(values: Values) -> str:
    """SHA-256 of what there is to simulate, and by what it is judged."""
    total = hashlib.sha256()
    for case in proof.chosen(values)[0]:
        total.update(netlist.deck(values, case, corners.NOMINAL).encode())
    for module in (corners, checks):
        total.update(Path(str(module.__file__)).read_bytes().replace(b"\r\n", b"\n"))
    return total.hexdigest()


def stale(document: str, values: Values) -> bool:
    """Whether the document's section is of other values, or missing."""
    found = _OF.search(document)
    return not found or found[1] != digest(values)


def fill(document: str, values: Values, progress: Callable[[int, int], None] = lambda done, total: None) -> str:
    """The document with the section made anew. UnderdashError if ngspice is missing or finds no solution."""
    return put(document, f"<!-- simulated {digest(values)} -->\n\n" + markdown(proof.prove(values, progress=progress)))


def put(document: str, section: str) -> str:
    """ValueError if the document has no place for the section."""
    if not _SECTION.search(document):
        raise ValueError("docs/hardware.md: has no markers <!-- made: cases --> and <!-- end: cases -->; put them back")
    return _SECTION.sub(lambda match: match[1] + section + match[2], document)


def markdown(found: Proof) -> str:
    """Cases, then the part nearest to its limit, then the verdict."""
    rows = [("case", "what happens", "the board", "closest to a limit", "used")]
    worst: dict[str, Check] = {}
    for result in found.results:
        memory = " *" if result.case.waveform.from_memory else ""
        near = result.worst
        mark = "" if not result.failures else " **FAILS**"
        rows.append((f"`{result.case.name}`", result.case.title + memory, result.outcome.words, _said(near),
                     f"{near.share:.0%}{mark}"))  # fmt: skip
        for check in result.checks:
            if check.limit and (check.subject not in worst or check.share > worst[check.subject].share):
                worst[check.subject] = check
    margins = [("part", "closest to a limit", "used", "in case", "corner")]
    margins += [(ref, _said(check, with_subject=False), f"{check.share:.0%}", f"`{check.case}`", check.corner)
                for ref, check in worst.items()]  # fmt: skip
    failed = len(found.failures)
    verdict = f"**{failed} checks fail.**" if failed else "Every check passes."
    return (
        f"{len(found.results)} cases, {len(found.corners)} corners. {verdict}\n\n{_table(rows)}\n"
        "An asterisk: some of the case's numbers are known from memory only; `underdash frontend` says which.\n\n"
        f"The worst of all cases and corners, part by part:\n\n{_table(margins)}\n"
    )


def _said(check: Check, with_subject: bool = True) -> str:
    of = f" of {quantity(check.limit, check.unit)}" if check.limit else ""
    subject = f"{check.subject}, " if with_subject else ""
    return f"{subject}{check.what}: {quantity(check.value, check.unit)}{of}"


def _table(rows: list[tuple[str, ...]]) -> str:
    lines = ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    lines.insert(1, "|" + "---|" * len(rows[0]))
    return "\n".join(lines) + "\n"
