"""The wiring picture: everything of the file is in it, and nothing lies on anything else."""

import html
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plan.browser import opened
from plan.cars import CABLES, cable, car, load
from plan.plans import crowded, with_circuits
from underdash.carfile import example
from underdash.carfile.model import ALL_LOADS, ALWAYS, BODY, CHARGE, CRANK, GROUND_SIDE, LOOP, Cable, CarFile
from underdash.plan.cables import size
from underdash.plan.show.wiring import picture
from underdash.plan.show.wiring_layout import FUSE, PAD, Line, lay_out

LONG = "a name that goes on and on, as people do who want to remember in ten years what this one was for"


def smallest() -> CarFile:
    """Three cables, no ammeter, one load."""
    return car(ammeter=None, cables=CABLES[:3], loads=(load("lamp", 4.0, ALWAYS),))


def long_names() -> CarFile:
    """Names beyond reason, some without a space, some that are markup."""
    odd = "Kraftstoffpumpenrelaissteckverbinderhalterung"
    cables = (
        cable(LONG, "bus", LONG + " (place)", "10", 3.0, (LONG + " (load)",), fuse_a=30.0, added=True),
        cable(odd, "bus", odd + "-Ort", "12", 3.0, (odd + "-Last",)),
        cable("<b>&\"'", "starter", "<i>", "16", 1.0, ("<load>",)),
        cable("燃料ポンプの電源ケーブル", "bus", "燃料ポンプ", "14", 3.0, ("燃料ポンプ",)),
        cable("ground of it", "<i>", BODY, "16", 1.0, ("<load>",), side=GROUND_SIDE),
    )
    names = (LONG + " (load)", odd + "-Last", "<load>", "燃料ポンプ")
    return car(cables=(*CABLES, *cables), loads=tuple(load(name, 5.0, ALWAYS) for name in names))


def tangled() -> CarFile:
    """Rings, doubled cables, a part that hangs on nothing, and everything joined to everything."""
    places = ["battery", "starter", "bus", "alternator", "box"]
    cables = [cable(f"{one} to {two}", one, two, "8", 1.0, ()) for at, one in enumerate(places) for two in places[:at]]
    cables += [cable("twin", "battery", "bus", "8", 1.0, (), added=True), cable("apart", "here", "there", "8", 1.0, ())]
    return car(ammeter=None, cables=tuple(cables))


CARS = [smallest, example, with_circuits, crowded, long_names, tangled]


def words(svg: str) -> str:
    """All that is written, without spaces: names are broken into lines."""
    return "".join(html.unescape(re.sub(r"<[^>]+>", "", "".join(re.findall(r"<text.*?</text>", svg)))).split())


@pytest.mark.parametrize("file", CARS)
def test_every_cable_place_and_load_is_in_it(file: Callable[[], CarFile]) -> None:
    one = file()
    svg = picture(one, {each.name: f"carries {at} A" for at, each in enumerate(one.cables)})
    written = words(svg)
    for at, each in enumerate(one.cables):
        assert written.count("".join(each.name.split())) >= 1, each.name
        assert f"carries{at}A" in written
        for place in (each.start, each.end):
            assert "".join(place.split()) in written, place
    for each in one.loads:
        assert "".join(f"{each.name}, {each.amps:.3g} A".split()) in written, each.name
    assert svg.count('class="cable"') == len(one.cables) + (one.ammeter is not None)
    assert svg.count('class="fuse"') == sum(each.fuse_a is not None for each in one.cables) + 1  # and the legend's


def test_width_follows_copper_and_dashes_follow_the_conversion() -> None:
    def line(each: Cable) -> tuple[float, bool]:
        found = re.search(r'class="cable"[^>]*stroke-width="([\d.]+)"([^>]*)',
                          picture(car(ammeter=None, cables=(each,), loads=())))  # fmt: skip
        assert found
        return float(found[1]), "dasharray" in found[2]

    sizes = ["18", "14", "10", "6", "4", "2", "1/0", "4/0"]
    widths = [line(cable("c", "battery", "bus", size, 1.0, ()))[0] for size in sizes]
    assert widths == sorted(set(widths)) and widths[-1] < 8
    assert line(cable("c", "battery", "bus", "6", 1.0, (), added=True))[1]
    assert not line(cable("c", "battery", "bus", "6", 1.0, ()))[1]


def test_what_fails_is_marked_in_words() -> None:
    svg = picture(with_circuits(), {}, {"feed": ["ampacity 90.0 of 60.0 A", "drop 0.30 of 0.20 V"]})
    assert svg.count('class="fault"') == 3 and "▲ drop 0.30 of 0.20 V" in svg and "fails a test" in svg
    assert svg.index("▲ ampacity 90.0 of 60.0 A") < svg.index("▲ drop 0.30 of 0.20 V")
    assert 'class="fault"' not in picture(with_circuits())


