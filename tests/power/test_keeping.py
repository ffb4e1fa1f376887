"""Journal, settings and errors on the real littlefs of a real MicroPython (keeping.py)."""

import re
from functools import cache
from pathlib import Path

import pytest
from cut_script import micropython

SCRIPT = Path(__file__).with_name("keeping.py")
CHECKS = re.findall(r"^def (check_\w+)", SCRIPT.read_text(), re.MULTILINE)


@cache
def held() -> list[str]:
    return micropython(SCRIPT, heap="4M").splitlines()


@pytest.mark.parametrize("check", CHECKS)
def test_on_the_device(check: str) -> None:
    assert check in held()
