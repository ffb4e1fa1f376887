"""How much room a part takes on the perfboard, from its footprint's words. Millimetres; sizes from memory."""

import re
from dataclasses import dataclass

from placement import Hole

PITCH = 2.54
# (words in the footprint, length along the legs, width across); the first that fits counts.
_SIZES = (
    ("48 x 10 mm", 48.0, 10.0),
    ("0207", 6.5, 2.4),
    ("P600", 9.1, 9.1),
    ("DO-15", 7.6, 3.6),
    ("DO-41", 5.2, 2.7),
    ("DO-35", 4.2, 2.0),
    ("film", 7.2, 3.5),
    ("ceramic", 6.5, 3.2),
    ("finned cooler", 25.0, 13.0),
    ("TO-220", 10.2, 4.7),
    ("TO-92", 5.0, 4.0),
)
_ROUND = {"electrolytic": ((1500e-6, 16.0), (470e-6, 13.0), (0.0, 6.3)), "12 mm": ((0.0, 12.0),)}


@dataclass(frozen=True)
class Body:
    """A part's outline: centre and size [mm], from the middle of hole (0, 0); round if `circle`."""

    x: float
    y: float
    width: float
    height: float
    circle: bool = False

    def meets(self, other: "Body") -> bool:
        """Whether two outlines overlap; circles count as such against circles, else as boxes."""
        dx, dy = abs(self.x - other.x), abs(self.y - other.y)
        if self.circle and other.circle:
            return (dx**2 + dy**2) ** 0.5 < (self.width + other.width) / 2 - 0.01
        return dx < (self.width + other.width) / 2 - 0.01 and dy < (self.height + other.height) / 2 - 0.01

    def distance(self, other: "Body") -> float:
        """From outline to outline, circles counted as boxes [mm]; 0 if they meet."""
        dx = abs(self.x - other.x) - (self.width + other.width) / 2
        dy = abs(self.y - other.y) - (self.height + other.height) / 2
        return (max(dx, 0.0) ** 2 + max(dy, 0.0) ** 2) ** 0.5

    def covers(self, hole: Hole) -> bool:
        dx, dy = abs(hole[0] * PITCH - self.x), abs(hole[1] * PITCH - self.y)
        return dx < self.width / 2 and dy < self.height / 2


def body(footprint: str, legs: list[Hole], farads: float = 0.0) -> Body:
    """The outline of a part whose legs are in these holes. ValueError if its footprint is not known here."""
    x = (min(leg[0] for leg in legs) + max(leg[0] for leg in legs)) / 2 * PITCH
    y = (min(leg[1] for leg in legs) + max(leg[1] for leg in legs)) / 2 * PITCH
    along_x = abs(legs[-1][0] - legs[0][0]) >= abs(legs[-1][1] - legs[0][1])
    for word, sizes in _ROUND.items():
        if word in footprint:
            across = next(size for least, size in sizes if farads >= least)
            return Body(x, y, across, across, circle=True)
    if way := re.search(r"(2\.54|5\.08) mm, (\d+) ways", footprint):
        pitch, count = float(way[1]), int(way[2])
        length, width = pitch * count + 0.4, 10.0 if pitch > 3 else 5.8
    else:
        sizes = [(length, width) for word, length, width in _SIZES if word in footprint]
        if not sizes:
            raise ValueError(f"the footprint {footprint!r} has no size in bodies.py; give it one")
        length, width = sizes[0]
    return Body(x, y, length, width) if along_x else Body(x, y, width, length)
