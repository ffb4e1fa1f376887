"""The demo keeps its promises, and the page it leaves is a page in a real browser."""

import json
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner

from underdash.cli.app import main


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo")
    done = CliRunner().invoke(main, ["demo", "--out", str(out)])
    assert done.exit_code == 0, done.output
    assert "NOT AS PROMISED" not in done.output
    return out


def test_what_it_leaves(made: Path) -> None:
    report = json.loads((made / "report.json").read_text())
    assert report["mismatches"] == report["lost_rows"] == report["unchecked_rows"] == report["damaged_bytes"] == 0
    assert report["rows"] > 6300  # two hours, some 14 minutes of them asleep
    (drive,) = report["drives"]
    (episode,) = drive["episodes"]
    assert episode["kind"] == "discharging"
    assert len(drive["cranks"]) == 1
    # The truth, from the file beside it: when the battery's current went negative for good, by night.
    rows = [line.split(",") for line in (made / "drive.csv").read_text().splitlines()]
    t, amps = rows[0].index("t_s"), rows[0].index("amps")
    night = [float(row[t]) for row in rows[1:] if float(row[t]) > 4000 and float(row[amps]) < -5]
    assert episode["start_s"] == pytest.approx(night[0], abs=6)
    assert episode["length_s"] == pytest.approx(night[-1] - night[0], abs=6)
    assert sorted(path.name for path in made.glob("panel-*.png")) == [
        "panel-1-crank.png", "panel-2-charging.png", "panel-3-deficit.png", "panel-4-rest.png"]  # fmt: skip


def test_the_page_opens_in_a_real_browser(made: Path, tmp_path: Path) -> None:
    browser = shutil.which("chromium")
    assert browser, "chromium is missing: install it to run this test"
    done = subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", f"--user-data-dir={tmp_path}", "--dump-dom",
         (made / "report.html").as_uri()],
        capture_output=True, text=True, timeout=120)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "CONSOLE" not in done.stderr, done.stderr

    class Text(HTMLParser):
        text = ""

        def handle_data(self, data: str) -> None:
            self.text += data

    page = Text()
    page.feed(done.stdout)
    report = json.loads((made / "report.json").read_text())
    episode = report["drives"][0]["episodes"][0]
    assert f"{episode['lowest_volts']:.2f} V" in page.text
    assert report["findings"][0]["text"] in page.text
    assert "<svg" in done.stdout
