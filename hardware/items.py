"""What is no electronic part in hardware/values.toml: connectors, leads, holders, mounting ([item.…] tables)."""

import tomllib
from dataclasses import dataclass

from underdash.frontend.parts import Values
from underdash.problems import UsageError

# What each kind has besides kind, what, purpose, source, and what it may have besides.
_NEEDS: dict[str, tuple[str, ...]] = {
    "connector": ("nodes",),
    "holder": ("carries",),
    "wire": ("node", "ends", "awg", "metres", "insulation_c"),
    "cable": ("nodes", "ends", "awg", "metres", "insulation_c"),
    "sundry": (),
}
_ALWAYS = ("kind", "what", "purpose", "source")
_MAY = ("option", "quantity", "twisted", "carries")

# ASTM B258 diameter and copper's 1/58 ohm mm2/m at 20 C (docs/hardware.md names the sources).
_COPPER = 1 / 58.0


@dataclass(frozen=True)
class Item:
    """One item. `nodes`: of a connector's ways or a lead's conductors, in order; metres [m]; insulation_c [C]."""

    ref: str
    kind: str
    what: str
    purpose: str
    source: str
    nodes: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    carries: str = ""
    option: str = ""
    twisted: str = ""
    quantity: int = 1
    awg: int = 0
    metres: float = 0.0
    insulation_c: float = 0.0

    @property
    def square_mm(self) -> float:
        """Copper's cross-section [mm2] (ASTM B258)."""
        return 3.14159265 / 4 * (0.127 * 92 ** ((36 - self.awg) / 39)) ** 2

    @property
    def ohms(self) -> float:
        """One conductor's resistance at 20 C [ohm]."""
        return _COPPER * self.metres / self.square_mm


def load(values: Values) -> dict[str, Item]:
    """The items of a values file, by name in the file's order. UsageError names the one that cannot be right."""
    tables = tomllib.loads(values.text).get("item", {})
    return {ref: _item(values, ref, table) for ref, table in tables.items()}


def ways(items: dict[str, Item]) -> dict[str, str]:
    """Every connector's way, as "J1.1", and the node on it."""
    return {
        f"{item.ref}.{number}": node
        for item in items.values()
        if item.kind == "connector"
        for number, node in enumerate(item.nodes, 1)
    }


def mistakes(values: Values, items: dict[str, Item]) -> list[str]:
    """Where the loom does not join what the values file names, a line each; empty if nowhere."""
    found = []
    at = ways(items)
    served: dict[str, str] = {}
    for item in items.values():
        if item.kind not in ("wire", "cable"):
            continue
        here, there = item.ends
        if item.kind == "wire":
            reached = {there: item.nodes[0]}
        else:
            reached = {f"{there}.{number}": node for number, node in enumerate(item.nodes, 1)}
        for way, node in reached.items():
            if way in served:
                found.append(f"{way} has two leads, {served[way]} and {item.ref}")
            served[way] = item.ref
            nodes = (at[way],) if way in at else values[way].nodes if way in values.parts else ()
            if node not in nodes:
                found.append(f"{item.ref} brings {node} to {way}, which is {' or '.join(nodes) or 'not known'}")
        parts = [ref for ref in here.split(", ") if ref in values.parts]
        nodes = tuple(node for ref in parts for node in values[ref].nodes)
        if parts:
            found += [f"{item.ref} has {node}, and {here} has not" for node in item.nodes if node not in nodes]
            if item.kind == "cable":
                found += [f"{here} has {node}, and {item.ref} has not" for node in nodes if node not in item.nodes]
        if item.twisted and (item.twisted not in items or items[item.twisted].twisted != item.ref):
            found.append(f"{item.ref} is twisted with {item.twisted}, and that not with {item.ref}")
    found += [f"nothing is led to {way} ({node})" for way, node in at.items() if way not in served]
    return found


def _item(values: Values, ref: str, table: dict[str, object]) -> Item:
    kind = table.get("kind")
    if kind not in _NEEDS:
        raise UsageError(f"{values.path}: {ref}.kind is {kind!r}; must be one of {', '.join(_NEEDS)}")
    for name in (*_ALWAYS, *_NEEDS[str(kind)]):
        if name not in table:
            raise UsageError(f"{values.path}: {ref}.{name} is missing; a {kind} needs it")
    for name in table:
        if name not in (*_ALWAYS, *_NEEDS[str(kind)], *_MAY):
            raise UsageError(f"{values.path}: {ref}.{name} is not known for a {kind}; take it out")
    known = {name: value for name, value in table.items() if name != "node"}
    if "node" in table:
        known["nodes"] = [table["node"]]
    for name in ("nodes", "ends"):
        known[name] = tuple(known.get(name, ()))  # type: ignore[call-overload]
    return Item(ref, **known)  # type: ignore[arg-type]
