"""What is soldered around the chip, with the time it takes: flash, display, the inputs' converter."""

from collections.abc import Callable

from emulate.chip import Chip
from underdash.virtual.display import DisplayModel

# W25Q16JV data sheet, AC characteristics, typical.
ERASE_S = {0x20: 0.045, 0xD8: 0.150}
PROGRAM_S = 0.0004
_PROGRAM, _UNIQUE_ID = 0x02, 0x4B
_BURST_GAP_S = 0.5  # operations closer than this belong to one commit


class Flash:
    """Counts the flash's operations and gives each its time. `cut(operations)` takes the power in
    the middle of an operation; `settled` is the file system before the latest burst of them."""

    def __init__(self, chip: Chip, board_id: bytes) -> None:
        self._chip = chip
        self._ssi = chip.core.ssi
        self._id = board_id
        self._apply = self._ssi._apply_command
        self._shift = self._ssi._shift_byte
        self._ssi._apply_command = self._command
        self._ssi._shift_byte = self._byte
        self._cut_after_s: float | None = None
        self._cut_countdown = 0
        self._counting = False
        self.cut_in = ""
        self.erases = self.programs = self.bursts = 0
        self.stalled_s = 0.0
        self.last_s = -1e9
        self.settled = b""

    def cut(self, after_s: float, operation: int) -> None:
        """Take the power half-way through the n-th operation (from 1) of the first commit after that time."""
        self._cut_after_s = after_s
        self._cut_countdown = operation

    def _byte(self, out: int) -> int:
        """The chip's identity: command, four bytes without meaning, eight of identity."""
        answer = self._shift(out)
        sent = self._ssi._tx_buffer
        at = len(sent) - 6
        return self._id[at] if sent[0] == _UNIQUE_ID and 0 <= at < 8 else answer

    def _command(self) -> None:
        sent = self._ssi._tx_buffer
        code = sent[0] if sent else 0
        if len(sent) < 4 or not self._ssi._write_enabled or (code != _PROGRAM and code not in ERASE_S):
            self._apply()
            return
        chip = self._chip
        if chip.now_s - self.last_s > _BURST_GAP_S:
            self.bursts += 1
            self.settled = chip.files()
            self._counting = self._cut_after_s is not None and chip.now_s >= self._cut_after_s
        if self._counting:
            self._cut_countdown -= 1
            if self._cut_countdown == 0:
                self._half(code, sent)
                self.cut_in = "erase" if code in ERASE_S else "page"
                chip.cut_power()
                return
        self._apply()
        seconds = PROGRAM_S if code == _PROGRAM else ERASE_S[code]
        if code == _PROGRAM:
            self.programs += 1
        else:
            self.erases += 1
        self.stalled_s += seconds
        chip.stall(seconds)
        self.last_s = chip.now_s

    def _half(self, code: int, sent: bytearray) -> None:
        """What an operation leaves that lost its supply half-way."""
        if code == _PROGRAM:
            del sent[4 + (len(sent) - 4) // 2 :]
            self._apply()
        else:
            size = 4096 if code == 0x20 else 65536
            begin = (sent[1] << 16 | sent[2] << 8 | sent[3]) & ~(size - 1)
            self._chip.core.flash[begin : begin + size // 2] = b"\xff" * (size // 2)


class DisplayBus:
    """A display behind an I2C block of the chip. `stalled_s` is the time the bus took."""

    def __init__(self, chip: Chip, block: int, address: int) -> None:
        self._chip = chip
        self._i2c = chip.core.i2c[block]
        self._address = address
        self.on_frame: Callable[[], None] = lambda: None
        self._message = bytearray()
        self.fitted = True
        self.stalled_s = 0.0
        self.model = DisplayModel()
        self._i2c.on_start = lambda repeated: self._then(1, self._i2c.complete_start)
        self._i2c.on_connect = self._connect
        self._i2c.on_write_byte = self._write
        self._i2c.on_read_byte = lambda ack: self._then(9, lambda: self._i2c.complete_read(0xFF))
        self._i2c.on_stop = self._end

    def _then(self, bits: int, action: Callable[[], None]) -> None:
        seconds = bits * (self._i2c.scl_low_period + self._i2c.scl_high_period) / 125e6
        self.stalled_s += seconds
        self._chip.stall(seconds)
        action()

    def _connect(self, address: int, mode: int) -> None:
        self._message.clear()
        here = self.fitted and address == self._address
        self._then(9, lambda: self._i2c.complete_connect(here))
        if not here:
            # The emulator forgets this flag after a refusal; the guest would wait for it in vain.
            self._i2c._set_interrupts(1 << 4)

    def _write(self, value: int) -> None:
        self._message.append(value)
        self._then(9, lambda: self._i2c.complete_write(True))

    def _end(self) -> None:
        if self._message:
            self.model.write(bytes(self._message))
            whole = self._message[0] == 0x40
            self._message.clear()
            if whole:
                self.on_frame()
        self._then(1, self._i2c.complete_stop)
