"""What a log leaves open is refused with the option that decides, and that option decides; what it cannot mean too."""

import json
import re
import shlex
from datetime import datetime
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from hypothesis import example, given, settings
from hypothesis import strategies as st

from underdash.cli.app import main
from underdash.problems import UnderdashError
from underdash.review import foreign
from underdash.review.foreign import Options, numbers, options, times
from underdash.review.rows import Rows


def run(*words: object) -> tuple[int, str, str]:
    done = CliRunner().invoke(main, ["review", *map(str, words)])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout, done.stderr


# -- open questions: (content, arguments, what is said, what decides, what it then is) -------------

T = "--column t_s=time"
OPEN = {
    "unit of the time": ("time,volts\n0,12.6\n1500,12.5\n", T, "--unit t_s=s or ms", "--unit t_s=ms", "1.500"),
    "unit of the amps": ("t_s,volts,I\n0,12.6,1500\n", "--column amps=I --positive charge", "--unit amps=A or mA",
                         "--unit amps=mA", "1.500"),
    "sign of the amps": ("t_s,volts,I_A\n0,12.6,3\n", "--column amps=I_A", "--positive charge or --positive discharge",
                         "--positive discharge", "-3.000"),
    "day or month": ("time;volts\n03.04.2026 07:00:00;12.6\n04.04.2026 07:00:00;12.5\n", T + " --hold 0",
                     "--date-order", "--date-order dmy", "86400.000"),
    "month or day": ("time;volts\n03/04/2026 07:00:00;12.6\n04/04/2026 07:00:00;12.5\n", T + " --hold 0",
                     "--date-order", "--date-order mdy", "2678400.000"),
    "year of two digits": ("time;volts\n25.03.26 07:00:00;12.6\n25.03.26 07:00:04;12.5\n", T, "--date-order",
                           "--date-order dmy", "4.000"),
    "comma of thousands": ("t_s;U_mv\n0;12,600\n1;12,500\n", "--column volts=U_mv",
                           "'12,600' may be 12.600 or 12600; say --decimal", "--decimal comma --unit volts=V",
                           "12.500"),
    "comma and point": ("t_s;volts\n0;12.6\n1;12,5\n", "", "both '12.6' and '12,5'", None, ""),
    "separator": ("t_s,volts\nt_s;volts\n0;12,6\n", "", "comma or semicolon; say which with --separator",
                  "--separator semicolon", "12.600"),
    "time that goes back": ("t_s,volts\n5,12.6\n4,12.5\n", "", "--time-back", "--time-back sort", "12.500"),
    "rows far apart": ("t_s,volts\n0,12.6\n60,12.5\n120,12.5\n", "", "--hold 60", "--hold 60", "120.000"),
    "encoding": ("t_s;volts;°C\n0;12,6;1\n".encode("cp1252"), "", "--encoding", "--encoding cp1252", "12.600"),
}  # fmt: skip


@pytest.mark.parametrize("case", OPEN)
def test_a_question_is_asked_in_one_line_and_its_option_answers_it(case: str, tmp_path: Path) -> None:
    content, arguments, said, answer, then = OPEN[case]
    path = tmp_path / "log.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    code, out, err = run(path, *arguments.split())
    assert code in (1, 2) and out == ""
    assert err.count("\n") == 1 and said in err and str(path) in err, err
    code, out, err = run(path, *arguments.split(), "--dry-run")
    assert code in (1, 2) and said in err
    if answer is None:
        return
    assert run(path, *arguments.split(), *answer.split())[0] == 0
    code, out, _ = run(path, *arguments.split(), *answer.split(), "--dry-run")
    assert code == 0 and then in out, out


