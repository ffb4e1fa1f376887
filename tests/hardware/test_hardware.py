"""Everything that is made from hardware/values.toml is what that file gives now, and says what it says."""

import csv
import io
import re
import shutil
import sys
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "hardware"))

import boardpins
import bom
import circuit
import items as items_file
import make
import placement
import proofsection
import router
import schematic
import stamp
import tables
import tracks
import wiring
from bodies import Body
from tracks import Track

from chargecore import options
from underdash.frontend import leads, parts, proof
from underdash.frontend.parts import Part, Values

VALUES = parts.load(ROOT / "hardware/values.toml")
ITEMS = items_file.load(VALUES)
TRACKS = tracks.read(ROOT / "hardware/tracks.txt")


def changed(**new: Part | None) -> Values:
    """The shipped values with parts put in place of others, or taken out."""
    found = {**VALUES.parts, **new}
    return replace(VALUES, parts={ref: part for ref, part in found.items() if part})


def moved(ref: str, *nodes: str) -> Values:
    return changed(**{ref: replace(VALUES[ref], ref=ref, nodes=nodes)})


# ---- stale or not


def test_nothing_is_stale() -> None:
    assert make.stale(ROOT, VALUES) == []


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """What is made, elsewhere: some of it will be spoilt."""
    for name in ("hardware", "docs", "firmware/lib/chargecore"):
        shutil.copytree(
            ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("*.py[co]", "__pycache__", "pictures")
        )
    return tmp_path


def test_a_changed_value_makes_all_that_shows_it_stale(copy: Path) -> None:
    path = copy / "hardware/values.toml"
    text = path.read_text()
    assert text.count("ohms = 2000.0\n") >= 1
    path.write_text(text.replace("ohms = 2000.0\n", "ohms = 2010.0\n"))
    values = parts.load(path)

    found = make.stale(copy, values)

    for name in ("schematic.svg", "schematic.png", "board.svg", "board.png", "harness.png", "car.png", "bom.csv"):
        assert f"hardware/{name}" in found
    assert {"firmware/lib/chargecore/nominal.py", "docs/hardware.md", "hardware/netlists/running.cir"} <= set(found)
    assert "hardware/harness.svg" not in found  # shows no resistor

    make.write(copy, values)
    assert make.stale(copy, values) == []
    assert "2.01 kΩ" in (copy / "hardware/bom.csv").read_text()


def test_a_file_that_was_edited_is_missing_or_is_left_over_is_named(copy: Path) -> None:
    values = parts.load(copy / "hardware/values.toml")
    document = copy / "docs/hardware.md"
    document.write_text(document.read_text().replace("| R1 | 1 |", "| R1 | 2 |"))
    (copy / "hardware/bom.csv").unlink()
    (copy / "hardware/netlists/gone.cir").write_text("* a case that is no more\n")
    picture = copy / "hardware/board.png"
    picture.write_bytes(stamp.stamped(picture.read_bytes()[:33] + picture.read_bytes()[33:], "other"))

    assert stamp.read(picture.read_bytes()) == "other"
    assert make.stale(copy, values) == [
        "hardware/bom.csv", "docs/hardware.md", "hardware/board.png", "hardware/netlists/gone.cir",
    ]  # fmt: skip

    make.write(copy, values)
    assert make.stale(copy, values) == []
    assert not (copy / "hardware/netlists/gone.cir").exists()


def test_a_script_that_draws_is_part_of_the_mark(copy: Path) -> None:
    files = [copy / "hardware/values.toml", copy / "hardware/tracks.txt"]
    before = stamp.digest(files)
    files[1].write_text(files[1].read_text() + "# nothing\n")
    assert stamp.digest(files) != before
    drawing = {path.name for path in (ROOT / "hardware").glob("*.py")} | {"tracks.txt"}
    # These write no picture.
    assert drawing - set(make._SOURCES) == {
        "bom.py",
        "circuit.py",
        "make.py",
        "proofsection.py",
        "stamp.py",
        "tables.py",
    }


def test_the_command_names_what_is_stale_and_what_it_does_not_know(capsys: pytest.CaptureFixture[str]) -> None:
    assert make.main(["--check"]) == 0
    assert make.main(["--chek"]) == 2
    assert "--chek is not known" in capsys.readouterr().err