def drawn_fuses(svg: str, kind: str) -> list[float]:
    """Middle of each fuse's mark, the legend's left out [px]."""
    lefts = [float(x) for x in re.findall(rf'class="{kind}"[^>]*><rect x="([-\d.]+)"', svg)]
    return [x + 9.0 for x in lefts[:-1]]


def loop_fused() -> CarFile:
    """The shipped car, a fuse in each cable of the old loop."""
    file = example()
    return replace(file, cables=tuple(replace(c, fuse_a=30.0) if LOOP in c.carries else c for c in file.cables))


def boot_battery() -> CarFile:
    """The battery in the boot, all that is in front joined at a post of its own."""
    return car(
        ammeter=None,
        loads=(load("fan", 16.0, ALWAYS),),
        cables=(
            cable("charge cable", "alternator", "front post", "4", 1.0, (CHARGE,), fuse_a=125.0),
            cable("boot cable", "battery", "front post", "1/0", 4.6, (CHARGE, CRANK)),
            cable("starter lead", "front post", "starter", "2", 0.6, (CRANK,)),
            cable("feed", "front post", "bus", "6", 1.1, (ALL_LOADS,), fuse_a=100.0),
            cable("relay feed", "bus", "relay", "10", 1.1, ("fan",), fuse_a=30.0),
            cable("fan lead", "fan", "relay", "10", 1.1, ("fan",), fuse_a=30.0),
        ),
    )


@pytest.mark.parametrize("made", [example, loop_fused, boot_battery])
@pytest.mark.parametrize("turned", [False, True])
def test_a_fuse_is_drawn_where_the_table_has_it(made: Callable[[], CarFile], turned: bool) -> None:
    """The bar of the place that the words name is the nearer one, whichever way the cable is written."""
    file = made()
    if turned:
        file = replace(file, cables=tuple(replace(c, start=c.end, end=c.start) for c in file.cables))
    for result in size(file).results:
        one = result.cable
        if one.fuse_a is None:
            continue
        assert result.fuse is not None and len(result.fuse.ends) == 1
        assert result.fuse.place.startswith(f"at the {result.fuse.ends[0]} end; ")
        alone = [replace(c, fuse_a=one.fuse_a if c.name == one.name else None) for c in file.cables]
        svg = picture(replace(file, cables=tuple(alone)))
        (x,) = drawn_fuses(svg, "fuse")
        line = next(part for part in svg.split('<path class="cable"')[1:] if 'class="fuse"' in part)
        x0, x1 = (float(each) for each in re.findall(r'd="M([-\d.]+) [-\d.]+H([-\d.]+)', line)[0])
        bars = {float(bar) for bar in re.findall(r'class="bar" d="M([-\d.]+)', svg)}
        tags = {name: float(at) for at, name in re.findall(r'class="place" x="([-\d.]+)"[^>]*>([^<]*)<', svg)}
        assert {x0} <= bars and x0 < x < x1
        near = x0 if x - x0 < x1 - x else x1
        assert tags[result.fuse.ends[0]] == near, one.name


def test_where_both_ends_are_fed_a_second_fuse_is_wanted() -> None:
    thin = cable("thin", "alternator", "battery", "10", 1.0, (), fuse_a=30.0)
    thick = cable("thick", "alternator", "battery", "4", 1.0, (), fuse_a=125.0)
    svg = picture(car(ammeter=None, cables=(thin, thick), loads=()))
    assert len(drawn_fuses(svg, "fuse")) == 2 and len(drawn_fuses(svg, "wanted")) == 1
    assert "place of a second fuse" in svg
    assert "place of a second fuse" not in picture(example())


def test_a_fuse_is_at_the_end_nearer_the_battery() -> None:
    """A charge cable is written from the alternator, yet its fuse belongs to the battery."""
    one = cable("charge cable", "alternator", "battery", "4", 1.0, (), fuse_a=125.0)
    other = cable("out", "alternator", "lamp", "4", 1.0, ())
    svg = picture(car(ammeter=None, cables=(one, other), loads=()))
    fuse = float(re.findall(r'class="fuse".*?x="([\d.]+)"', svg)[0])
    bars = [float(x) for x in re.findall(r'class="bar" d="M([\d.]+)', svg)]
    assert abs(fuse - bars[0]) < abs(fuse - bars[1])


