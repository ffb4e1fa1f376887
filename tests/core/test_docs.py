"""The documents name what is there."""

from pathlib import Path

from click.testing import CliRunner

from chargecore import calibration, engine, thresholds
from underdash.cli.app import main

ROOT = Path(__file__).resolve().parents[2]


def test_thresholds_are_documented_with_their_defaults() -> None:
    text = (ROOT / "docs/thresholds.md").read_text()
    for name, default, lowest, highest in thresholds.FIELDS:
        assert f"| `{name}` | {default} | {lowest} | {highest} |" in text


def test_the_journal_format_lists_every_number_in_order() -> None:
    text = (ROOT / "docs/journal-format.md").read_text()
    for fields in (calibration.FIELDS, thresholds.FIELDS, engine.FIELDS):
        names = [field if isinstance(field, str) else field[0] for field in fields]
        assert ", ".join(f"`{name}`" for name in names) in text


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