def test_a_later_row_tells_day_from_month(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    day = [f"0{d}.04.2026 {h:02}:00:{s:02};14\n" for d in range(1, 9) for h in range(24) for s in range(12)]
    path.write_text("time;volts\n" + "".join(day) + "".join(f"{d}.04.2026 07:00:00;14\n" for d in (13, 14)))
    _, out, _ = run(path, *T.split(), "--dry-run")
    assert "dates: day, month, year ('13.04.2026')" in out
    path.write_text(path.read_text() + "01.14.2026 07:00:00;14\n")
    code, _, err = run(path, *T.split())
    assert code == 2 and "'13.04.2026' and '01.14.2026' cannot be in one order" in err
    code, _, err = run(path, *T.split(), "--date-order", "dmy")
    assert code == 1 and "line 2308" in err and "no date in the order dmy" in err


REFUSED = {
    "year first, then not": ("time,volts\n2026-01-02 07:00:00,12\n02.01.2026 07:00:01,12\n", T, 2, "does not tell"),
    "zones here and there": ("time,volts\n2026-01-02 07:00:00Z,12\n2026-01-02 07:00:01,12\n", T, 1, "time zone"),
    "no 31st": ("time,volts\n2026-02-31 07:00:00,12\n", T, 1, "no date"),
    "no 25th hour": ("time,volts\n2026-02-01 25:00:00,12\n", T, 1, "no time of day"),
    "no time of day": ("time,volts\n2026-02-01,12\n", T, 1, "no time that is known"),
    "hours and minutes": ("time,volts\n07:10,12\n", T, 1, "no time that is known"),
    "unit of a date": ("time,volts\n2026-02-01 07:00:00,12\n", T + " --unit t_s=ms", 2, "leave out --unit t_s=ms"),
    "volts far too small": ("t_s,volts\n0,0.0126\n1,0.0125\n", "", 1, "no row has more than 0.013 V"),
    "millivolts": ("t_s,volts\n0,12600\n", "", 1, "(--unit volts=mV?)"),
    "milliamps": ("t_s,volts,amps\n0,12.6,-15000\n", "", 1, "(--unit amps=mA?)"),
    "python's digits": ("t_s,volts\n0,1_2\n", "", 1, "'1_2', not a number"),
    "comma after a point": ("t_s;volts\n0;12.6\n" + "1;12.6\n" * 3000 + "9;12,5\n", "", 1, "line 3003"),
    "point after a comma": ("t_s;volts\n0;12,6\n" + "1;12,6\n" * 3000 + "9;12.5\n", "", 1, "--decimal"),
    "cut in the middle": ("t_s,volts\n0\n1,12.6\n", "", 1, "line 2: only 1 of 2 values"),
    "open quote": ('t_s,volts\n0,12.6\n1,"12.6\n2,12.6\n', "", 1, "line 3: not readable as CSV"),
    "zeros amid the text": ("t_s,volts\n0,12.6\n" + "1,12.6\n" * 20000 + "\0\0\0\n2,12.6\n", "", 1, "line 20003"),
    "no names": ("0,12.6\n1,12.5\n", "", 2, "--column t_s=#1 --column volts=#2"),
    "only blank lines": ("\n  \n\n", "", 2, "nothing"),
    "no such number": ("0,12.6\n", "--column t_s=#1 --column volts=#3", 2, "#3"),
    "names like ours": ("time,bus_v\n0,12.6\n", "", 2, "--column t_s=NAME ('time'?)"),
    "two of a name": ("t_s,U,U\n0,12.6,1\n", "--column volts=U", 2, "--column volts=#2"),
    "sign without amps": ("t_s,volts\n0,12.6\n", "--positive charge", 2, "--column amps=NAME"),
    "wrong unit": ("t_s,volts\n0,12.6\n", "--unit volts=kV", 2, "volts=V or mV"),
    "wrong encoding": ("t_s,volts\n0,12.6\n", "--encoding klingon", 2, "no such encoding"),
    "mark against encoding": ("\ufefft_s,volts\n0,12.6\n", "--encoding cp1252", 2, "leave out --encoding"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_meant(case: str, tmp_path: Path) -> None:
    content, arguments, code, said = REFUSED[case]
    (tmp_path / "log.csv").write_text(content, encoding="utf-8")
    got, out, err = run(tmp_path / "log.csv", *arguments.split(), "--html", tmp_path / "page.html")
    assert (got, out) == (code, "") and said in err and err.count("\n") == 1, err
    assert not (tmp_path / "page.html").exists()


def test_files_that_are_none(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").write_bytes(b"")
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "binary.csv").write_bytes(b"\x7fELF\0\0\1\2" * 100)
    for name, code, said in (("empty", 2, "the file is empty"), ("folder", 2, "folder"), ("binary", 1, "binary"),
                             ("missing", 2, "no such file")):  # fmt: skip
        for more in ([], ["--dry-run"]):
            got, out, err = run(tmp_path / f"{name}.csv", *more)
            assert (got, out) == (code, "") and said in err and err.count("\n") == 1, err
    (tmp_path / "00000001.seg").write_bytes(b"")
    assert "of logs only" in run(tmp_path / "00000001.seg", "--decimal", "comma")[2]


def test_a_dry_run_counts_what_would_be_refused_and_goes_on(tmp_path: Path) -> None:
    rows = [f"{t},{'dead' if t % 10 == 5 else 14}\n" for t in range(100)]
    (tmp_path / "log.csv").write_text("t_s,volts\n" + "".join(rows))
    code, out, err = run(tmp_path / "log.csv", "--dry-run")
    assert code == 1 and "line 7" in err
    assert "rows        90," in out and out.count("  refused: line ") == 5 and "refused: 5 more lines" in out


@pytest.mark.parametrize("head", ["", "time,U\n", "a log\nof mine\n"])
def test_columns_by_number(head: str, tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(head + "0,12.6\n1,12.5\n")
    words = ("--column", "t_s=#1", "--column", "volts=#2", "--unit", "t_s=s")
    code, out, _ = run(tmp_path / "log.csv", *words, "--dry-run")
    assert code == 0 and "rows        2," in out and f"{head.count(chr(10)) + 1:>10}        0.000   12.600" in out
    report = json.loads(run(tmp_path / "log.csv", *words, "--json")[1])
    assert report["rows"] == 2


def test_the_example_of_the_documentation(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """docs/import.md shows a log, a command and what that prints: it is what it prints."""
    text = (Path(__file__).resolve().parents[2] / "docs" / "import.md").read_text()
    (tmp_path / "evening.txt").write_text(re.search(r"```csv\n(.*?)```", text, re.DOTALL)[1])
    command, output = re.search(r"```console\n\$ underdash review (.*?)\n([^>\n]*\n  .*?)```", text, re.DOTALL).groups()
    monkeypatch.chdir(tmp_path)
    code, out, _ = run(*shlex.split(command.replace("\\\n", " ")))
    assert (code, out) == (0, output)


# -- the map -------------------------------------------------------------------------------------


def test_a_map_keeps_what_was_told_and_the_command_line_goes_first(tmp_path: Path) -> None:
    log, kept = tmp_path / "log.csv", tmp_path / "map.toml"
    log.write_text("Zeit;U;I\n0;12,6;-1\n1;12,5;-2\n")
    columns = ("--column", "t_s=Zeit", "--column", "volts=U", "--column", "amps=I")
    words = ("--unit", "t_s=s", "--unit", "amps=A", "--positive", "discharge")
    assert run(log, *columns, *words, "--dry-run", "--save-map", kept)[0] == 0
    read = foreign.read_map(kept)
    assert (read.separator, read.decimal, read.positive) == ("semicolon", "comma", "discharge")
    assert read.units == {"t_s": "s", "volts": "V", "amps": "A"}
    assert "1.000   12.500     2.000" in run(log, "--map", kept, "--dry-run")[1]
    assert "1.000   12.500    -2.000" in run(log, "--map", kept, "--positive", "charge", "--dry-run")[1]
    assert (
        "0.001   12.500     0.002" in run(log, "--map", kept, "--unit", "t_s=ms", "--unit", "amps=mA", "--dry-run")[1]
    )
    log.write_text("Zeit;U\n0;12.6\n")
    assert run(log, "--map", kept, "--save-map", tmp_path / "none.toml")[0] == 2
    assert not (tmp_path / "none.toml").exists()


@pytest.mark.parametrize(("text", "said"), [
    ('seperator = "comma"', "line 1: seperator is no key of a column map; did you mean separator?"),
    ('\ndecimal = "dot"', 'line 2: decimal is "dot": must be "point" or "comma"'),
    ("hold_s = true", "must be seconds from 0"),
    ('columns = "x"', "must be a table"),
    ('[columns]\nspeed = "x"', "line 2: columns.speed must be one of t_s, volts, amps"),
    ("[columns]\nvolts = 3", "line 2: columns.volts is 3: must be a name in quotes"),
    ('[units]\namps = "kA"', 'line 2: units.amps is "kA": must be "A" or "mA"'),
    ("decimal = comma", "line 1: not TOML"),
])  # fmt: skip
def test_mistakes_in_a_map(text: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(text)
    (tmp_path / "log.csv").write_text("t_s,volts\n0,12.6\n")
    code, out, err = run(tmp_path / "log.csv", "--map", tmp_path / "map.toml")
    assert (code, out) == (1, "") and said in err and err.count("\n") == 1, err


def test_the_command_offers_what_the_reader_knows() -> None:
    offered = {option.name: option.type for option in main.commands["review"].params}
    for name, known in options.CHOICES.items():
        assert isinstance(offered[name], click.Choice) and tuple(offered[name].choices) == known
    (unit,) = (option for option in main.commands["review"].params if option.name == "unit")
    for units in options.UNITS.values():
        for name in units:
            assert re.search(rf"\b{name}\b", unit.help), name


# -- cells ---------------------------------------------------------------------------------------

moments = st.datetimes(datetime(1999, 1, 1), datetime(2099, 12, 31)).map(
    lambda at: at.replace(microsecond=at.microsecond // 1000 * 1000)
)


@given(at=moments, form=st.sampled_from([
    ("%Y-%m-%dT%H:%M:%S.%f", "ymd"), ("%Y/%m/%d %H:%M:%S", "ymd"), ("%Y.%m.%d, %H:%M:%S,%f", "ymd"),
    ("%Y%m%d %H%M%S", "ymd"), ("%d.%m.%Y %H:%M:%S.%f", "dmy"), ("%d-%m-%y %H:%M:%S", "dmy"),
    ("%m/%d/%Y %I:%M:%S %p", "mdy"), ("%m/%d/%y %I:%M %p", "mdy"), ("%d %b %Y %H:%M", "ymd"),
    ("%y-%m-%d %H:%M:%SZ", "ymd"),
]))  # fmt: skip
def test_dates_are_those_of_the_standard_library(at: datetime, form: tuple[str, str]) -> None:
    written, order = at.strftime(form[0]), form[1]
    if "%y" in form[0] and not 2000 <= at.year < 2069:
        return
    meant = datetime.strptime(written, form[0])
    assert times.kind_of(written) == "stamp"
    seconds = times.Clock("stamp", numbers.with_point, order=order).seconds(written)
    assert seconds == pytest.approx((meant - datetime(1970, 1, 1)).total_seconds(), abs=1e-6)
    assert times.moment(seconds) == meant


@given(value=st.decimals(-99999, 99999, places=3), grouped=st.booleans(), comma=st.booleans())
def test_numbers_are_what_they_were_written_from(value: float, grouped: bool, comma: bool) -> None:
    text = f"{value:,.3f}" if grouped else f"{value:.3f}"
    if comma:
        text = text.translate(str.maketrans(".,", ",."))
    assert numbers.is_number(text)
    assert numbers.PARSERS["comma" if comma else "point"](text) == pytest.approx(float(value), abs=1e-9)
    told, _ = numbers.decimal_of([(text, float("inf"))])
    assert told in (None, "comma" if comma else "point")


PIECES = st.sampled_from(["t_s", "volts", "amps", ",", ";", "\t", "|", " ", "\n", "\r\n", '"', "'", "12.6", "12,6", "0",
                          "1", "2026-05-31", "07:00:00", "31/12/2026", "nan", "-",
                          "é", "\0", "\ufeff", "#1", "[mV]"])  # fmt: skip


def read_or_refused(path: Path) -> Rows | str:
    """The rows, or the one line that says why there are none."""
    try:
        rows, _ = foreign.from_csv(path)
    except UnderdashError as problem:
        said = str(problem)
    else:
        return rows
    assert str(path) in said and len(said.splitlines()) == 1, said
    return said


@settings(max_examples=400, deadline=None)
@given(text=st.lists(PIECES, max_size=60).map("".join), head=st.sampled_from(["", "t_s,volts\n", "t_s;volts;amps\n"]),
       encoding=st.sampled_from(["utf-8", "utf-16", "utf-16-be"]))  # fmt: skip
@example(text='"', head="t_s,volts\n", encoding="utf-8")
def test_no_text_does_anything_but_be_read_or_be_refused_in_one_line(
    text: str, head: str, encoding: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes((head + text).encode(encoding))
    rows = read_or_refused(path)
    assert isinstance(rows, str) or (len(rows) and foreign.understand(path, Options()).refused is None)


@settings(max_examples=200, deadline=None)
@given(data=st.binary(max_size=300))
def test_nor_does_any_heap_of_bytes(data: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.getbasetemp() / "bytes.csv"
    path.write_bytes(b"t_s,volts\n" + data)
    read_or_refused(path)
