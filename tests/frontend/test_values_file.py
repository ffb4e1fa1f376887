"""Values files that are not right: each mistake gives its line and the remedy, in one line each."""

import re

import pytest

from frontend.benches import SHIPPED, changed
from underdash.frontend import parts, proof
from underdash.frontend.constants import constants
from underdash.problems import UsageError

EDITS = [
    # what is written, instead of what, what is said, the line's beginning
    ('kind = "tvs"', 'kind = "tsv"', "D1.kind is 'tsv'; must be one of", 'kind = "tsv"'),
    ("breakdown_volts = 21.05", "", "D1.breakdown_volts is missing", ""),
    ("ohms = 33.0", 'ohms = "33"', "R1.ohms is '33'; must be a number", "ohms = "),
    ("ohms = 33.0", "ohms = -33.0", "R1.ohms is -33; must be more than 0", "ohms = -33"),
    ("ohms = 33.0", "ohms = nan", "R1.ohms is nan; must be a number", "ohms = nan"),
    ("ohms = 33.0", "ohms = true", "R1.ohms is True; must be a number", "ohms = true"),
    ("tolerance = 0.001", "tolerance = 1", "R2.tolerance is 1; it is a share: write 0.01 for 1 %", "tolerance = 1"),
    ('nodes = ["limited", "held"]', 'nodes = ["limited"]', "D2.nodes must be 2 names", 'nodes = ["limited"]'),
    ('nodes = ["limited", "held"]', 'nodes = ["limited", "a b"]', "D2.nodes must be 2 names", "nodes = "),
    ("ohms = 33.0", "ohms = 33.0\nohm = 3", "R1.ohm is not known for a resistor", "ohm = 3"),
    ('option = "clamp"', 'option = "clamps"', "R6.option is 'clamps'; must be one of", 'option = "clamps"'),
    ('fitted = ["clamp"]', 'fitted = ["turbo"]', "fitted must be a list of any of", "fitted = "),
]


@pytest.mark.parametrize(("right", "wrong", "said", "begins"), EDITS)
def test_each_mistake_names_its_line_and_the_remedy(tmp_path, right, wrong, said, begins):
    file = tmp_path / "values.toml"
    text = SHIPPED.replace(right, wrong, 1)
    assert text != SHIPPED
    file.write_text(text)
    with pytest.raises(UsageError) as caught:
        parts.load(file)
    line = str(caught.value)
    assert said in line and "\n" not in line
    if begins:
        number = int(re.match(rf"{re.escape(str(file))}:(\d+): ", line).group(1))
        assert text.splitlines()[number - 1].startswith(begins)


def test_all_mistakes_are_told_at_once(tmp_path):
    file = tmp_path / "values.toml"
    file.write_text(SHIPPED.replace("ohms = 33.0", "ohms = 0", 1).replace('kind = "fuse"', 'kind = "wire"', 1))
    with pytest.raises(UsageError) as caught:
        parts.load(file)
    assert len(str(caught.value).splitlines()) == 2


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"[part.R1\n", b"", b"fitted = []\n", b"part = 3\n"])
def test_what_is_no_values_file(tmp_path, content):
    file = tmp_path / "values.toml"
    file.write_bytes(content)
    with pytest.raises(UsageError) as caught:
        parts.load(file)
    assert str(file) in str(caught.value)


def test_no_such_file_or_a_folder(tmp_path):
    with pytest.raises(UsageError, match="no such file"):
        parts.load(tmp_path / "no.toml")
    with pytest.raises(UsageError, match="is a folder"):
        parts.load(tmp_path)


@pytest.mark.parametrize("ref", ["F1", "U1", "A1"])
def test_a_front_end_without_what_every_one_needs(tmp_path, ref):
    with pytest.raises(UsageError, match="has 0 parts of kind"):
        proof.prove(changed(tmp_path, without=(ref,)), quick=True)


def test_a_divider_with_a_gap(tmp_path):
    with pytest.raises(UsageError, match="no resistor between sensed and bus_mid"):
        constants(changed(tmp_path, without=("R3",)))


def test_an_unknown_case():
    with pytest.raises(UsageError, match="no such case; there are running, dump-a-upper"):
        proof.prove(parts.load(), ["lightning"], quick=True)
