"""Temperature and engine speed of a log: read in their units, put to the rows, and told of in the report."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from conftest import short_drive
from underdash.cli.app import main
from underdash.problems import DataError, UsageError
from underdash.review import foreign, review
from underdash.review.foreign import Options
from underdash.review.rows import Rows


def written(folder: Path, text: str) -> Path:
    (folder / "log.csv").write_text(text)
    return folder / "log.csv"


def table(path: Path, options: Options | None = None) -> Rows:
    return foreign.from_csv(path, options=options)[0]


def test_a_row_has_the_last_speed_and_the_mean_temperature_of_its_second(tmp_path: Path) -> None:
    lines = ["t_s,volts,temperature_c,rpm"]
    lines += [f"{t / 4},14.0,{20 + t % 4},{1000 + t}" for t in range(12)]
    rows = table(written(tmp_path, "\n".join(lines)))
    assert rows.t_s.tolist() == [0.75, 1.75, 2.75]
    assert rows.rpm.tolist() == [1003, 1007, 1011]
    assert rows.temperature.tolist() == [21.5, 21.5, 21.5]


def test_a_cranks_rows_have_each_their_own(tmp_path: Path) -> None:
    text = "t_s,volts,rpm\n0,12.6,0\n1.0,10.2,180\n1.2,10.4,200\n1.4,10.5,\n1.6,10.6,230\n3,14,900\n"
    rows = table(written(tmp_path, text))
    assert rows.rpm.tolist() == pytest.approx([0, 180, 200, np.nan, 230, 900], nan_ok=True)


def test_values_in_rows_of_their_own_belong_to_the_row_that_they_fall_in(tmp_path: Path) -> None:
    """A recorder that writes its columns in turns: no row without volts comes of it."""
    text = (
        "t_s,volts,temperature_c,rpm\n0,14,,\n1.3,,,800\n1.6,,20,\n1.8,,30,900\n2,14,,\n4,14,,\n30,,50,700\n41,14,,\n"
    )
    found = foreign.read(written(tmp_path, text), Options(units={"temperature_c": "C"}))
    assert (len(found), found.elsewhere) == (4, 0)
    rows = table(tmp_path / "log.csv")
    assert rows.t_s.tolist() == [0, 2, 4, 41]
    assert rows.rpm.tolist() == pytest.approx([np.nan, 900, np.nan, np.nan], nan_ok=True)
    assert rows.temperature.tolist() == pytest.approx([np.nan, 25, np.nan, np.nan], nan_ok=True)
    # Where values stand, they stand in the rows after, and no longer than told.
    rows = table(tmp_path / "log.csv", Options(hold_s=12.0))
    standing = {t_s: rpm for t_s, rpm in zip(rows.t_s.tolist(), rows.rpm.tolist(), strict=True) if not np.isnan(rpm)}
    assert standing == {2.0: 900, 4.0: 900, 9.0: 900, 41.0: 700}


def test_what_a_restart_or_sorting_does_to_volts_it_does_to_what_stands_beside(tmp_path: Path) -> None:
    one = [f"{t},14.0,{20 + t},{900 + t}" for t in range(30)]
    head = "t_s,volts,temperature_c,rpm"
    straight = table(written(tmp_path, "\n".join([head, *one])))
    sort = table(written(tmp_path, "\n".join([head, *one[10:], *one[:20]])), Options(time_back="sort"))
    assert np.array_equal(sort.rpm, straight.rpm) and np.array_equal(sort.temperature, straight.temperature)
    other = [line.replace(",9", ",19") for line in one]
    twice = table(written(tmp_path, "\n".join([head, *one, *other])), Options(time_back="restart"))
    assert twice.rpm.tolist() == [*range(900, 930), *range(1900, 1930)]
    assert twice.temperature.tolist() == [*range(20, 50)] * 2


@pytest.mark.parametrize(("name", "value", "unit"), [
    ("Temp [°F]", "212", None), ("temp_f", "212", None), ("Außen°C", "100", None), ("intake_air_c", "100", None),
    ("T", "212", "F"), ("T", "100", "C"), ("T (degC)", "100", None),
])  # fmt: skip
def test_units_of_temperature(tmp_path: Path, name: str, value: str, unit: str | None) -> None:
    (tmp_path / "log.csv").write_text(f"t_s,volts,{name}\n0,14,{value}\n1,14,{value}\n", encoding="utf-8")
    options = Options(columns={"temperature_c": name}, units={"temperature_c": unit} if unit else {})
    assert table(tmp_path / "log.csv", options).temperature.tolist() == pytest.approx([100, 100])


def test_what_is_asked_and_refused(tmp_path: Path) -> None:
    path = written(tmp_path, "t_s,volts,T,n\n0,14,30,900\n1,14,31,70000\n")
    for options, kind, said in (
        (Options(columns={"temperature_c": "T"}), UsageError, r"say --unit temperature_c=C or F"),
        (Options(units={"temperature_c": "F"}), UsageError, r"no column of temperature_c .*temperature_c=NAME"),
        (Options(columns={"rpm": "speed"}), UsageError, r"no column 'speed'.*--column rpm=NAME"),
        (Options(columns={"rpm": "n"}), DataError, r"line 3: rpm is 70000, beyond ±20000 rpm; check the column"),
        (Options(columns={"temperature_c": "n"}, units={"temperature_c": "C"}), DataError,
         r"line 2: temperature_c is 900, beyond ±200 °C; check the units \(--unit temperature_c=F\?\)"),
    ):  # fmt: skip
        with pytest.raises(kind, match=said):
            table(path, options)


def test_a_map_and_a_dry_run_tell_of_them(tmp_path: Path) -> None:
    path, kept = written(tmp_path, "t_s;volts;T;n\n0;14,0;86;900\n1;14,0;95;1000\n"), str(tmp_path / "map.toml")
    words = ["--column", "temperature_c=T", "--unit", "temperature_c=F", "--column", "rpm=n", "--save-map", kept]
    done = CliRunner().invoke(main, ["review", str(path), *words, "--dry-run"])
    assert done.exit_code == 0, done.output
    for said in ("  temperature column 3 'T', in F (as stated)", "  rpm         column 4 'n', in rpm (the only one)",
                 "  degrees are 30 to 35 C, median 32.5; in 2 rows", "  rpm are     900 to 1000 rpm"):  # fmt: skip
        assert said in done.output
    assert table(path, foreign.read_map(Path(kept))).temperature.tolist() == pytest.approx([30, 35])
    report = json.loads(CliRunner().invoke(main, ["review", str(path), "--map", kept, "--json"]).stdout)
    assert report["rows"] == 2


def test_idle_and_slope_come_to_life(tmp_path: Path) -> None:
    """The short drive, its deficit at idle; its charging volts fall by 20 mV/K as the air at the regulator warms."""
    volts, _ = short_drive()
    t_s = np.arange(len(volts)) * 0.02
    celsius = 20.0 + t_s / 10.0
    volts = np.where(volts > 13.5, volts - 0.020 * (celsius - 20.0), volts)
    rpm = np.select([(volts > 12.0) & (volts < 12.5), volts > 13.0], [750.0, 2500.0], 0.0)
    lines = [f"{t},{v:.3f},{c:.2f},{r:.0f}" for t, v, c, r in zip(t_s[::10], volts[::10], celsius[::10], rpm[::10],
                                                                   strict=True)]  # fmt: skip
    report, _ = review(written(tmp_path, "\n".join(["t_s,volts,temperature_c,rpm", *lines])))
    (drive,) = report["drives"]
    (episode,) = drive["episodes"]
    assert drive["set_point_slope_v_per_k"] == pytest.approx(-0.020, abs=0.002)
    idle = drive["idle"]
    assert idle["idle_volts"] == pytest.approx(12.4, abs=0.03)
    assert idle["idle_short_s"] == pytest.approx(episode["length_s"], abs=1.1)
    assert 13.0 < idle["fast_volts"] < 14.1
    (when,) = [one["answer"] for one in report["answers"] if one["question"] == "Under what conditions?"]
    assert "All of it at idle (500 to 900 rpm)" in when
