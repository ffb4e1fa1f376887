"""One and the same drive, written by recorders of many kinds, is one and the same drive."""

import csv
import io
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargecore import engine
from conftest import last_run, measured_data, of_engine_run, short_drive
from underdash.review import analysis, foreign
from underdash.review.foreign import Options, gather
from underdash.review.rows import Rows

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", "blank": " "}
# The drive begins in the last minutes of a 31st, so that the day tells the order, and midnight passes within it.
BEGINS = datetime(2026, 5, 31, 23, 58, 0)


def drive() -> list[tuple[int, int, int | None]]:
    """(ms, mV, mA or None) of conftest's drive, five times a second, with cells that nothing was measured in."""
    volts, amps = short_drive()
    picked = range(0, len(volts), 10)
    return [(20 * at, round(volts[at] * 1000), None if at % 700 == 0 else round(amps[at] * 1000)) for at in picked]


def same(one: Rows, other: Rows) -> bool:
    return all(np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True) for name in vars(one))


@dataclass
class Dialect:
    separator: str
    comma: bool
    encoding: str
    time: str
    columns: list[str]  # their order
    quoted: bool
    line_end: str
    blanks: int
    milli: bool
    above: int

    def number(self, thousandths: int | None, digits: int = 3) -> str:
        if thousandths is None:
            return ""
        text = f"{thousandths / 1000:.{digits}f}"
        return text.replace(".", ",") if self.comma else text

    def times(self, ms: int) -> list[str]:
        at = BEGINS + timedelta(milliseconds=ms)
        mark = "," if self.comma else "."
        fraction = f"{mark}{at:%f}"[:4]
        match self.time:
            case "s":
                return [self.number(ms)]
            case "ms":
                return [str(ms)]
            case "min":
                return [f"{ms / 60000:.9f}".replace(".", mark)]
            case "hours":
                hours, rest = divmod(ms, 3_600_000)
                return [f"{hours}:{rest // 60000:02}:{rest % 60000 // 1000:02}{mark}{ms % 1000:03}"]
            case "epoch":
                return [self.number(round(at.replace(tzinfo=UTC).timestamp() * 1000))]
            case "iso":
                return [f"{at:%Y-%m-%dT%H:%M:%S}{fraction}"]
            case "iso zone":
                return [f"{at + timedelta(hours=2):%Y-%m-%d %H:%M:%S}{fraction}+02:00"]
            case "compact":
                return [f"{at:%Y%m%dT%H%M%S}{fraction}Z"]
            case "dmy":
                return [f"{at:%d.%m.%Y %H:%M:%S}{fraction}"]
            case "mdy 12 h":
                return [f"{at:%m/%d/%Y %I:%M:%S}{fraction} {at:%p}"]
            case "month":
                return [f"{at:%d-%b-%Y %H:%M:%S}{fraction}"]
            case "two columns":
                return [f"{at:%d/%m/%Y}", f"{at:%H:%M:%S}{fraction}"]
        raise AssertionError(self.time)

    def write(self, path: Path, rows: list[tuple[int, int, int | None]]) -> Options:
        unit = {"s": "[s]", "ms": "[ms]", "min": "[min]", "epoch": "(s)"}.get(self.time, "")
        names = {
            "time": [f"Zeit{unit}"] if self.time != "two columns" else ["Datum", "Uhrzeit"],
            "volts": ["U_batt[mV]" if self.milli else "U_batt[V]"],
            "amps": ["I_mA" if self.milli else "I_A"],
            "other": ["Außen°C"],
        }
        text = io.StringIO(newline="")
        quoting = csv.QUOTE_ALL if self.quoted else csv.QUOTE_MINIMAL
        writer = csv.writer(text, delimiter=SEPARATORS[self.separator], quoting=quoting, lineterminator="\n")
        for number in range(self.above):
            text.write(f"recorder {number}\n")
        writer.writerow([name for column in self.columns for name in names[column]])
        for number, (ms, mv, ma) in enumerate(rows):
            cells = {
                "time": self.times(ms),
                "volts": [str(mv) if self.milli else self.number(mv)],
                "amps": ["" if ma is None else str(-ma) if self.milli else self.number(-ma)],
                "other": ["20" if number % 3 else "21"],
            }
            writer.writerow([cell or ("-" if self.separator == "blank" else "") for column in self.columns
                             for cell in cells[column]])  # fmt: skip
        ends = (" " * self.blanks if number % 50 == 3 else "" for number in range(len(rows) + self.above + 1))
        lines = [line + end for line, end in zip(text.getvalue().split("\n")[:-1], ends, strict=True)]
        lines += [" " * self.blanks] * (self.blanks // 100)
        content = self.line_end.join([*lines, ""])
        mark = {"utf-16-be mark": "utf-16-be", "utf-16-le mark": "utf-16-le"}.get(self.encoding)
        path.write_bytes(f"\ufeff{content}".encode(mark) if mark else content.encode(self.encoding))
        return Options(
            columns={"t_s": "+".join(names["time"]), "volts": names["volts"][0], "amps": names["amps"][0]},
            positive="discharge",
            encoding=self.encoding if self.encoding == "cp1252" else None,
        )


TIMES = ["s", "ms", "min", "hours", "epoch", "iso", "iso zone", "compact", "dmy", "mdy 12 h", "month", "two columns"]
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16-le", "utf-16-be", "utf-16-le mark", "utf-16-be mark", "cp1252"]
dialects = st.builds(
    Dialect,
    separator=st.sampled_from(sorted(SEPARATORS)),
    comma=st.booleans(),
    encoding=st.sampled_from(ENCODINGS),
    time=st.sampled_from(TIMES),
    columns=st.permutations(["time", "volts", "amps", "other"]),
    quoted=st.booleans(),
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    blanks=st.sampled_from([0, 1, 5000]),
    milli=st.booleans(),
    above=st.integers(0, 3),
)


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Rows]:
    """(a folder, the drive's rows as read from the documented format)."""
    folder = tmp_path_factory.mktemp("dialects")
    lines = ["t_s,volts,amps"]
    for ms, mv, ma in drive():
        lines.append(f"{ms / 1000},{mv / 1000},{'' if ma is None else ma / 1000}")
    (folder / "plain.csv").write_text("\n".join(lines) + "\n")
    rows, _ = foreign.from_csv(folder / "plain.csv")
    (found,) = analysis.analyse("plain", rows, foreign.Account())["drives"]
    assert [episode["kind"] for episode in found["episodes"]] == ["discharging"]
    return folder, rows


