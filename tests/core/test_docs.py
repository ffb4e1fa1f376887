"""The documents name what is there."""

import ast
import binascii
import re
from pathlib import Path

from click.testing import CliRunner

from chargecore import calibration, engine, frames, thresholds
from underdash.cli.app import main

ROOT = Path(__file__).resolve().parents[2]


def test_thresholds_are_documented_with_their_defaults() -> None:
    text = (ROOT / "docs/thresholds.md").read_text()
    for name, default, lowest, highest in thresholds.FIELDS:
        assert f"| `{name}` | {default} | {lowest} | {highest} |" in text

    listed = re.findall(r"^\| `(\w+_m[vas])` \|", text, re.MULTILINE)
    assert listed == [field[0] for field in thresholds.FIELDS]
    for name in (*engine.STATE_NAMES, *engine.WARNING_NAMES):
        assert name in text


def test_the_journal_format_lists_every_number_in_order() -> None:
    text = (ROOT / "docs/journal-format.md").read_text()
    for fields in (calibration.FIELDS, thresholds.FIELDS, engine.FIELDS):
        names = [field if isinstance(field, str) else field[0] for field in fields]
        assert ", ".join(f"`{name}`" for name in names) in text
        assert f" {len(names)} × i32 |" in text
    for number, name in enumerate(engine.STATE_NAMES):
        assert f"{number} {name}" in text
    for bit, name in enumerate(engine.WARNING_NAMES):
        assert re.search(rf"\b{1 << bit}\s{name}", text)
    assert f"at most {frames.PAYLOAD_MAX} |" in text


def test_every_command_is_in_the_readme_and_has_help() -> None:
    text = (ROOT / "README.md").read_text()
    for name, command in main.commands.items():
        assert f"underdash {name}" in text or f"make {name}" in text, name
        assert command.help
        assert CliRunner().invoke(main, [name, "--help"]).exit_code == 0


def test_every_console_request_is_documented() -> None:
    source = (ROOT / "firmware/lib/monitor/console.py").read_text()
    text = (ROOT / "docs/console.md").read_text()
    verbs = [line.split("_do_")[1].split("(")[0] for line in source.splitlines() if "def _do_" in line]
    assert len(verbs) >= 8
    for verb in verbs:
        assert f"| `{verb}" in text, verb


def test_the_console_examples_carry_their_checksums_and_every_error_is_listed() -> None:
    source = (ROOT / "firmware/lib/monitor/console.py").read_text()
    text = (ROOT / "docs/console.md").read_text()
    examples = re.findall(r"^(.+) ~([0-9a-f]{8})$", text, re.MULTILINE)
    assert len(examples) >= 4
    for body, checksum in examples:
        assert checksum == f"{binascii.crc32(body.encode()):08x}", body
    constants = [node.value for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Constant)]
    reasons = [value[6:] for value in constants if isinstance(value, str) and value.startswith("error ")]
    assert len(reasons) >= 5
    for reason in reasons:
        if reason != "%s: %s":
            plain = reason.replace("%s", "VERB").replace("segment %d", "segment NUMBER").replace("%d", "1200")
            assert f"| `{plain}` |" in text, reason
