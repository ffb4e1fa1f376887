"""The wiring pictures, drawn from hardware/values.toml: board, harness and car, each as .svg and .png."""

from pathlib import Path

import boardpicture
import carpicture
import harnesspicture
import items as items_file
import tracks
from picture import Picture

from underdash.frontend import parts
from underdash.frontend.parts import Values

HERE = Path(__file__).resolve().parent


def pictures(values: Values) -> dict[str, Picture]:
    """By name. ValueError, a line for each mistake, if what they show is not what the file says."""
    items = items_file.load(values)
    return {
        "board": boardpicture.draw(values, items, tracks.read(HERE / "tracks.txt")),
        "harness": harnesspicture.draw(values, items),
        "car": carpicture.draw(values, items),
    }


if __name__ == "__main__":
    for name, picture in pictures(parts.load(HERE / "values.toml")).items():
        (HERE / f"{name}.svg").write_bytes(picture.svg())
        (HERE / f"{name}.png").write_bytes(picture.png({}))
