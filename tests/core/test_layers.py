"""Who may import whom (DEVELOPERS.md)."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FOR_BOTH = {"chargecore", "struct", "binascii", "array", "micropython"}


def imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


def files(folder: str) -> list[Path]:
    found = [path for path in (ROOT / folder).rglob("*.py") if "onboard" not in path.parts]
    assert found
    return found


def test_chargecore_is_pure() -> None:
    for path in files("firmware/lib/chargecore"):
        assert {name.split(".")[0] for name in imports(path)} <= FOR_BOTH, path


def test_monitor_knows_nothing_of_the_host_nor_of_pins() -> None:
    for path in files("firmware/lib/monitor"):
        assert not {"underdash", "machine", "board"} & {name.split(".")[0] for name in imports(path)}, path


def test_the_host_never_imports_the_monitor_and_nothing_imports_the_command_line() -> None:
    for path in files("host/underdash"):
        names = imports(path)
        assert "monitor" not in {name.split(".")[0] for name in names}, path
        if path.parent.name != "cli" and path.name not in ("__main__.py", "demo.py"):
            assert not any(name.startswith("underdash.cli") for name in names), path
