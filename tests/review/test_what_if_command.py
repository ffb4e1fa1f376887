"""`underdash what-if`: what it prints, draws, writes and refuses, and that docs/what-if.md tells it."""

import json
import re
import shlex
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from dips import DEFICITS, PLAIN, log, what_if
from matplotlib.text import Text

from chargecore import thresholds
from chargecore.thresholds import Thresholds
from underdash.cli.app import main
from underdash.problems import UsageError
from underdash.review.what_if import as_dict
from underdash.review.what_if import sets as choosing
from underdash.review.what_if.judged import read
from underdash.review.what_if.plot import figure, png
from underdash.review.what_if.text import text
from underdash.settings.toml_file import SettingsFile


def run(*words: object) -> Any:
    return CliRunner().invoke(main, ["what-if", *map(str, words)])


def test_json_is_the_comparison(tmp_path: Path) -> None:
    path = log(tmp_path / "dips.csv", *DEFICITS)
    done = run(path, "discharging_mv=12700", "--json")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    assert told == as_dict("dips.csv", what_if(read(path, PLAIN), "discharging_mv=12700"))
    (one,) = told["sets"]
    assert one["changes"] == {"discharging_mv": [13000, 12700]}
    assert one["thresholds"] == {**told["now"]["thresholds"], "discharging_mv": 12700}
    gone = next(each for each in one["differences"] if each["effects"] == ["vanishes"])
    assert gone["drive"] == 1 and gone["then"] == []
    assert gone["now"][0]["start_s"] == 122.0 and gone["now"][0]["length_s"] == 30.0
    assert gone["now"][0]["depth_volts"] == pytest.approx(0.17, abs=0.003)
    assert told["now"]["warnings"]["discharging"] == {"count": 2, "seconds": 38.0}
    assert one["warnings"]["discharging"] == {"count": 1, "seconds": 8.0}


def test_the_text_says_what_changes(tmp_path: Path) -> None:
    path = log(tmp_path / "dips.csv", *DEFICITS)
    lines = run(path, "discharging_ms=10000", "--set", "discharging_mv=12700", "--set", "rest_ms=30000").stdout
    assert "A: discharging_ms 5000 -> 10000, discharging_mv 13000 -> 12700" in lines
    found = [line.split() for line in lines.splitlines()]
    assert ["now", "2,", "38", "s", "1,", "12", "s"] in found
    assert any(line[:2] == ["discharging", "vanishes"] and line[-3:] == ["8", "s", "12.38"] for line in found)
    assert "tells of no key" in lines
    assert "nothing changes" in run(path, "sensor_ms=70000").stdout


def test_the_set_becomes_a_settings_file_that_is_accepted(tmp_path: Path) -> None:
    path, mine = log(tmp_path / "dips.csv", *DEFICITS), tmp_path / "my.toml"
    done = run(path, "discharging_mv=12900", "marginal_ms=8000", "--write", mine)
    assert done.exit_code == 0, done.output
    checked = CliRunner().invoke(main, ["settings", "check", str(mine)])
    assert checked.exit_code == 0 and "19 settings, no mistake" in checked.output
    expected = {**vars(Thresholds()), "discharging_mv": 12900, "marginal_ms": 8000}
    assert SettingsFile(mine).values == {"thresholds": expected}
    kept = mine.read_bytes()
    again = run(path, "discharging_mv=12800", "--write", mine)
    assert again.exit_code == 2 and "is there already; choose another name" in again.output
    assert mine.read_bytes() == kept


