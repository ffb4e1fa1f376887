"""docs/display.md shows what the firmware draws and does."""

import sys
from pathlib import Path

import pytest
from matplotlib.image import imread

from chargecore import options
from monitor import signals, verdict
from underdash.virtual.display import save_picture

sys.path.insert(0, str(Path(__file__).parents[2] / "docs" / "pictures"))

import pages
import rhythms

ROOT = Path(__file__).resolve().parents[2]
PICTURES = ROOT / "docs" / "pictures"
TEXT = (ROOT / "docs" / "display.md").read_text()


def test_every_picture_is_what_the_firmware_draws_today(tmp_path: Path) -> None:
    drawn = pages.pages()
    assert len(drawn) >= 10
    for name, picture in drawn.items():
        save_picture(picture, tmp_path / "fresh.png", scale=pages.SCALE)
        assert (imread(PICTURES / f"{name}.png") == imread(tmp_path / "fresh.png")).all(), f"{name}: make pictures"
        assert f"(pictures/{name}.png)" in TEXT, name
    assert (PICTURES / "rhythms.svg").read_text() == rhythms.svg(), "make pictures"


@pytest.mark.parametrize(("name", "rhythm"), signals.RHYTHMS)
def test_every_rhythm_is_listed(name: str, rhythm: tuple[int, ...]) -> None:
    parts = [f"{part / 10}" if place % 2 == 0 else f"*{part / 10}*" for place, part in enumerate(rhythm)]
    assert f"| {name} | {' '.join(parts)} |" in TEXT


def test_every_warning_is_explained_gravest_first() -> None:
    places = [TEXT.index(f"| `{word}` |") for _, word in verdict.WARNING_WORDS]
    assert places == sorted(places)


def test_every_option_of_the_face_is_listed_with_its_default() -> None:
    defaults = {field[0]: field[1] for field in options.FIELDS}
    for name in ("hidden", "show_s", "contrast", "dim_contrast", "dim_after_s", "dim_feed", "lamp", "buzzer"):
        assert f"| `{name}` | {defaults[name]} |" in TEXT, name
