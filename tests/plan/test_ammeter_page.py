"""The ammeter's drawing, and the page's own figures worked out anew."""

import importlib.util
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from loops import (
    BATTERY_CABLE,
    CHARGE_CABLE,
    OLD_BACK,
    OLD_OUT,
    SUPPLY,
    car,
    copper,
    example,
    needle,
    numbers,
    seen,
    stated,
)

from underdash.carfile.model import (
    ALTERNATOR,
    BATTERY,
    CHARGE,
    LOOP,
    STARTER,
    Ammeter,
    CarFile,
)
from underdash.carfile.paths import AMMETER, supply
from underdash.plan.ammeter.cases import AFTER_START, HOT_IDLE_ALL, cases
from underdash.plan.ammeter.drawing import drawing
from underdash.plan.ammeter.loop import find_loop
from underdash.wire.network import currents

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/ammeter.md").read_text()


def row(begin: str) -> list[float]:
    """The numbers of the last cell of the page's row that begins with this."""
    line = next(line for line in PAGE.splitlines() if line.startswith(f"| {begin}"))
    return numbers(line.strip("| ").split("|")[-1])


# -- the drawing --------------------------------------------------------------------------------


def picture_maker():
    """docs/pictures/ammeter.py, which is no package."""
    spec = importlib.util.spec_from_file_location("ammeter_picture", ROOT / "docs/pictures/ammeter.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def texts(svg: str) -> list[str]:
    return [found.text or "" for found in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def test_the_drawing_names_every_way_with_its_amps() -> None:
    file = example()
    found = seen(file)
    words = texts(drawing(found, file))
    loop = find_loop(file)
    assert loop is not None
    for name in [branch.name for branch in loop.chain if branch.name != AMMETER] + ["charge cable", "fuse box feed"]:
        assert name in words
    for case in (AFTER_START, HOT_IDLE_ALL):
        shown = needle(found, case)
        for amps in (shown.before_a, shown.after_a):
            assert f"{amps:+.1f} A".replace("-", "−") in words
    amps = currents(supply(file), next(c for c in cases(file) if c.name == AFTER_START).injected(file.bus), BATTERY)
    assert f"{abs(amps['charge cable']):.1f} A" in words


@pytest.mark.parametrize("bus", [ALTERNATOR, STARTER, BATTERY, "meter in", "meter out"])
def test_the_drawing_holds_wherever_the_loads_hang(bus: str) -> None:
    file = replace(car(), bus=bus)
    words = texts(drawing(seen(file), file))
    assert words.count("loads 15 A") == 2  # before and after
    assert "before" in words and "after" in words


def test_long_and_awkward_names_are_cut_and_escaped() -> None:
    name = "a <cable> & a name that goes on and on, far beyond what a column of the table can hold"
    file = car(supply=(replace(CHARGE_CABLE, name=name), *SUPPLY[1:]))
    words = texts(drawing(seen(file), file))
    cut = next(word for word in words if word.startswith("a <cable> &"))
    assert cut.endswith("…") and len(cut) < 45


def test_a_mesh_is_drawn_as_one_way_and_said_so() -> None:
    cross = stated("cross", "stud", BATTERY, 0.002, added=True)
    one = copper("charge one", ALTERNATOR, "stud", "4 AWG", 1.0, carries=(CHARGE,), added=True)
    two = copper("charge two", "stud", STARTER, "4 AWG", 1.0, carries=(CHARGE,), added=True)
    file = car(supply=(one, two, cross, *SUPPLY[1:]))
    words = " ".join(texts(drawing(seen(file), file)))
    assert "more ways than are drawn" in words


def test_the_pages_picture_and_table_are_the_shipped_cars() -> None:
    maker = picture_maker()
    file = maker.shipped()
    found = maker.seen(file)
    assert (ROOT / "docs/pictures/ammeter.svg").read_text() == drawing(found, file), "run `make pictures`"
    assert maker.with_table(PAGE, maker.table(found)) == PAGE, "run `make pictures`"


LONG = "a long name that somebody took care to write, so that the next owner knows"


def crowded() -> CarFile:
    """Long names, five cables in the loop's way, and a fuse box that is fed from the battery too."""
    box = "the fuse box behind the glove box"
    return car(
        supply=(
            copper(f"{LONG} 1", ALTERNATOR, "a splice under the tape", "10 AWG", 1.5, carries=(LOOP,)),
            copper(f"{LONG} 2", "a splice under the tape", "the meter's left post", "10 AWG", 1.0, carries=(LOOP,)),
            copper(f"{LONG} 3", "the meter's right post", STARTER, "10 AWG", 2.5, carries=(LOOP,)),
            copper(
                f"{LONG} 4",
                "the meter's left post",
                "the fuse box behind the glove box",
                "10 AWG",
                1.0,
                carries=(LOOP,),
            ),
            copper(f"{LONG} 5", BATTERY, box, "6 AWG", 1.5, added=True),
            CHARGE_CABLE,
            replace(BATTERY_CABLE, name=f"{LONG} 6"),
        ),
        bus=box,
        ammeter=Ammeter("the meter's left post", "the meter's right post", 0.001, 60.0, 3.0),
    )


def test_a_browser_draws_it_whole_and_no_words_lie_over_others(tmp_path: Path) -> None:
    names = ("chromium", "chromium-browser", "google-chrome")
    browser = next((found for name in names if (found := shutil.which(name))), None)
    assert browser, "this test needs Chromium"
    landed = (CHARGE_CABLE, OLD_OUT, replace(OLD_BACK, end=BATTERY), BATTERY_CABLE)
    files = [
        example(),
        crowded(),
        car(supply=landed),
        *(replace(car(), bus=bus) for bus in (ALTERNATOR, STARTER, BATTERY, "meter in")),
    ]
    page = tmp_path / "page.html"
    page.write_text(
        '<body style="margin:0">'
        + "".join(f'<div style="width:1160px">{drawing(seen(file), file)}</div>' for file in files)
        + '<pre id="out"></pre><script>const found = [];'
        'document.querySelectorAll("svg").forEach((s, i) => { const a = s.getBoundingClientRect();'
        's.querySelectorAll("text").forEach(t => { const b = t.getBoundingClientRect(); found.push([i, t.textContent,'
        "b.left - a.left, b.top - a.top, b.right - a.left, b.bottom - a.top, a.width, a.height]"
        ".join(String.fromCharCode(9))) }) }); "
        'document.getElementById("out").textContent = found.join(String.fromCharCode(10));</script></body>'
    )
    done = subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}",
         "--window-size=1400,1400", "--dump-dom", page.as_uri()],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    listed = re.search(r'<pre id="out">(.*?)</pre>', done.stdout, re.DOTALL)
    assert listed, done.stderr[-500:]
    boxes: list[tuple[str, str, list[float]]] = []
    for line in listed[1].splitlines():
        sheet, text, *edges = line.split("\t")
        left, top, right, bottom, width, height = (float(edge) for edge in edges)
        assert left >= 0.0 and top >= 0.0 and right <= width and bottom <= height, f"{text} of {sheet} is clipped"
        boxes.append((sheet, text, [left, top + 3.0, right, bottom - 3.0]))  # lines' own leading may overlap
    assert {sheet for sheet, _, _ in boxes} == {str(i) for i in range(len(files))}
    assert len(boxes) > 50 * len(files)
    for i, (sheet, text, (left, top, right, bottom)) in enumerate(boxes):
        for other_sheet, other, (l2, t2, r2, b2) in boxes[i + 1 :]:
            apart = right <= l2 or r2 <= left or bottom <= t2 or b2 <= top
            assert sheet != other_sheet or apart, f"{text!r} lies over {other!r} in {sheet}"


