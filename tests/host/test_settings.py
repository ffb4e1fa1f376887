"""settings.toml: every mistake has its line, and what is sent is what is in force."""

import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from chargecore import calibration, options, thresholds
from conftest import PLAIN, clamp_settings
from underdash.cli.app import main
from underdash.link.client import Board
from underdash.link.pull import pull
from underdash.problems import DataError
from underdash.settings import catalogue
from underdash.settings.toml_file import SettingsFile, differences, write_toml
from underdash.virtual.board import VirtualBoard

ROOT = Path(__file__).resolve().parents[2]


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


MISTAKES = {
    "range": ("[thresholds]\n\novercharge_mv = 19000\n", ["line 3: overcharge_mv is 19000", "14000 to 18000 mV"]),
    "volts for millivolts": ("[thresholds]\nmarginal_mv = 13.2\n", ["line 2: marginal_mv is 13.2", "write 13200"]),
    "seconds for ms": ("[thresholds]\nrest_ms = 20\n", ["line 2: rest_ms is 20", "the unit is ms; write 20000"]),
    "text": ('[options]\nhidden = "1"\n', ["line 2: hidden is \"1\"", "0 or 1", "without quotes"]),
    "true": ("[options]\nhidden = true\n", ["line 2: hidden is true", "0 or 1", "write 1"]),
    "unknown name": ("[thresholds]\nmarginal = 1\n", ["line 2: no setting marginal in [thresholds]", "marginal_mv?"]),
    "wrong table": ("[options]\ncrank_mv = 9\n", ["line 2: no setting crank_mv", "belongs below [thresholds]"]),
    "unknown table": ("[pin]\nbus = 26\n", ["line 1: no table [pin]", "did you mean pins?"]),
    "no table": ("hidden = 1\n", ["line 1: hidden stands in no table", "below [options]"]),
    "table for a value": ("pins = 3\n", ["line 1: pins is 3", "[pins] on a line of its own"]),
    "dotted": ("thresholds.still_mv = 900\n", ["line 1: still_mv is 900", "2 to 100 mV"]),
    "within one line": ("\noptions = { lamp = 1, contrast = 999 }\n", ["line 2: contrast is 999", "1 to 255"]),
    "order": ("[thresholds]\nmarginal_mv = 13450\n", ["line 2: marginal_mv (13450) plus the hysteresis (100)",
                                                      "healthy_mv", "move the two apart"]),
    "hysteresis": ("[thresholds]\nhysteresis_mv = 300\n", ["the hysteresis (300)", "smaller"]),
    "crank": ("[thresholds]\ncrank_mv = 9500\n", ["line 2: weak_crank_mv (9600) must stay below crank_mv (9500)"]),
    "pin twice": ("[pins]\nlamp = 15\n", ["line 2: pins button and lamp are both 15", "another GPIO number"]),
    "no such pin": ("[pins]\nlamp = 24\n", ["line 2: pin lamp is 24", "0 to 22 or 26 to 28"]),
    "not analogue": ("[pins]\nbus = 3\n", ["line 2: pin bus is 3", "26, 27 or 28"]),
    "brightness": ("[options]\ncontrast = 5\ndim_contrast = 6\n", ["line 2: dim_contrast (6) must not exceed"]),
    "gain": ("[calibration]\nclamp_gain_ua = 0\n", ["line 2: clamp_gain_ua is 0", "clamp_fitted to 0"]),
    "syntax": ("[thresholds]\nmarginal_mv 13200\n", ["line 2: not TOML", "NAME = NUMBER"]),
    "end": ("[thresholds\n", ["line 1: not TOML"]),
    "twice": ("[pins]\nlamp = 1\nlamp = 2\n", ["line 3: lamp is set twice", "take one"]),
}  # fmt: skip


@pytest.mark.parametrize("case", MISTAKES)
def test_a_mistake_has_its_line_value_limit_and_remedy(case: str, tmp_path: Path) -> None:
    content, said = MISTAKES[case]
    path = tmp_path / "settings.toml"
    path.write_text(content)
    done = run("settings", "check", path)
    assert done.exit_code == 1
    assert done.stdout == ""
    lines = done.stderr.splitlines()
    assert len(lines) == 1, done.stderr
    for words in said:
        assert words in lines[0]
    assert "; " in lines[0]  # the remedy