def test_the_pictures_show_every_side(tmp_path: Path) -> None:
    rows = read(log(tmp_path / "dips.csv", *DEFICITS), PLAIN)
    before_after = what_if(rows, sets=("discharging_mv=12700", "discharging_ms=2000"))
    volts, lanes = figure("dips.csv", before_after).axes
    names = [label.get_text() for label in lanes.get_yticklabels()]
    assert names == [f"{kind}, {side}" for kind in ("discharging", "marginal") for side in ("now", "A", "B")]
    bars = [len(one.get_paths()) for one in lanes.collections]
    assert bars == [1] * (2 + 1 + 3 + 1 + 2 + 1)
    assert "now: discharging 13.00 V" in [text.get_text() for text in volts.texts]
    assert "A: discharging 12.70 V" in [text.get_text() for text in volts.texts]

    sweep = what_if(rows, "discharging_ms=2000..32000:10000")
    upper, lower = figure("dips.csv", sweep).axes
    assert list(upper.lines[0].get_ydata()) == [3, 1, 1, 0]
    assert list(lower.lines[0].get_ydata()) == pytest.approx([41 / 60, 0.5, 0.5, 0])
    assert lower.get_xlabel() == "discharging_ms [ms]"
    for outcome in (sweep, what_if(rows, "sensor_ms=70000"), what_if(read(_calm(tmp_path), PLAIN), "rest_ms=30000")):
        assert png("dips.csv", outcome).startswith(b"\x89PNG")
    done = run(tmp_path / "dips.csv", "discharging_mv=12700", "--png", tmp_path / "dips.png")
    assert done.exit_code == 0 and (tmp_path / "dips.png").read_bytes().startswith(b"\x89PNG")


def _calm(folder: Path) -> Path:
    (folder / "one.csv").write_text("t_s,volts\n0,12.6\n")
    return folder / "one.csv"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "say what is to be otherwise, such as discharging_mv=12900"),
        (["discharging=12900"], "no such threshold; did you mean discharging_m"),
        (["12900"], "is not NAME=VALUE"),
        (
            ["discharging_mv=12.9"],
            "whole number from 12200 to 14600 mV; in thousandths it would be discharging_mv=12900",
        ),
        (["discharging_mv=99"], "whole number from 12200 to 14600 mV; the default is 13000"),
        (["discharging_ms=999999999999999999999"], "from 1000 to 60000 ms; the default is 5000"),
        (["discharging_mv=nan"], "the default is 13000"),
        (
            ["discharging_mv=13150"],
            "(13150) plus the hysteresis (100) must stay below marginal_mv (13200); move the two",
        ),
        (["weak_crank_mv=11000", "crank_mv=10500"], "must stay below crank_mv (10500); move the two apart"),
        (["discharging_mv=12900", "discharging_mv=12800"], "told twice"),
        (["discharging_mv=12600..13000"], "is no sweep; write NAME=FROM..TO:STEP"),
        (["discharging_mv=13000..12600:100"], "a sweep goes upwards"),
        (["discharging_mv=12600..13000:0"], "a sweep goes upwards"),
        (["discharging_mv=12600..13000:1"], "401 values; at most 100"),
        (["discharging_mv=12600..99000:100"], "from 12200 to 14600 mV"),
        (["discharging_mv=12600..13200:100"], "discharging_mv=13100: discharging_mv (13100) plus the hysteresis"),
        (["discharging_mv=12600..13000:100", "discharging_ms=1000..3000:1000"], "two sweeps"),
        (["discharging_mv=12600..13000:100", "--set", "clear_ms=9000"], "no --set can stand beside it"),
        (["--set", ""], "changes nothing"),
        (["--set", "discharging_ms=1000..3000:1000"], "a sweep cannot be in --set"),
        (["clear_ms=9000", "--set", "clear_ms=8000"], "leave one of the two out"),
        ([word for _ in range(27) for word in ("--set", "clear_ms=9000")], "at most 26 sets"),
        (["--set", "clear_ms=9000", "--set", "clear_ms=8000", "--write", "my.toml"], "name the one you choose"),
        (["clear_ms=4000..9000:1000", "--write", "my.toml"], "there are 6 sets"),
    ],
)
def test_what_cannot_be_compared_is_one_line(tmp_path: Path, words: list[str], said: str) -> None:
    path = log(tmp_path / "dips.csv", (20, 12.6))
    done = run(path, *words)
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1 and said in done.stderr
    assert not Path("my.toml").exists()


def test_a_source_that_is_none_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "junk.seg").write_bytes(b"no journal")
    (tmp_path / "junk.csv").write_text("a;b\n1;2\n")
    for source, code in (("missing.csv", 2), ("junk.seg", 1), ("junk.csv", 2), (".", 2)):
        done = run(tmp_path / source, "discharging_mv=12900", "--write", tmp_path / "my.toml")
        assert done.exit_code in (1, code), done.output
        assert len(done.stderr.splitlines()) == 1 and done.stdout == ""
    assert run(tmp_path / "junk.seg", "clear_ms=9000", "--decimal", "comma").exit_code == 2
    assert not (tmp_path / "my.toml").exists()


