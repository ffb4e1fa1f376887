"""`underdash plan`: what it prints, writes and refuses, and how little it loads for that."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from plan.plans import crowded, made
from underdash.carfile import EXAMPLE, example
from underdash.cli.app import main
from underdash.plan.report import as_dict, plan
from underdash.plan.show import words
from underdash.plan.show.text import text

LINE = EXAMPLE.read_text().splitlines().index('draw = "3 A"') + 1
HEAVY = ("numpy", "scipy", "matplotlib", "jinja2", "pandas", "rich", "rainflow")


def run(*words: str) -> Result:
    return CliRunner().invoke(main, ["plan", *words])


def process(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "underdash", "plan", *words], capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize("told", [as_dict(made()), as_dict(made(crowded())), as_dict(plan(example()))])
def test_piped_text_is_plain_and_fits(told: dict[str, object]) -> None:
    shown = text(told)
    assert "\x1b" not in shown and max(map(len, shown.splitlines())) <= 120
    assert all(line == line.rstrip() for line in shown.splitlines())
    squeezed = re.sub(r"\s+", "", shown)
    for cable in told["cables"]:  # type: ignore[attr-defined]
        assert cable["gauge"] is None or cable["gauge"].replace(" ", "") in squeezed
    for caution in told["cautions"]:  # type: ignore[attr-defined]
        assert re.sub(r"\s+", "", caution) in squeezed


@pytest.mark.parametrize("columns", [40, 80, 100, 200])
def test_on_a_terminal_it_has_colour_and_keeps_to_the_breadth(columns: int) -> None:
    told = as_dict(made())
    shown = text(told, columns)
    assert "\x1b[1;31m" in shown
    plain = re.sub(r"\x1b\[[\d;]*m", "", shown)
    assert max(map(len, plain.splitlines())) <= min(max(columns, 80), 120)
    lines = plain.splitlines()
    for balance in told["budget"]["balances"]:  # columns may be left out, but none is cut
        assert any(f"{balance['sustained_amps']:.1f} A" in line and f"{balance['margin_amps']:+.1f} A" in line
                   and line.startswith(balance["speed"]) for line in lines)  # fmt: skip
    for each in told["budget"]["shortfalls"]:
        assert any(f"{each['bus_volts']:.2f} V" in line and "min" in line.split()[-1] for line in lines)
    for cable in told["cables"]:
        assert any(f"{cable['amps']:.1f} A" in line and (cable["passed"] or line.count("OVER")) for line in lines)


def test_it_answers_in_order() -> None:
    shown = text(as_dict(plan(example())))
    heads = ["[act]", "Load budget", "Where the battery makes up", "What alone would close", "A day of", "Cables",
             "Fuses", "What 105", "Drop of each load", "Charge path", "The dash ammeter", "Notes",
             "Before you touch"]  # fmt: skip
    places = [shown.index(head if head.startswith("[") else f"\n{head}") for head in heads]
    assert places == sorted(places)
    assert shown.index("[note]") > shown.index("\nNotes") > shown.rindex("[watch]")


def test_names_in_brackets_are_no_markup() -> None:
    told = as_dict(made())
    told["car"] = "[bold]car[/bold] :smile:"
    told["cables"][0]["name"] = "[red]cable[/red]"
    shown = text(told)
    assert "[bold]car[/bold] :smile:" in shown and "[red]cable[/red]" in re.sub(r"\s", "", shown)


def test_as_a_process_piped() -> None:
    done = process(str(EXAMPLE))
    assert done.returncode == 0 and done.stderr == ""
    assert done.stdout == text(as_dict(plan(example())))


def test_json_and_page_say_the_same(tmp_path: Path) -> None:
    page = tmp_path / "new" / "plan.html"
    done = run(str(EXAMPLE), "--json", "--html", str(page))
    assert done.exit_code == 0
    assert json.loads(done.output) == as_dict(plan(example()))
    assert page.read_text().startswith("<!DOCTYPE html>") and page.read_text().endswith("</html>")


def test_a_shortfall_is_no_failure() -> None:
    done = run(str(EXAMPLE), "--json")
    assert done.exit_code == 0 and json.loads(done.output)["budget"]["shortfalls"]


def test_new_writes_a_file_that_can_be_planned_and_never_overwrites(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    done = run("--new", str(file))
    assert done.exit_code == 0 and str(file) in done.output
    assert file.read_bytes() == EXAMPLE.read_bytes() and run(str(file)).exit_code == 0
    file.write_text("mine")
    again = run("--new", str(file))
    assert again.exit_code == 2 and file.read_text() == "mine"
    assert again.output == f"underdash: {file}: is there already; choose another name, or remove it first\n"


def test_margin_and_drop_replace_the_files_limits() -> None:
    plain, wide = (json.loads(run(str(EXAMPLE), "--json", *more).output)
                   for more in ((), ("--margin", "40 %", "--drop", "5%")))  # fmt: skip
    assert (wide["limits"]["margin_share"], wide["limits"]["load_share"]) == (0.4, 0.05)
    needed = [next(each["needed"] for each in told["budget"]["remedies"] if each["kind"] == "rated output")
              for told in (plain, wide)]  # fmt: skip
    assert needed[0] < needed[1]
    assert wide["circuits"][0]["limit_volts"] == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("content", "words", "code", "said"),
    [
        ("", (), 1, "line 1: nothing is set here"),
        ("a = = 1", (), 1, "line 1: not TOML"),
        (EXAMPLE.read_text().replace('draw = "3 A"', 'draw = "-3 A"'), (), 1, f"line {LINE}:"),
        (EXAMPLE.read_text(), ("--margin", "15"), 2, 'write it with its sign, "10 %"'),
        (EXAMPLE.read_text(), ("--margin", "900 %"), 2, "must be 0 to 100 per cent"),
        (EXAMPLE.read_text(), ("--drop", "0 %"), 2, "must be 0.1 to 20 per cent"),
        (EXAMPLE.read_text(), ("--new", "other.toml"), 2, "leave CAR.toml out"),
    ],
)
def test_one_line_for_each_mistake(content: str, words: tuple[str, ...], code: int, said: str, tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text(content)
    done = process(str(file), *words)
    assert done.returncode == code and done.stdout == ""
    assert done.stderr.count("\n") == 1 and done.stderr.startswith("underdash: ") and said in done.stderr, done.stderr


def test_no_file_and_no_such_file(tmp_path: Path) -> None:
    done = run()
    assert done.exit_code == 2 and "--new FILE writes one" in done.output
    done = run(str(tmp_path / "none.toml"))
    assert done.exit_code == 2 and done.output.count("\n") == 1 and "no such file" in done.output
    done = run(str(EXAMPLE), "--html", str(tmp_path))
    assert done.exit_code == 2 and "is a folder" in done.output


@pytest.mark.parametrize(
    ("words", "may"),
    [(["--help"], ()), (["plan", "--help"], ()), (["plan", str(EXAMPLE)], ("numpy", "rich", "scipy", "rainflow"))],
)
def test_nothing_heavy_is_loaded_before_it_is_needed(words: list[str], may: tuple[str, ...]) -> None:
    script = (
        "import sys\nfrom underdash.cli.app import main\n"
        f"try:\n    main({words!r})\nexcept SystemExit as done:\n    assert not done.code\n"
        f"print(*[name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, env=os.environ, check=True)
    assert set(done.stderr.split()) <= set(may)


def told_with(**margins: float) -> dict[str, Any]:
    """The shipped car's plan, its first balance with another margin."""
    told = as_dict(plan(example()))
    told["budget"]["balances"][0].update(margins)
    return told


