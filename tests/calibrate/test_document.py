"""docs/calibration.md: its files are read as they stand, its refusals are the program's, its options exist."""

import re
from pathlib import Path

from click.testing import CliRunner

from calibrate.make_believe import METER
from underdash.calibrate import amps, checks, meter
from underdash.calibrate.points import read_amps, read_volts
from underdash.cli.calibrate import calibrate

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "docs" / "calibration.md").read_text()
BLOCKS = re.findall(r"^```\n(.*?)^```$", TEXT, re.M | re.S)


def block(word: str, tmp_path: Path) -> Path:
    (found,) = [one for one in BLOCKS if re.search(rf"^{word},", one, re.M)]
    path = tmp_path / "points.csv"
    path.write_text(found)
    return path


def test_the_files_shown_pass(tmp_path: Path) -> None:
    points = read_volts(block("meter_volts", tmp_path))
    line = checks.check_set(points, meter.parse(METER), checks.Nominal())
    assert abs(line.residuals).max() < 0.001 and points[0].count == 16
    found = amps.analyse(read_amps(block("meter_amps", tmp_path)), meter.parse("1% + 3 digits at 0.01"))
    assert 0.05 < found.hysteresis < 0.4 and found.supply > 30000


def test_each_refusal_explained_is_one_that_the_program_gives() -> None:
    source = "".join(path.read_text() for path in (ROOT / "host" / "underdash" / "calibrate").glob("*.py"))
    source = re.sub(r'"\s*\n\s*f?"', "", source)
    table = TEXT[TEXT.index("| it says |") :]
    rows = re.findall(r"^\| ([^|]+) \|", table[: table.index("\n\n")], re.M)[1:]
    words = {
        part.strip()
        for row in rows
        if not row.startswith("3 values")
        for part in re.split(r"[,…;]", row)
        if part.strip("- ")
    }
    words = {re.sub(r"\s*\(.*\)", "", word) for word in words}
    assert len(words) > 20
    assert [word for word in words if word not in source] == []


def test_the_options_named_exist() -> None:
    told = (
        CliRunner().invoke(calibrate, ["volts", "--help"]).output
        + CliRunner().invoke(calibrate, ["amps", "--help"]).output
    )
    for option in set(re.findall(r"--[a-z]+(?:-[a-z]+)*", TEXT)):
        assert option in told, option
    for option in set(re.findall(r"--[a-z]+(?:-[a-z]+)*", told)) - {"--help", "--out"}:
        assert option in TEXT, option
