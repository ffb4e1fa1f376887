"""Numbers in words: nothing that is nothing, one of one, and no more digits than mean something."""

from pathlib import Path
from typing import Any

import pytest
from dips import with_clamp

from underdash.carfile import example
from underdash.review import review
from underdash.review.answers import answers
from underdash.review.charge_words import decimals, measured_ah
from underdash.review.findings import findings
from underdash.review.plan_words import closing
from underdash.review.text import summary
from underdash.review.words import count, figure, three

REST, CRANK, RUN, PARKED = (120, 12.65, 0.0), (1, 10.0, -180.0), (300, 14.1, 5.0), (120, 12.7, 0.0)


def of(path: Path, *stretches: tuple[float, float, float]) -> dict[str, Any]:
    return review(with_clamp(path / "log.csv", *stretches))[0]


def test_figures() -> None:
    assert [figure(value, 2) for value in (-0.001, 0.001, -0.01, -2.345)] == ["0.00", "0.00", "-0.01", "-2.35"]
    assert [three(value) for value in (46.93, 72.64, 1234.0, 0.01236, 75.0)] == [
        "46.9",
        "72.6",
        "1,230",
        "0.0124",
        "75",
    ]
    assert [count(0, "row"), count(1, "row"), count([1, 2], "row")] == ["0 rows", "1 row", "2 rows"]


def test_a_deficit_of_seconds_and_nothing_is_no_finding(tmp_path: Path) -> None:
    report = of(tmp_path, REST, CRANK, RUN, (7, 12.7, -2.0), RUN, PARKED)
    (episode,) = report["drives"][0]["episodes"]
    assert episode["kind"] == "discharging" and -0.01 < episode["charge_ah"] < 0.0
    assert not any("fed the car" in finding["text"] for finding in report["findings"])
    assert report["answers"][0]["answer"].startswith("No.")
    longer = of(tmp_path, REST, CRANK, RUN, (7, 12.4, -20.0), RUN, PARKED)
    assert any("fed the car" in finding["text"] for finding in longer["findings"])
    assert longer["answers"][0]["answer"].startswith("Yes")


def test_one_is_one_and_alike_is_said_once(tmp_path: Path) -> None:
    path = with_clamp(
        tmp_path / "log.csv", REST, CRANK, (600, 14.1, 5.0), *[(10, 12.2, -20.0), (10, 14.1, 5.0)] * 2, RUN
    )
    head, *lines = path.read_text().splitlines()
    path.write_text("\n".join([head, *(line for line in lines if not 300 < float(line.split(",")[0]) < 350)]) + "\n")
    words = summary(review(path)[0])
    assert "1 hole in the rows" in words and "by no board; 1 hole." in words
    assert "It begins 10 min into the drive." in words
    assert "V (median)" in words and "V or more" not in words
    assert "-0.0" not in words


def test_a_share_of_a_life_that_is_none_is_not_put_in_figures(tmp_path: Path) -> None:
    path = with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, (60, 12.2, -20.0), RUN, PARKED)
    report, _ = review(path, None, example())
    for share, told in ((0.0002, "costs less than 0.1% of"), (0.0123, "costs about 1.2% of")):
        report["drives"][0]["life_share"] = share
        assert told in answers(report)[3]["answer"]
    assert all(len(number.strip("()").replace(".", "").lstrip("0")) <= 4 for cure in closing(report["plan"])
               for number in cure.split() if number[:1].isdigit())  # fmt: skip


def test_what_lasts_to_the_end_may_be_an_engine_that_is_off(tmp_path: Path) -> None:
    report = of(tmp_path, REST, CRANK, RUN, (300, 12.2, -12.0), PARKED)
    (finding,) = [one for one in report["findings"] if "fed the car" in one["text"]]
    assert "the engine was off and something ran on" in finding["text"]


@pytest.mark.parametrize("crank", [True, False])
def test_a_parked_load_says_whether_a_crank_followed(tmp_path: Path, crank: bool) -> None:
    report = of(tmp_path, REST, (120, 12.2, -9.0), *([CRANK] if crank else []), RUN, PARKED)
    (finding,) = [one for one in findings(report) if "omething drew about 9 A" in one["text"]]
    assert finding["text"].startswith("With the engine off") == crank
    assert ("Either the engine was off" in finding["text"]) != crank


def test_a_row_has_one_number(tmp_path: Path) -> None:
    report = of(tmp_path, REST, CRANK, RUN, (60, 12.2, -20.0), RUN, PARKED)
    (finding,) = [one for one in report["findings"] if "fed the car" in one["text"]]
    assert finding["row"] == report["drives"][0]["episodes"][0]["first_row"]
    assert f"(row {finding['row']})" in summary(report)


def test_of_a_log_no_board_is_said_to_have_shown_anything(tmp_path: Path) -> None:
    report = of(tmp_path, REST, CRANK, RUN, (60, 12.2, -20.0), RUN, PARKED)
    assert "a board would have shown at" in summary(report) and "the board" not in summary(report)
    report["board"] = "0123456789abcdef"
    assert "  the board showed at" in summary(report) and "board and desk disagree" in summary(report)