@settings(max_examples=150, deadline=None)
@given(dialect=dialects)
def test_each_dialect_of_a_drive_gives_identical_rows(plain: tuple[Path, Rows], dialect: Dialect) -> None:
    folder, rows = plain
    options = dialect.write(folder / "dialect.csv", drive())
    understood = foreign.understand(folder / "dialect.csv", options)
    assert understood.refused is None, understood.text
    assert f"separator   {dialect.separator} (" in understood.text
    read, _ = foreign.from_csv(folder / "dialect.csv", options=options)
    assert same(read, rows)
    # What was understood serves as the next file's map.
    (folder / "map.toml").write_text(foreign.write_map(understood.options), encoding="utf-8")
    again, _ = foreign.from_csv(folder / "dialect.csv", options=foreign.read_map(folder / "map.toml"))
    assert same(again, rows)


def test_every_time_form_and_separator_with_a_decimal_comma(plain: tuple[Path, Rows]) -> None:
    """The same without chance: none of them goes untried."""
    folder, rows = plain
    for time in TIMES:
        for separator in SEPARATORS:
            dialect = Dialect(
                separator, True, "utf-16-le mark", time, ["amps", "time", "other", "volts"], separator == "comma",
                "\r\n", 0, False, 1)  # fmt: skip
            read, _ = foreign.from_csv(folder / "dialect.csv", options=dialect.write(folder / "dialect.csv", drive()))
            assert same(read, rows), (time, separator)


def test_a_torture_file(tmp_path: Path) -> None:
    """UTF-16, semicolons, decimal commas, a line for spreadsheets, prose with quotes, a row of units, names that come
    again, a row of another channel, a cut last row."""
    lines = [
        "sep=;",
        'Aufnahme 5" vom Sonntag; "Prüfstand"',
        "",
        "Uhrzeit;Strom;Bordnetz;Temp",
        "hh:mm:ss;[mA];[V];°C",
        "23:59:58,0;-1.500,5;12,60;",
        "23:59:59,0;---;12,61;",
        ";;;",
        "Uhrzeit;Strom;Bordnetz;Temp",
        "24:00:00,0;;;21,5",
        '24:00:01,0;\u22122000,0;"12,62";22;;;',
        "24:00:0",
    ]
    (tmp_path / "log.txt").write_bytes("\r\n".join(lines).encode("utf-16"))
    options = Options(columns={"t_s": "Uhrzeit", "volts": "Bordnetz", "amps": "Strom"}, positive="discharge")
    rows, _ = foreign.from_csv(tmp_path / "log.txt", options=options)
    assert rows.t_s.tolist() == [86398.0, 86399.0, 86401.0]
    assert rows.volts.tolist() == [12.6, 12.61, 12.62]
    assert rows.amps[[0, 2]].tolist() == [1.5, 2.0] and np.isnan(rows.amps[1])  # of 1.5005 A the half mA is rounded
    text = foreign.understand(tmp_path / "log.txt", options).text
    for said in ("utf-16 (by its mark)", "semicolon", "in line 4", "comma ('12,60')",
                 "in mA (by the row of units)", "1 row without volts or amps", "1 row that repeats the names",
                 "ends too early (line 12)"):  # fmt: skip
        assert said in text, text