def test_the_proof_is_of_these_values() -> None:
    document = (ROOT / "docs/hardware.md").read_text()
    assert not proofsection.stale(document, VALUES)
    other = changed(R1=replace(VALUES["R1"], figures={**VALUES["R1"].figures, "ohms": 34.0}))
    assert proofsection.stale(document, other)
    assert proofsection.stale(proofsection.put(document, ""), VALUES)
    with pytest.raises(ValueError, match="no markers"):
        proofsection.put("# nothing\n", "")


def test_the_proof_says_which_case_fails() -> None:
    weak = changed(R1=replace(VALUES["R1"], figures={**VALUES["R1"].figures, "watts": 0.25, "joules": 0.5}))
    told = proofsection.markdown(proof.prove(weak, ["dump-a-upper"], quick=True))
    assert "**FAILS**" in told and "checks fail" in told
    assert "FAILS" not in proofsection.markdown(proof.prove(VALUES, ["dump-a-upper"], quick=True))


def test_tables_and_markers_must_match() -> None:
    with pytest.raises(ValueError, match="volts"):
        tables.fill((ROOT / "docs/hardware.md").read_text().replace(": volts -->", ": vlots -->"), VALUES)


# ---- the schematic


def test_the_schematic_has_every_part_once_joined_as_the_file_says() -> None:
    sheet = schematic.draw(VALUES)
    assert sorted(sheet.drawn) == sorted(VALUES.parts)
    assert sheet.mistakes() == []
    text = schematic.svg(VALUES).decode()
    for ref in VALUES.parts:
        assert f">{ref}<" in text or f">{ref} " in text, ref


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (changed(R7=None), "R7 is in the drawing and not in values.toml"),
        (changed(R99=replace(VALUES["R7"], ref="R99")), "R99 is in values.toml and not drawn"),
        (moved("R4", "sensed", "ground"), "R4 lies between sensed and ground; the drawing has it at bus_mid"),
        (moved("Q1", "buzzer_base", "buzzer_low", "ground"), "Q1 should be at buzzer_low and is drawn at buzzer_base"),
        (moved("R16", "key_mid", "gp20"), "R16 leads to gp20, and the board has no such pin"),
        (moved("C2", "rail", "ground"), "C2 lies between rail and ground; the drawing has it at held"),
    ],
)
def test_a_schematic_that_does_not_fit_the_file_is_refused(values: Values, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        schematic.draw(values)


def test_a_wire_drawn_to_the_wrong_place_is_seen() -> None:
    sheet = schematic.draw(VALUES)
    place = {(ref, node): point for ref, node, point in sheet.terminals}
    sheet.wires.append((place["R4", "bus_mid"], place["R15", "key_mid"]))
    assert any("bus_mid and key_mid" in mistake for mistake in sheet.mistakes())

    sheet = schematic.draw(VALUES)
    cut = place["R5", "bus_mid"]
    sheet.wires = [wire for wire in sheet.wires if cut not in wire]
    assert any("R5" in mistake and "no name" in mistake for mistake in sheet.mistakes())


# ---- the perfboard and the loom


def test_the_tracks_join_exactly_what_the_file_joins() -> None:
    assert tracks.mistakes(VALUES, ITEMS, TRACKS) == []
    assert len(TRACKS) > 50


def test_every_part_is_on_the_perfboard_or_in_the_loom() -> None:
    placed = {ref for ref, _ in placement.legs(VALUES, ITEMS)}
    assert placed | set(placement.OFF_BOARD) == set(VALUES.parts) | {
        r for r, i in ITEMS.items() if i.kind == "connector"
    }
    assert not placed & set(placement.OFF_BOARD)


def test_no_two_parts_want_the_same_room() -> None:
    outlines = router.outlines(VALUES, ITEMS)
    assert [pair for pair in combinations(outlines, 2) if outlines[pair[0]].meets(outlines[pair[1]])] == []
    for ref, body in outlines.items():
        holes = [hole for (name, _), (hole, _) in placement.legs(VALUES, ITEMS).items() if name == ref]
        assert not placement.kept_free() & set(holes), ref
        span = max(abs(a[i] - b[i]) for a in holes for b in holes for i in (0, 1)) * 2.54
        if "axial" in (VALUES.parts[ref].footprint if ref in VALUES.parts else ""):
            assert span >= max(body.width, body.height) + 2.5, f"{ref}: no room to bend its leads"


def test_nothing_stands_near_the_part_that_gets_hot(monkeypatch: pytest.MonkeyPatch) -> None:
    def near() -> list[str]:
        outlines = router.outlines(VALUES, ITEMS)
        hot = outlines.pop(placement.HOT)
        return [ref for ref, body in outlines.items() if hot.distance(body) < 10.0]

    assert VALUES.between("resistor", "fused", "limited")[0].ref == placement.HOT
    assert placement.HOT_CLEARANCE >= 10.0 and near() == []
    monkeypatch.setitem(placement._LEGS, "J1", ((1, 9), (1, 11), (1, 13), (1, 15)))
    assert near() == ["J1"]


def test_distance_is_from_outline_to_outline() -> None:
    one = Body(0.0, 0.0, 4.0, 2.0)
    assert one.distance(Body(6.0, 0.0, 2.0, 2.0)) == pytest.approx(3.0)
    assert one.distance(Body(6.0, 6.0, 2.0, 2.0)) == pytest.approx(5.0)
    assert one.distance(Body(2.0, 1.0, 2.0, 2.0)) == 0.0


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda found: found[1:], "is in pieces"),
        (lambda found: [*found, Track("track", "bus_mid", ((20, 25), (17, 25)))], "is dim_mid"),
        (lambda found: [*found, Track("track", "fused", ((1, 10), (1, 14)))], r"is ground|J1.1 J1.3 R1.1 R2.1"),
        (lambda found: [*found, Track("jumper", "fused", ((1, 10), (1, 14)))], "a leg and a jumper"),
        (lambda found: [*found, Track("track", "ground", ((0, 0), (5, 1)))], "runs aslant"),
        (lambda found: [*found, Track("track", "ground", ((60, 5), (61, 5)))], "off the board"),
    ],
)
def test_a_spoilt_track_is_seen(spoil, said: str) -> None:
    assert any(re.search(said, line) for line in tracks.mistakes(VALUES, ITEMS, spoil(TRACKS)))