def test_a_thin_margin_is_marked_and_a_short_one() -> None:
    shown = text(told_with(margin_amps=1.0, margin_share=0.04))
    row = next(line for line in shown.splitlines() if line.startswith("hot idle") and " day " in line)
    assert "+1.0 A" in row and " THIN " in row
    assert "THIN: less left over than the 10 % that the file wants." in re.sub(r"\s+", " ", shown)
    plain = text(told_with(margin_amps=30.0, margin_share=1.0))
    assert "THIN" not in plain and plain.count("SHORT") == 1


def test_less_than_a_tenth_short_is_just_short() -> None:
    told = told_with()
    told["budget"]["shortfalls"][0]["margin_amps"] = -0.04
    shown = text(told)
    assert shown.splitlines()[1].startswith("Just short at hot idle, night and rain")
    assert "0.0 A short" not in shown and re.search(r"night and rain +just +1", shown)


def test_captions_go_with_their_columns() -> None:
    told = as_dict(plan(example()))
    broad, narrow = (re.sub(r"\x1b\[[\d;]*m", "", text(told, columns)) for columns in (120, 80))
    for caption, head in (("Inrush: with the worst", " inrush "), ("Copper: an estimate.", " copper ")):
        assert caption in re.sub(r"\s+", " ", broad) and head in broad
        assert caption not in re.sub(r"\s+", " ", narrow) and head not in narrow[: narrow.index("\nNotes")]
    assert "Margin: hot output less demand." in re.sub(r"\s+", " ", narrow)


def test_what_the_shipped_car_is_told() -> None:
    shown = re.sub(r"\s+", " ", text(as_dict(plan(example()))))
    assert "30 A stays (20 to 67 A) at the fuse box end" in shown
    assert "pump 8.0 A 0.20 V not in the file 0.20 V" in shown
    assert "While cranking: volts lost in the cables together 0.22 V (1.60 mΩ × 136.0 A; supply 1.04 mΩ" in shown
    assert "Of each: battery cable 0.14 V, engine ground 0.08 V, old engine strap 0.08 V." in shown


def test_all_failed_tests_of_a_row_are_told_the_gravest_first() -> None:
    told = as_dict(plan(example()))
    cable = told["cables"][0]
    cable["name"], cable["passed"] = "x", False
    kinds = (("ampacity", "A", 90.0, 80.0), ("fuse", "A", 130.0, 120.0), ("crank drop", "V", 24.9, 0.5))
    cable["tests"] = [
        {"name": n, "unit": u, "value": v, "limit": most, "passed": False, "used_share": v / most, "smallest": None}
        for n, u, v, most in kinds
    ]
    rows = text(told).splitlines()
    at = next(i for i, line in enumerate(rows) if line.startswith("x "))
    head = next(line for line in rows if line.startswith("cable ") and " used" in line)
    begin, end = head.index("used") + 4, head.index("smallest")
    shown = re.sub(r"\s+", " ", " ".join(line[begin:end] for line in rows[at : at + 6]))
    assert shown.index("ampacity;") < shown.index("fuse, 120.0 A;") < shown.index("crank drop, 0.50 V")
    assert words.test(cable["tests"][2]) == "crank drop over 12 V of 0.50 V"