def test_a_set_may_hold_as_many_names_as_there_are() -> None:
    words = [f"{name}={default}" for name, default, _, _ in thresholds.FIELDS]
    (changes,) = choosing.asked(words, ()).sets
    (chosen,) = choosing.sets_beside(Thresholds(), choosing.asked(words, ()))
    assert len(changes) == 19 and chosen.changes == {}
    with pytest.raises(UsageError, match="told twice"):
        choosing.asked([*words, words[0]], ())


def test_options_of_a_foreign_log_and_a_cars_thresholds_count(tmp_path: Path) -> None:
    plain = log(tmp_path / "dips.csv", *DEFICITS)
    other = tmp_path / "other.csv"
    other.write_text(plain.read_text().replace(",", ";").replace(".", ",").replace("t_s;volts", "when;Bus"))
    words = ("discharging_mv=12700", "--json")
    told = json.loads(run(plain, *words).stdout)
    done = run(other, *words, "--column", "t_s=when", "--column", "volts=Bus", "--unit", "t_s=s", "--unit", "volts=V")
    assert done.exit_code == 0, done.output
    assert {**json.loads(done.stdout), "source": "dips.csv"} == told


# -- the documentation ------------------------------------------------------------------------

DOCUMENTATION = Path(__file__).resolve().parents[2] / "docs" / "what-if.md"


def test_the_examples_of_the_documentation(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """docs/what-if.md shows commands on the evening that `underdash drive` writes, and what they print."""
    monkeypatch.chdir(tmp_path)
    assert CliRunner().invoke(main, ["drive", "--out", "evening.csv"]).exit_code == 0
    examples = re.findall(r"```console\n\$ underdash (.*?)\n(.*?)```", DOCUMENTATION.read_text(), re.DOTALL)
    assert len(examples) == 3
    for command, output in examples:
        assert CliRunner().invoke(main, shlex.split(command)).output == output


def test_the_documentation_names_every_effect_and_key(tmp_path: Path) -> None:
    text = DOCUMENTATION.read_text()
    told = as_dict("dips.csv", what_if(read(log(tmp_path / "dips.csv", *DEFICITS), PLAIN), "discharging_mv=12700"))
    (one,) = told["sets"]
    for part in (told, told["now"], one, one["differences"][0], one["differences"][0]["now"][0]):
        assert part and all(f"`{key}`" in text for key in part)
    for words in (
        "appears",
        "vanishes",
        "shorter",
        "longer",
        "shown earlier",
        "shown later",
        "moves",
        "splits",
        "joins",
    ):
        assert f"`{words}`" in text


def test_a_dated_log_is_told_by_its_clock(tmp_path: Path) -> None:
    head, *lines = log(tmp_path / "dips.csv", *DEFICITS).read_text().splitlines()
    begun = datetime(2026, 5, 3, 18, 0, 0)
    rows = (line.split(",") for line in lines)
    dated = [f"{(begun + timedelta(seconds=float(t_s))).isoformat(sep=' ')},{volts}" for t_s, volts in rows]
    (tmp_path / "dated.csv").write_text("\n".join([head, *dated]) + "\n")
    told = {}
    for name in ("dips", "dated"):
        outcome = what_if(read(tmp_path / f"{name}.csv", PLAIN), "discharging_mv=12700")
        told[name] = text(name, outcome), as_dict(name, outcome)["sets"][0]["differences"], figure(name, outcome)
    (counted, plain, _), (clocked, differences, drawn) = told["dips"], told["dated"]
    assert plain[0]["dated"] is None
    at_s = [plain[0]["now"][0][name] for name in ("start_s", "shown_s")]
    at = [f"{begun + timedelta(seconds=each):%H:%M:%S}" for each in at_s]
    assert differences[0]["dated"] == f"2026-05-03T{at[0]}" and f"2026-05-03 {at[0]}  {at[1]}" in clocked
    assert "2026" not in counted and f"0:{at_s[0] // 60:02.0f}:{at_s[0] % 60:02.0f}" in counted
    drawn.draw_without_rendering()
    said = " ".join(each.get_text() for each in drawn.findobj(Text))
    assert (
        "local time; a line until it is shown" in said
        and "drive 1, 2026-05-03" in said
        and re.search(r"18:0\d:00", said)
    )
