"""The certificate in a real browser: no error on its console, every number that of the JSON beside it."""

import json
import math
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calibrate.make_believe import METER, amps_point, volts_point
from underdash.calibrate import meter, uncertainty, work
from underdash.calibrate.checks import Nominal, check_set, fit_points
from underdash.calibrate.session import TARGETS
from underdash.calibrate.work import Wishes

CLASS = meter.parse(METER)
QUIET = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]  # fmt: skip


class Reader(HTMLParser):
    """Text by id and by class, tags, outside references."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.by: dict[str, list[str]] = {}
        self.tags: list[str] = []
        self.outside: list[str] = []
        self._open: list[list[str]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.tags.append(tag)
        self.outside += [
            value for name in ("src", "href") if (value := given.get(name)) and not value.startswith(("#", "data:"))
        ]
        names = [f"#{given['id']}"] if given.get("id") else []
        names += [f".{name}" for name in (given.get("class") or "").split()]
        if tag not in ("meta", "link", "br", "path", "use"):
            self._open.append(names)
            for name in names:
                self.by.setdefault(name, []).append("")

    def handle_endtag(self, tag: str) -> None:
        if self._open and tag not in ("path", "use"):
            self._open.pop()

    def handle_data(self, data: str) -> None:
        for names in self._open:
            for name in names:
                self.by[name][-1] += data


def made(tmp_path: Path, kind: str) -> tuple[Path, dict[str, Any]]:
    file = tmp_path / "points.csv"
    if kind == "volts":
        points = [volts_point(volts, f"{volts + 0.001 * (-1) ** index:.3f}") for index, volts in enumerate(TARGETS)]
        lines = ["meter_volts,bus_code,spread,count", *(f"{p.text},{p.code:.2f},2.1,16" for p in points)]
        how, asked = work.volts, CLASS
    else:
        lines = ["meter_amps,clamp_code,turns", *(f"{a},{amps_point(a * 8.0).code + off:.2f},8" for a, off in
                                                    ((0, 0), (6, 3), (0, 30), (-6, 0), (0, -20)))]  # fmt: skip
        how, asked = work.clamp, meter.parse("1% + 3 digits at 0.01")
    file.write_text("\n".join(lines) + "\n")
    how(None, Wishes(None, lambda text: None, asked, file, dry_run=True, out=tmp_path / "<out> & co"))
    (page,) = (tmp_path / "<out> & co").glob("*.html")
    return page, json.loads(page.with_suffix(".json").read_text())


@pytest.mark.parametrize("kind", ["volts", "amps"])
def test_in_a_browser(kind: str, tmp_path: Path) -> None:
    page, told = made(tmp_path, kind)
    browser = shutil.which("chromium")
    assert browser, "chromium is missing: install it to run this test"
    done = subprocess.run(
        [
            browser,
            *QUIET,
            "--enable-logging=stderr",
            f"--user-data-dir={tmp_path / 'profile'}",
            "--dump-dom",
            page.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0 and "CONSOLE" not in done.stderr, done.stderr
    read = Reader(done.stdout)
    for name, value in told["found"].items():
        assert read.by[f"#{name}"] == [str(value)]
    shown = [float(text.replace("\u2212", "-")) for text in read.by[".residual"]]
    assert shown == pytest.approx([point["residual"] * 1000 for point in told["points"]], abs=0.0051)
    shown = [float(text) for text in read.by[".expanded"]]
    assert shown == pytest.approx([one["expanded"] * 1000 for one in told["uncertainty"]], abs=0.0051)
    assert "Not stored" in read.by["#state"][0] and "not connected" in read.by["#board"][0]
    assert "svg" in read.tags and "script" not in read.tags and read.outside == []
    words = re.sub(r"\s+", " ", done.stdout)
    for text in told["cautions"]:
        assert text in words.replace("&#39;", "'"), text
    assert re.search(r"\b(nan|None|inf)\b", re.sub(r"<svg.*?</svg>", "", done.stdout, flags=re.S)) is None
    ids = re.findall(r'\bid="([^"]+)"', done.stdout)
    assert len(ids) == len(set(ids))


def test_prints_on_one_sheet(tmp_path: Path) -> None:
    page, _ = made(tmp_path, "volts")
    browser = shutil.which("chromium")
    assert browser
    pdf = tmp_path / "page.pdf"
    words = [
        f"--user-data-dir={tmp_path / 'profile'}",
        "--no-pdf-header-footer",
        f"--print-to-pdf={pdf}",
        page.as_uri(),
    ]
    subprocess.run([browser, *QUIET, *words], capture_output=True, timeout=120, check=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf.read_bytes())) == 1


def test_what_stands_in_a_record_is_what_was_measured(tmp_path: Path) -> None:
    _, told = made(tmp_path, "volts")
    points = [volts_point(point["meter"], point["text"]) for point in told["points"]]
    for point, kept in zip(points, told["points"], strict=True):
        assert kept["reading"] == pytest.approx(point.reading, abs=6) and kept["how"].endswith(
            f"line {kept['number'] + 1}"
        )
        line = (kept["reading"] - told["line"]["zero"]) * told["line"]["gain"]
        assert kept["meter"] - line == pytest.approx(kept["residual"], abs=2e-6)


# -- the numbers themselves -------------------------------------------------------------------


def test_uncertainty_adds_as_squares_and_says_its_types() -> None:
    points = [volts_point(volts, f"{volts + 0.001 * (-1) ** index:.3f}") for index, volts in enumerate(TARGETS)]
    line = check_set(points, CLASS, Nominal())
    statements = uncertainty.of_volts(line, points, CLASS)
    assert [one.value for one in statements] == [12.0, 12.6, 13.5, 14.4, 15.0]
    for one in statements:
        assert one.combined == pytest.approx(math.sqrt(sum(part.standard**2 for part in one.components)))
        parts = {part.name: part for part in one.components}
        assert parts["the fitted line"].kind == "A" and parts["the fitted line"].freedom == 3
        at = one.value / line.gain + line.zero
        assert parts["the fitted line"].standard == pytest.approx(line.scatter * math.sqrt(line.leverage(at)))
        assert parts[uncertainty.METER_CLASS].standard == pytest.approx((one.value * 0.001 + 0.002) / math.sqrt(3))
        assert parts["scatter of one shown value"].standard == pytest.approx(2.0 * line.gain)
        assert one.expanded == pytest.approx(one.factor * one.combined) and 2.0 <= one.factor < 2.2


def test_few_degrees_of_freedom_cost_a_wider_factor() -> None:
    part = uncertainty.Component
    one = uncertainty.combine(1.0, [part("a", "A", 1.0, 1.0, "")])
    assert one.factor == pytest.approx(
        13.97, abs=0.01
    )  # t for 95.45 % and 1 degree: JCGM 100:2008, table G.2, from memory
    two = uncertainty.combine(1.0, [part("a", "A", 3.0, 5.0, ""), part("b", "B", 4.0, math.inf, "")])
    assert two.freedom == pytest.approx(5.0**4 / (3.0**4 / 5.0))
    assert uncertainty.combine(1.0, [part("b", "B", 4.0, math.inf, "")]).factor == 2.0


def test_a_thousand_benches_stay_within_what_is_stated() -> None:
    """Meters anywhere in their class, digits rounded, readings scattered: the stated 95 % hold 93 to 99 %."""
    random = np.random.default_rng(11)
    plain = [volts_point(volts) for volts in TARGETS]
    truth = volts_point(13.0)
    inside = 0
    for _ in range(1000):
        percent, digits = random.uniform(-1, 1, 2)
        crooked = random.normal(0, 0.0015, 6)
        points = []
        for index, point in enumerate(plain):
            read = round(TARGETS[index] * (1 + 0.001 * percent) + 0.002 * digits, 3)
            reading = point.reading + random.normal(0, 0.5) + crooked[index] / 2.767e-4
            points.append(volts_point(TARGETS[index], f"{read:.3f}", reading=reading))
        line = fit_points(points, Nominal(), 0.001)
        (one,) = uncertainty.of_volts(line, points, CLASS, (13.0,))
        shown = round(float(line.volts(truth.reading + random.normal(0, 2) + crooked[5] / 2.767e-4)), 3)
        inside += abs(shown - 13.0) <= one.expanded
    assert 930 <= inside <= 1000