SCRIPT = """<script>
addEventListener("load", () => {
  const svg = document.querySelector("svg.wiring"), frame = svg.viewBox.baseVal;
  const box = (e) => { const b = e.getBBox(); return {kind: e.getAttribute("class"), words: e.textContent,
    left: b.x, right: b.x + b.width, top: b.y, bottom: b.y + b.height}; };
  const texts = [...svg.querySelectorAll("text")].map(box);
  const bars = [...svg.querySelectorAll(".bar, .cable")].map(box);
  const out = document.createElement("pre");
  out.id = "boxes";
  out.textContent = JSON.stringify({texts, bars, frame: {left: frame.x, top: frame.y, right: frame.x + frame.width,
    bottom: frame.y + frame.height}});
  document.body.append(out);
});
</script>"""


@pytest.mark.parametrize("file", CARS)
@pytest.mark.parametrize("font", ["DejaVu Sans", "Liberation Sans"])
def test_no_words_overlap_in_a_browser(file: Callable[[], CarFile], font: str, tmp_path: Path) -> None:
    one = file()
    svg = picture(
        one,
        {each.name: "carries 88 A" for each in one.cables},
        {one.cables[0].name: ["fuse 80.0 of 72.7 A", "drop 0.30 of 0.20 V"]},
    )
    page = tmp_path / "page.html"
    page.write_text(f'<!DOCTYPE html><meta charset="utf-8"><link rel="icon" href="data:,"><style>text {{ font-family: '
                    f'"{font}" }}</style>{svg}{SCRIPT}', encoding="utf-8")  # fmt: skip
    found = re.search(r'<pre id="boxes">(.*?)</pre>', opened(page, tmp_path / "profile"), re.DOTALL)
    assert found
    told = json.loads(html.unescape(found[1]))
    texts, frame = told["texts"], told["frame"]
    assert len(texts) > 3 * len(one.cables)
    for each in texts:
        assert frame["left"] <= each["left"] and each["right"] <= frame["right"], each
        assert frame["top"] <= each["top"] and each["bottom"] <= frame["bottom"], each
    slack = 3.0  # a font's box is higher than its letters; lines of one name stand close on purpose
    for at, each in enumerate(texts):
        for other in texts[:at]:
            apart = (each["right"] <= other["left"] or other["right"] <= each["left"]
                     or each["bottom"] <= other["top"] + slack or other["bottom"] <= each["top"] + slack)  # fmt: skip
            assert apart, (each, other)
    for each in texts:
        if each["kind"] in ("name", "facts", "fault", "end"):
            for bar in told["bars"]:
                middle = (bar["left"] + bar["right"]) / 2
                tall = bar["bottom"] - bar["top"]
                crossed = tall > 0 and each["left"] < middle < each["right"] and bar["right"] - bar["left"] < 1
                assert not (crossed and bar["top"] < each["bottom"] - slack and each["top"] + slack < bar["bottom"]), (
                    each
                )
                level = tall == 0 and bar["left"] < each["right"] and each["left"] < bar["right"]
                assert not (level and each["top"] + slack < bar["top"] < each["bottom"] - slack), each


@given(
    pairs=st.lists(
        st.tuples(st.integers(0, 9), st.integers(0, 9)).filter(lambda p: p[0] != p[1]), min_size=1, max_size=40
    ),
    breadths=st.lists(st.floats(10.0, 300.0), min_size=40, max_size=40),
    hung=st.sets(st.integers(0, 9)),
)
@settings(max_examples=300, deadline=None)
def test_any_network_has_room_for_its_words(
    pairs: list[tuple[int, int]], breadths: list[float], hung: set[int]
) -> None:
    lines = [Line(f"p{one}", f"p{two}", breadth) for (one, two), breadth in zip(pairs, breadths, strict=False)]
    places = {place for line in lines for place in (line.start, line.end)}
    lists = [f"p{each}" for each in sorted(hung) if f"p{each}" in places]
    layout = lay_out(lines, lines[0].start, lists, dict.fromkeys(places, 60.0))
    assert sorted(row.line for row in layout.rows if row.line is not None) == list(range(len(lines)))
    named = [place for row in layout.rows for place in row.names]
    assert sorted(named) == sorted(layout.x)
    for at, row in enumerate(layout.rows):
        end = layout.edge if row.right is None else layout.x[row.right]
        assert layout.x[row.left] < end
        if row.line is None:
            continue
        line = lines[row.line]
        assert row.left in (line.start, line.end) and row.right in (line.start, line.end, None)
        begin = layout.x[row.left] + PAD
        assert row.room >= line.words - 1e-6
        for place, (first, last) in layout.spans.items():
            if first <= at <= last and place not in (row.left, row.right):
                assert not begin < layout.x[place] < begin + FUSE + line.words, (place, line)
    for place, (first, last) in layout.spans.items():
        for other, (begin, end) in layout.spans.items():
            if place != other and layout.x[place] == layout.x[other]:
                assert last < begin or end < first