# -- the page's hand-worked figures -------------------------------------------------------------


def test_the_page_works_out_the_split_as_the_plan_does() -> None:
    found = seen(car())
    loop_ohm, cable_ohm = found.meter_path_ohm * 1000.0, (found.other_path_ohm or 0.0) * 1000.0
    assert row("by way of the meter |")[0] == pytest.approx(loop_ohm, abs=0.005)
    assert row("by the charge cable |")[0] == pytest.approx(cable_ohm, abs=0.005)
    assert row("share by the meter |")[0] == pytest.approx(100.0 * found.after_share, abs=0.05)
    assert row("share by the charge cable |")[0] == pytest.approx(100.0 * (1.0 - found.after_share), abs=0.05)
    # The copper by itself, from the published geometry: d = 0.127 mm x 92^((36 - n) / 39), 58 m/(ohm mm2).
    for gauge, begin in ((10, "10 AWG, 5.261"), (4, "4 AWG, 21.15")):
        area = 3.141592653589793 / 4.0 * (0.127 * 92.0 ** ((36 - gauge) / 39.0)) ** 2
        assert numbers(begin)[1] == pytest.approx(area, abs=0.005)
        assert row(begin)[0] == pytest.approx(1000.0 * 1.02 * (1.0 + 0.00393 * 10.0) / (58.0 * area), abs=0.0006)
    charged = needle(found, AFTER_START)
    assert charged.battery_a == 30.0
    assert row("needle at 30 A")[0] == pytest.approx(30.0 * found.after_share, abs=0.05)
    joints = seen(car(supply=(replace(CHARGE_CABLE, joints_ohm=0.0005), *SUPPLY[1:])))
    assert f"alone makes it {100.0 * joints.after_share:.1f} %" in PAGE


def test_the_page_works_out_the_lying_needle_as_the_plan_does() -> None:
    idle = needle(seen(car()), HOT_IDLE_ALL)
    assert (idle.alternator_a, idle.loads_a, idle.battery_a) == pytest.approx((40.0, 60.0, -20.0))
    assert "| alternator, 40 A |" in PAGE and "| loads, 60 A |" in PAGE and "| battery, 20 A |" in PAGE
    assert row("alternator, 40 A")[-1] == row("sum |")[-1] == pytest.approx(idle.after_a, abs=0.05)