def test_a_charge_is_told_with_its_bounds_and_no_more_digits_than_they_bear(tmp_path: Path) -> None:
    assert [decimals(off) for off in (3.0, 1.0, 0.5, 0.1, 0.05, 0.001, 0.0)] == [0, 0, 1, 1, 2, 2, 2]
    assert measured_ah(4.7, 4.2, 5.2) == "4.7 Ah (4.2 to 5.2)"
    assert measured_ah(4.7, -0.4, 9.8) == "5 Ah (at most 10)"
    report = of(tmp_path, REST, CRANK, RUN, (600, 12.2, -20.0), RUN, (300, 15.6, 10.0), PARKED)
    fed, over = [one for one in report["drives"][0]["episodes"] if one["kind"] != "marginal"]
    assert fed["charge_low_ah"] < fed["charge_ah"] < fed["charge_high_ah"] < 0.0 < over["charge_ah"]
    words = summary(report)
    assert words.count("gave 3.3 Ah (3.1 to 3.6) by the clamp") == 3  # how bad, its finding, its drive
    assert "took in 0.8 Ah (0.7 to 1.0) by the clamp" in words
    # 600 s of 5 A at 14.1 V and 300 s of 10 A at 15.6 V.
    assert "Wh) out, 1.7 Ah (25 Wh) in by the clamp" in words
    assert " -0." not in words and " -3." not in words


def test_amps_in_words_have_a_way_and_no_sign(tmp_path: Path) -> None:
    report = of(tmp_path, REST, (1, 10.0, 180.0), (40, 14.1, -5.0), PARKED)
    (finding,) = [one for one in report["findings"] if "wrong way round" in one["text"]]
    assert "180.0 A into the battery" in finding["evidence"]


def test_seconds_of_unknown_charge_hide_no_bounds(tmp_path: Path) -> None:
    """Five seconds a row: 120 s below, and a row as the engine stops, of which no bounds are known."""
    stretches = [(120, 12.6), (5, 10.0), (300, 14.1), (120, 12.3), (300, 14.1), (5, 12.7), (300, 12.7)]
    rows = [level for seconds, level in stretches for _ in range(seconds // 5)]
    volts = [level + (0.02 if at % 2 else -0.02) * (level > 13.0 or level == 12.3) for at, level in enumerate(rows)]
    path = tmp_path / "log.csv"
    path.write_text("t_s,volts\n" + "".join(f"{5 * at},{level:.3f}\n" for at, level in enumerate(volts)))
    report, _ = review(path)
    long, short = report["drives"][0]["episodes"]
    assert long["charge_low_ah"] is not None and short["charge_low_ah"] is None
    (finding,) = [one for one in report["findings"] if "fed the car" in one["text"]]
    assert "By an estimate from the volts" in finding["text"] and "to the end" not in finding["text"]
    assert "at most 10 s, lowest" in summary(report)


def test_a_set_point_is_of_the_drive_alone(tmp_path: Path) -> None:
    """20 s pass at rest before it is told, 5 s of a deficit: none of them is a set point."""
    (drive,) = of(tmp_path, REST, CRANK, (150, 14.1, 5.0), (40, 12.2, -20.0), (150, 14.1, 5.0), PARKED)["drives"]
    assert drive["set_point_low_volts"] == pytest.approx(14.08, abs=0.005)


@pytest.mark.parametrize(("rpm", "told", "cure"), [
    (750.0, "All of it was at idle", "A higher idle"), (2400.0, "None of it was at idle", "It was not at idle"),
    (None, "Most often what is missing then", "A higher idle"),
])  # fmt: skip
def test_what_would_fix_it_heeds_the_engines_speed(tmp_path: Path, rpm: float | None, told: str, cure: str) -> None:
    path = with_clamp(tmp_path / "log.csv", REST, CRANK, RUN, (120, 12.2, -20.0), RUN, PARKED)
    head, *lines = path.read_text().splitlines()
    if rpm is not None:
        speeds = (0.0 if float(line.split(",")[0]) < 121.0 else rpm for line in lines)
        path.write_text("\n".join([f"{head},rpm", *(f"{line},{one}" for line, one in zip(lines, speeds, strict=True))]))
    report, _ = review(path)
    (finding,) = [one for one in report["findings"] if "fed the car" in one["text"]]
    assert told in finding["text"]
    assert report["answers"][4]["answer"].startswith(cure)


def test_every_finding_of_a_drive_or_a_hole_leads_to_its_row(tmp_path: Path) -> None:
    stretches = (REST, CRANK, RUN, (120, 12.2, -20.0), RUN, (1, 9.0, -200.0), RUN, (300, 15.6, 9.0))
    path = with_clamp(tmp_path / "log.csv", *stretches)
    head, *lines = path.read_text().splitlines()
    path.write_text("\n".join([head, *(line for line in lines if not 300 < float(line.split(",")[0]) < 350)]) + "\n")
    report, rows = review(path, None, example())
    assert len(report["findings"]) > 4
    of_all = "By its volts alone"  # of the log as a whole
    for finding in (one for one in report["findings"] if not one["text"].startswith(of_all)):
        assert finding["row"] is not None and finding["t_s"] is not None
        assert rows.t_s[finding["row"]] == pytest.approx(finding["t_s"], abs=51.0)
        assert finding["drive"] == 1 or "hole" in finding["text"]
    (gap,) = report["gaps"]
    assert rows.t_s[gap["row"]] - rows.t_s[gap["row"] - 1] == gap["length_s"]
