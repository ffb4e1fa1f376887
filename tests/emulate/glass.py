"""Reading the panel as a driver does: the large figures of its first page."""

import numpy as np
from numpy.typing import NDArray

_PLACES = (0, 22, 52)  # left edges of tens, ones and tenths
# Middle of each segment (x, y) in a figure of 18 by 32: top, upper right, lower right, bottom,
# lower left, upper left, middle.
_SEGMENTS = ((9, 1), (16, 9), (16, 23), (9, 30), (1, 23), (1, 9), (9, 15))
_POINT = (45, 30)
_FIGURES = {
    "1111110": "0", "0110000": "1", "1101101": "2", "1111001": "3", "0110011": "4", "1011011": "5",
    "1011111": "6", "1110000": "7", "1111111": "8", "1111011": "9", "0000000": "",
}  # fmt: skip


def read_volts(picture: NDArray[np.bool_]) -> float | None:
    """The volts shown, or None where no such figures stand."""
    text = ""
    for left in _PLACES:
        lit = "".join(str(int(picture[y, left + x])) for x, y in _SEGMENTS)
        if lit not in _FIGURES:
            return None
        text += _FIGURES[lit]
    if not picture[_POINT[1], _POINT[0]] or not text:
        return None
    return int(text) / 10.0
