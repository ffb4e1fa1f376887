"""A model of the display's controller: bytes from the bus in, the picture on the glass out."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

WIDTH, HEIGHT = 128, 64

# How many argument bytes follow each command of more than one byte (SSD1306 data sheet, section 9).
_ARGUMENTS = {
    0x20: 1, 0x21: 2, 0x22: 2, 0x26: 6, 0x27: 6, 0x29: 5, 0x2A: 5, 0x81: 1, 0x8D: 1, 0xA3: 2,
    0xA8: 1, 0xD3: 1, 0xD5: 1, 0xD9: 1, 0xDA: 1, 0xDB: 1,
}  # fmt: skip


class DisplayModel:
    """An SSD1306-kind controller in horizontal addressing. `frames` counts the writes to its RAM."""

    def __init__(self) -> None:
        self.on = False
        self.inverted = False
        self.frames = 0
        self._ram = np.zeros((HEIGHT // 8, WIDTH), np.uint8)
        self._columns = (0, WIDTH - 1)
        self._pages = (0, HEIGHT // 8 - 1)
        self._column = self._page = 0
        self._command: list[int] = []

    def write(self, message: bytes) -> None:
        """Take one bus transfer: a control byte, then commands (0x00) or picture data (0x40)."""
        if not message:
            return
        if message[0] == 0x40:
            self._data(message[1:])
        elif message[0] == 0x00:
            for byte in message[1:]:
                self._take_command(byte)
        else:
            raise ValueError(f"control byte {message[0]:#04x}: only 0x00 and 0x40 are modelled")

    def picture(self) -> NDArray[np.bool_]:
        """The lit pixels, shape (64, 128), row 0 at the top; dark while the panel is off."""
        if not self.on:
            return np.zeros((HEIGHT, WIDTH), bool)
        bits = np.unpackbits(self._ram[:, :, None], axis=2, bitorder="little")
        lit: NDArray[np.bool_] = bits.transpose(0, 2, 1).reshape(HEIGHT, WIDTH).astype(bool)
        return ~lit if self.inverted else lit

    def _take_command(self, byte: int) -> None:
        self._command.append(byte)
        command, arguments = self._command[0], self._command[1:]
        if len(arguments) < _ARGUMENTS.get(command, 0):
            return
        self._command = []
        if command in (0xAE, 0xAF):
            self.on = command == 0xAF
        elif command in (0xA6, 0xA7):
            self.inverted = command == 0xA7
        elif command == 0x20 and arguments[0] != 0:
            raise ValueError(f"addressing mode {arguments[0]}: only horizontal is modelled")
        elif command == 0x21:
            self._columns = (arguments[0] & 127, arguments[1] & 127)
            self._column = self._columns[0]
        elif command == 0x22:
            self._pages = (arguments[0] & 7, arguments[1] & 7)
            self._page = self._pages[0]

    def _data(self, data: bytes) -> None:
        self.frames += 1
        whole = data and len(data) == self._ram.size
        if whole and self._columns == (0, WIDTH - 1) and self._column == self._page == 0:
            self._ram[:] = np.frombuffer(data, np.uint8).reshape(self._ram.shape)
            return
        for byte in data:
            self._ram[self._page, self._column] = byte
            self._column += 1
            if self._column > self._columns[1]:
                self._column = self._columns[0]
                self._page = self._page + 1 if self._page < self._pages[1] else self._pages[0]


def save_picture(picture: NDArray[np.bool_], path: Path, scale: int = 6) -> None:
    """Save as PNG, each pixel `scale` wide with a dark line between, as on the glass."""
    from matplotlib.image import imsave

    cell = np.zeros((scale, scale), bool)
    cell[: scale - 1, : scale - 1] = True
    lit = np.pad(np.kron(picture, cell), 2 * scale)
    colours = np.where(lit[:, :, None], (190, 230, 255), (10, 14, 20)).astype(np.uint8)
    path.parent.mkdir(parents=True, exist_ok=True)
    imsave(path, colours)