def test_each_track_left_out_leaves_something_apart() -> None:
    for number in range(len(TRACKS)):
        assert tracks.mistakes(VALUES, ITEMS, TRACKS[:number] + TRACKS[number + 1 :]), TRACKS[number].line()


def test_a_part_of_the_file_without_a_place_stops_the_drawing() -> None:
    with pytest.raises(ValueError, match="R99 has no place on the perfboard"):
        wiring.pictures(changed(R99=replace(VALUES["R7"], ref="R99")))
    with pytest.raises(ValueError, match="key_mid"):
        wiring.pictures(moved("R15", "dim_mid", "ground"))


def test_a_line_of_the_tracks_that_is_none_is_named(tmp_path: Path) -> None:
    path = tmp_path / "tracks.txt"
    path.write_text("track ground 1,2 x,3\n")
    with pytest.raises(ValueError, match=r"tracks\.txt:1"):
        tracks.read(path)


def test_the_loom_brings_what_the_file_says() -> None:
    assert items_file.mistakes(VALUES, ITEMS) == []
    wrong = {**ITEMS, "W6": replace(ITEMS["W6"], nodes=("battery",))}
    assert items_file.mistakes(VALUES, wrong) == ["W6 brings battery to J3.1, which is ignition"]
    without = {ref: item for ref, item in ITEMS.items() if ref != "W9"}
    assert "nothing is led to J4.1 (button)" in items_file.mistakes(VALUES, without)
    single = {**ITEMS, "W5": replace(ITEMS["W5"], twisted="")}
    assert items_file.mistakes(VALUES, single) == ["W4 is twisted with W5, and that not with W4"]


def test_the_tap_lead_is_short_and_every_lead_bears_its_fuse() -> None:
    # 33 CFR 183.455(b): 7 inches. 33 CFR 183.425 table 5, 105 C: AWG 20 is not in it; half of AWG 18's 20 A is.
    assert ITEMS["W1"].metres <= 0.18
    for item in ITEMS.values():
        if item.kind == "wire":
            assert item.awg <= 20 and item.insulation_c >= 105
            assert VALUES["F1"]["amps"] <= 10