# -- times that go back, gaps, held and double rows ----------------------------------------------


def write(path: Path, rows: list[tuple[float, float]]) -> Path:
    path.write_text("t_s,volts\n" + "".join(f"{t_s},{volts}\n" for t_s, volts in rows))
    return path


STEADY = [(t_s / 5, 14.0 + 0.03 * (t_s % 3)) for t_s in range(600)]


def test_rows_out_of_order_and_rows_written_twice_are_sorted_into_the_same_log(tmp_path: Path) -> None:
    expected, _ = foreign.from_csv(write(tmp_path / "log.csv", STEADY))
    shuffled = [*STEADY[300:], *STEADY[:300]]
    rows, _ = foreign.from_csv(write(tmp_path / "back.csv", shuffled), options=Options(time_back="sort"))
    assert same(rows, expected)
    doubled = [*STEADY[:400], *STEADY[200:], *STEADY]
    found = foreign.read(write(tmp_path / "twice.csv", doubled), Options(time_back="sort"))
    assert (len(found), found.twice, found.backs) == (600, 800, 2)
    rows, _ = foreign.from_csv(tmp_path / "twice.csv", options=Options(time_back="sort"))
    assert same(rows, expected)


def test_a_recorder_that_was_switched_on_again_is_a_start_of_its_own(tmp_path: Path) -> None:
    one, _ = foreign.from_csv(write(tmp_path / "one.csv", STEADY))
    rows, _ = foreign.from_csv(write(tmp_path / "two.csv", STEADY * 2), options=Options(time_back="restart"))
    assert [int((rows.boot == boot).sum()) for boot in (1, 2)] == [len(one), len(one)]
    assert len(analysis.analyse("two", rows, foreign.Account())["drives"]) == 2
    first, second = rows.part(slice(0, len(one))), rows.part(slice(len(one), None))
    second.boot[:] = 1
    assert same(first, one) and same(second, one)


@pytest.mark.parametrize("gap_s", [11.0, 3600.0, 2**30 / 1000 + 1.0, 3e7])
def test_nothing_learnt_before_a_gap_holds_after_it(tmp_path: Path, gap_s: float) -> None:
    """Also where the engine's clock wraps within the gap, so that it would look like a second."""
    low = [(float(t_s), 12.4 + 0.05 * (t_s % 2)) for t_s in range(60, 120)]
    later = [(59.0 + t_s + gap_s, volts) for t_s, volts in low]
    before = [(float(t_s), 14.0 + 0.05 * (t_s % 2)) for t_s in range(60)]
    rows, account = foreign.from_csv(write(tmp_path / "gap.csv", [*before, *low, *later]))
    assert rows.state[119] == engine.DISCHARGING
    assert rows.state[120] == engine.UNKNOWN and rows.since_s[120] == rows.t_s[120]
    (found,) = analysis.analyse("gap", rows, account)["drives"]
    (episode, *_) = found["episodes"]
    assert 0 < episode["length_s"] <= gap_s + 60


def test_a_value_that_stands_is_held_to_the_next_but_no_longer_than_told(tmp_path: Path) -> None:
    found = foreign.read(write(tmp_path / "log.csv", [(0, 12.6), (60, 12.5), (62, 12.4), (200, 12.3)]), Options())
    held = [(t_s, mv) for _, t_s, mv, _ in gather.held(found, 100.0)]
    assert [t_s for t_s, mv in held if mv == 12600] == [5.0 * n for n in range(12)]
    assert [t_s for t_s, mv in held if mv == 12500] == [60.0]
    assert [t_s for t_s, mv in held if mv == 12400] == [62.0 + 5 * n for n in range(21)]
    assert held[-1] == (200.0, 12300) and len(held) == 12 + 1 + 21 + 1
    assert [t_s for _, t_s, *_ in gather.held(found, 0.0)] == [0, 60, 62, 200]