def test_every_mistake_is_told_at_once_in_the_order_of_lines(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text("[pins]\nlamp = 99\nhorn = 1\n[thresholds]\nstill_mv = 0\n")
    with pytest.raises(DataError) as caught:
        SettingsFile(path)
    assert [re.search(r"line (\d+)", line)[1] for line in str(caught.value).splitlines()] == ["2", "3", "5"]  # type: ignore[index]
    path.write_text("[pins]\nlamp = 15\n[thresholds]\nmarginal_mv = 13450\n")
    assert len(run("settings", "check", path).stderr.splitlines()) == 2


def test_files_that_are_none(tmp_path: Path) -> None:
    assert "no such file" in run("settings", "check", tmp_path / "none.toml").stderr
    (tmp_path / "latin.toml").write_bytes(b"[pins]\n# \xe9\n")
    assert "line 2: not UTF-8" in run("settings", "check", tmp_path / "latin.toml").stderr
    (tmp_path / "there.toml").write_text("")
    done = run("settings", "new", tmp_path / "there.toml")
    assert (done.exit_code, "is there already" in done.stderr) == (2, True)
    assert (tmp_path / "there.toml").read_text() == ""


def test_a_new_file_explains_every_setting_and_sets_none(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    assert run("settings", "new", path).exit_code == 0
    assert SettingsFile(path).values == {}
    text = path.read_text()
    for fields in (thresholds.FIELDS, options.FIELDS):
        for name, default, lowest, highest in fields:
            limits = "0 or 1" if (lowest, highest) == (0, 1) else f"{lowest} to {highest}"
            assert re.search(rf"^# .+; {limits}.*, default {default}\n# {name} = {default}$", text, re.MULTILINE), name
    # With every comment taken away it sets the defaults, and they are in order.
    path.write_text(re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE))
    read = SettingsFile(path)
    read.check()
    assert read.values == catalogue.defaults()


def test_the_catalogue_is_chargecores() -> None:
    assert list(catalogue.FIELDS["thresholds"]) == [field[0] for field in thresholds.FIELDS]
    assert list(catalogue.FIELDS["options"]) == [field[0] for field in options.FIELDS]
    assert list(catalogue.FIELDS["pins"]) == [name for name, _ in options.PINS]
    assert list(catalogue.FIELDS["calibration"]) == [field[0] for field in calibration.FIELDS]
    assert catalogue.problems_in(catalogue.defaults()) == []
    text = (ROOT / "docs/settings.md").read_text()
    for part in ("options", "pins", "calibration"):
        for field in catalogue.FIELDS[part].values():
            assert f"| `{field.name}` | {field.default} | " in text, field.name
            assert field.meaning in text, field.name


def test_what_is_written_is_what_is_read(tmp_path: Path) -> None:
    values = catalogue.defaults()
    values["thresholds"]["still_mv"] = 20
    path = tmp_path / "settings.toml"
    path.write_text(write_toml(values))
    assert SettingsFile(path).values == values
    assert [(field.name, old, new) for field, old, new in differences(catalogue.defaults(), values)] == [
        ("still_mv", 12, 20)
    ]


def test_send_show_and_restore_on_a_board(board: VirtualBoard, drive_signal: Path, tmp_path: Path) -> None:
    board.start(drive_signal)
    path = tmp_path / "settings.toml"
    path.write_text("[thresholds]\nmarginal_mv = 13250\n[calibration]\nbus_zero = 5\n[pins]\nlamp = 20\n")
    sent = run("settings", "send", path, "--port", board.port)
    assert sent.exit_code == 0, sent.output
    assert sent.stdout.splitlines() == [
        "thresholds.marginal_mv: 13200 -> 13250 mV", "pins.lamp: 16 -> 20", "calibration.bus_zero: 224 -> 5",
        f"board {board.board_id}: kept"]  # fmt: skip
    assert "nothing to change" in run("settings", "send", path, "--port", board.port).stdout
    shown = run("settings", "show", "--port", board.port).stdout
    assert re.search(r"^\* marginal_mv +13250 mV", shown, re.MULTILINE)
    assert re.search(r"^  still_mv +12 mV", shown, re.MULTILINE)
    path.write_text(run("settings", "show", "--toml", "--port", board.port).stdout)
    in_force = SettingsFile(path).values
    assert in_force["calibration"]["clamp_fitted"] == 1  # what was not sent stayed
    # What can only be wrong beside what the board has is refused by the desk, and nothing is changed.
    path.write_text("[thresholds]\nhealthy_mv = 13340\n")
    refused = run("settings", "send", path, "--port", board.port)
    assert (refused.exit_code, "line 2: marginal_mv (13250)" in refused.stderr) == (1, True)
    assert "with what the board has" in refused.stderr
    with Board(board.port) as link:
        link.ready()
        pulled = pull(link, tmp_path / "archive")
        link.store({"calibration": {"bus_zero": -7, "clamp_fitted": 0}, "thresholds": {"marginal_mv": 13200}})
    restored = run("settings", "restore", pulled.folder, "--port", board.port)
    assert restored.exit_code == 0, restored.output
    assert "calibration.bus_zero: -7 -> 5" in restored.stdout
    with Board(board.port) as link:
        link.ready()
        assert link.settings() == in_force


def test_another_boards_calibration_is_refused_unless_asked_for(
    board: VirtualBoard, drive_signal: Path, tmp_path: Path
) -> None:
    board.start(drive_signal)
    with Board(board.port) as link:
        link.ready()
        link.store({"calibration": {"bus_zero": 5}})
        link.ready()
        folder = pull(link, tmp_path / "archive").folder
    with VirtualBoard(
        tmp_path / "b2", board_id="00000000000000b2", settings=clamp_settings(), converter=PLAIN
    ) as other:
        other.start(drive_signal)
        done = run("settings", "restore", folder, "--port", other.port)
        assert done.exit_code == 2
        assert "is of board 7d5e0000c0ffee01, not of 00000000000000b2" in done.stderr
        assert "--from-another-board" in done.stderr
        done = run("settings", "restore", folder, "--port", other.port, "--from-another-board")
        assert "calibration.bus_zero: 224 -> 5" in done.stdout
    for path in folder.glob("*.seg"):
        path.write_bytes(path.read_bytes()[:50])
    done = run("settings", "restore", folder, "--port", board.port)
    assert (done.exit_code, "readable header" in done.stderr) == (1, True)
    shutil.rmtree(folder)
    assert run("settings", "restore", folder).exit_code == 2