def test_pins_are_those_of_the_firmware() -> None:
    chosen = options.default_pins()
    for name, node in (("bus", "R5"), ("clamp", "R9"), ("button", "R20"), ("ignition", "R16"), ("dim", "R19"),
                       ("lamp", "R21"), ("buzzer", "R22")):  # fmt: skip
        assert f"gp{chosen[name]}" in VALUES[node].nodes
    assert {f"gp{chosen['sda']}", f"gp{chosen['scl']}"} <= set(VALUES["A4"].nodes)
    # Data sheet of the 40-pin board, from memory: GP0 is pin 1, GP15 20, GP16 21, GP26 31, GP28 34.
    assert [boardpins.pin(f"gp{number}") for number in (0, 15, 16, 26, 28)] == [1, 20, 21, 31, 34]
    assert boardpins.pin("vsys") == 39 and boardpins.printed(33) == "AGND"


# ---- the list of parts, and the numbers


def test_the_list_counts_every_part_and_item_once() -> None:
    rows = list(csv.DictReader(io.StringIO(bom.text(VALUES))))
    named = [ref for row in rows for ref in row["designators"].split()]
    assert sorted(named) == sorted([*VALUES.parts, *ITEMS])
    for row in rows:
        refs = row["designators"].split()
        pieces = ITEMS[refs[0]].quantity if refs[0] in ITEMS else len(refs)
        assert int(row["quantity"]) == pieces
        assert row["what"] and row["purpose"] and not row["purpose"].startswith("as ")
    assert sum(int(row["quantity"]) for row in rows if row["what"] == "resistor") == sum(
        part.kind == "resistor" for part in VALUES.parts.values()
    )


def test_expected_volts_and_ohms_follow_from_the_parts() -> None:
    found = {reading.node: reading for reading in circuit.readings(VALUES, 12.0)}
    upper = VALUES["R2"]["ohms"] + VALUES["R3"]["ohms"]
    share = VALUES["R4"]["ohms"] / (upper + VALUES["R4"]["ohms"])
    assert found["gp26"].volts == pytest.approx(12.0 * share, rel=1e-3)
    assert found["limited"].volts == pytest.approx(12.0 - 0.046 * VALUES["R1"]["ohms"], abs=0.05)
    assert found["held"].low < found["held"].volts < found["held"].high
    assert found["rail"].high == pytest.approx(5.0 * 1.05)
    assert circuit.ohms(VALUES, "fused", "ground") == pytest.approx(upper + VALUES["R4"]["ohms"], rel=1e-6)
    assert circuit.ohms(VALUES, "rail", "limited") == float("inf")
    worst = circuit.faults(VALUES, 16.0, 14.0)
    assert worst["shorted"] == pytest.approx(256 / (VALUES["R1"]["ohms"] * 0.95))
    # 10 W up to 70 C, nothing at 275 C.
    assert worst["shorted kelvin"] == pytest.approx(worst["shorted"] * 20.5)
    assert worst["shorted"] <= worst["rating"], "R1 must bear a shorted D1 for ever"


def test_the_ground_leads_share_the_boards_current() -> None:
    amps = tables.lead_amps(VALUES, ITEMS)
    whole = circuit.nodes(VALUES, tables.BENCH_VOLTS)["amps"]
    assert amps["W3"] + amps["W5"] == pytest.approx(whole)
    assert amps["W3"] * ITEMS["W3"].ohms == pytest.approx(amps["W5"] * ITEMS["W5"].ohms)
    assert amps["W5"] == pytest.approx(0.018, abs=0.0005)
    assert amps["W2"] + amps["W4"] == pytest.approx(whole) and amps["W1"] == pytest.approx(whole)
    loom = leads.leads(VALUES)
    assert loom.ground == pytest.approx(1 / (1 / ITEMS["W3"].ohms + 1 / ITEMS["W5"].ohms), rel=1e-6)
    assert (loom.tap, loom.sense) == pytest.approx((ITEMS["W1"].ohms, ITEMS["W4"].ohms))
    # A file without leads has the shipped ones.
    assert leads.leads(replace(VALUES, text="")) == loom


def test_the_document_names_every_file_that_it_links() -> None:
    text = (ROOT / "docs/hardware.md").read_text()
    links = re.findall(r"\]\((\.\./hardware/[\w./]+)\)", text)
    assert len(links) >= 8
    for link in links:
        assert (ROOT / "docs" / link).is_file(), link