def test_columns_that_are_written_in_turns_stand_beside_each_other(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("t_s,volts,amps\n0,12.6,\n2,,-3\n4,12.5,\n6,,-4\n40,,-5\n")
    found = foreign.read(tmp_path / "log.csv", Options())
    absent = foreign.gather.ABSENT
    assert [sample[1:] for sample in gather.held(found, 5.0)] == [
        (0, 12600, absent), (2, 12600, -3000), (4, 12500, -3000), (6, 12500, -4000), (11, absent, -4000),
        (40, absent, -5000)]  # fmt: skip


def test_a_week(tmp_path: Path) -> None:
    rows = [(float(t_s), 12.7 - t_s * 1e-7) for t_s in range(0, 7 * 86400, 10)]
    found, account = foreign.from_csv(write(tmp_path / "week.csv", rows))
    (rest,) = analysis.analyse("week", found, account)["rests"]
    assert rest["length_s"] == pytest.approx(7 * 86400, abs=60)
    assert rest["drift_mv_per_h"] == pytest.approx(-0.36, abs=0.01)


# -- measured data -------------------------------------------------------------------------------


def test_the_lead_acid_bench_is_read_as_it_is(tmp_path: Path) -> None:
    """Source: github.com/valentinsulzer/faster-lead-acid at 92ad579: time, volts, amps (positive = discharge), and
    temperature in rows of its own; held against the file as Python's csv and datetime read it."""
    path = measured_data("lead-acid-bench") / "telemetry.csv"
    with path.open() as file:
        table = [row for row in csv.DictReader(file) if row["voltage"]]
    columns = {"t_s": "time", "volts": "voltage", "amps": "current"}
    options = Options(columns=columns, units={"amps": "A"}, positive="discharge", time_back="sort")
    found = foreign.read(path, options)
    moments = sorted(datetime.fromisoformat(row["time"]) for row in table)
    assert len(found) == len(table) == 12726
    assert found.t_s == pytest.approx([(at - moments[0]).total_seconds() + 0.9 for at in moments], abs=1e-6)
    assert sorted(found.bus_mv) == sorted(round(float(row["voltage"]) * 1000) for row in table)
    assert sorted(found.clamp_ma) == sorted(round(-1000 * float(row["current"])) for row in table)
    # Held, its charge is that of the table's own steps, within what a step of a sample can be early or late.
    rows, _ = foreign.from_csv(path, options=Options(**{**vars(options), "hold_s": 610.0}))
    in_order = sorted((datetime.fromisoformat(row["time"]), float(row["current"])) for row in table)
    steps = [((b[0] - a[0]).total_seconds(), a[1]) for a, b in pairwise(in_order)]
    out_as = sum(seconds * amps for seconds, amps in steps if amps > 0)
    step_s = np.diff(rows.t_s, prepend=rows.t_s[0])
    assert step_s.max() < 6.1
    assert -np.minimum(rows.amps, 0) @ step_s == pytest.approx(out_as, rel=0.003)


def test_what_is_said_of_a_measured_drive() -> None:
    """Source: one 2014 petrol car, github.com/eron93br/carOBD at bf09e1c."""
    path = measured_data("measured-drives") / "long9.csv"
    understood = foreign.understand(path, Options(columns={"t_s": "engine_run_s"}))
    assert understood.refused is None
    with path.open() as file:
        table = list(csv.DictReader(file))
    volts = [round(float(row["volts"]) * 1000) for row in table]
    repeated = sum(one == other for one, other in pairwise(table))
    held = sum(one == other for one, other in pairwise(volts)) / (len(table) - 1)
    least = min(abs(one - other) for one, other in pairwise(volts) if one != other)
    for said in (f"rows        {len(table)},", f"duplicates  {repeated} rows", f"held        {held:.0%} of the rows",
                 f"they move by {least / 1000:g} V at least", "in s (by its name)", "0 s to 2264 s",
                 f"{min(volts) / 1000:g} to {max(volts) / 1000:g} V"):  # fmt: skip
        assert said in understood.text, understood.text


def test_held_values_of_a_measured_drive_pass_for_no_rest(measured_drive: Path) -> None:
    """A row of a second in which the engine turned is never one of a parked car."""
    rows, _ = foreign.from_csv(measured_drive, options=of_engine_run(measured_drive))
    rows = rows.part(rows.boot == rows.boot[-1])
    turning = {float(row["engine_run_s"]) for row in last_run(measured_drive) if float(row["engine_rpm"]) > 0}
    states = [state for t_s, state in zip(rows.t_s.tolist(), rows.state.tolist(), strict=True) if t_s in turning]
    assert len(states) > 0.9 * len({int(t_s) for t_s in turning}) and engine.REST not in states
