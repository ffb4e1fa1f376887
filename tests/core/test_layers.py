"""Who may import whom (DEVELOPERS.md)."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HOST = ROOT / "host"
ONBOARD = HOST / "underdash" / "virtual" / "onboard"  # runs on the virtual board, beside the firmware
BY_NAME = ("__import__", "importlib.import_module")
FOR_BOTH = {"chargecore", "struct", "binascii", "array", "micropython"}


def imports_of(source: str, package: str = "") -> set[str]:
    """Every module and name that the source imports, in dotted form, relative ones made whole."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            parents = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            module = ".".join([*parents, *([node.module] if node.module else [])])
            found |= {module, *(f"{module}.{alias.name}" for alias in node.names)}
        elif isinstance(node, ast.Call) and ast.unparse(node.func) in BY_NAME:
            found.add(ast.literal_eval(node.args[0]))
    return found


def imports(path: Path) -> set[str]:
    package = ".".join(path.relative_to(HOST).parent.parts) if path.is_relative_to(HOST) else path.parent.name
    return imports_of(path.read_text(), package)


def tops(path: Path) -> set[str]:
    return {name.split(".")[0] for name in imports(path)}


def files(folder: str) -> list[Path]:
    found = sorted((ROOT / folder).rglob("*.py"))
    assert len(found) > 5
    return found


@pytest.mark.parametrize(
    ("source", "name"),
    [
        ("import a.b", "a.b"),
        ("from a import b", "a.b"),
        ("def f():\n    from a.b import c as d", "a.b.c"),
        ("from . import cli", "underdash.cli"),
        ("from ..cli.app import main", "underdash.cli.app"),
        ("import importlib\nimportlib.import_module('a.b')", "a.b"),
    ],
)
def test_no_import_goes_unseen(source: str, name: str) -> None:
    assert name in imports_of(source, "underdash.review" if ".." in source else "underdash")


def test_chargecore_is_pure() -> None:
    for path in files("firmware/lib/chargecore"):
        assert tops(path) <= FOR_BOTH, path
        if path.name != "shim.py":
            assert "micropython" not in tops(path), path


def test_monitor_knows_nothing_of_the_host_nor_of_pins() -> None:
    host = {path.stem for path in HOST.iterdir()} | {"machine", "board"}
    assert "underdash" in host
    for path in files("firmware/lib/monitor"):
        assert not host & tops(path), path


def test_the_host_never_imports_the_monitor() -> None:
    for path in files("host/underdash"):
        if not path.is_relative_to(ONBOARD):
            assert "monitor" not in tops(path), path


def test_nothing_imports_the_command_line() -> None:
    """But the command line itself, and the demo for its progress bar."""
    for path in files("host/underdash"):
        parts = path.relative_to(HOST / "underdash").parts
        if parts[0] in ("cli", "__main__.py"):
            continue
        allowed = {"underdash.cli.progress"} if parts[0] == "demo" else set()
        found = {name for name in imports(path) if (name + ".").startswith("underdash.cli.")}
        assert all(any((name + ".").startswith(one + ".") for one in allowed) for name in found), path


def test_the_parts_of_the_plan_use_only_those_before_them() -> None:
    order = ["budget", "charge_path", "cables", "ammeter"]
    for place, part in enumerate(order):
        later = tuple(f"underdash.plan.{one}." for one in order[place + 1 :])
        for path in (HOST / "underdash" / "plan" / part).glob("*.py"):
            assert not [name for name in imports(path) if (name + ".").startswith(later)], path


def test_the_archive_reads_without_the_review() -> None:
    """But the export, which writes down what the review says."""
    for path in (HOST / "underdash" / "archive").glob("*.py"):
        if path.name != "export.py":
            assert not [name for name in imports(path) if name.startswith("underdash.review")], path
