"""Make-believe journals: written with chargecore's own frames and engine, as a board does, without a board."""

from dataclasses import dataclass, field
from pathlib import Path

from chargecore import calibration, engine, frames
from chargecore.units import ABSENT, TICKS_MASK
from underdash import archive
from underdash.archive import checksums

BOARD = "7d5e0000c0ffee01"


def evening(t_s: int) -> tuple[int, int]:
    """(volts [mV], current [mA]) at a second of a short drive: rest, crank, charging, a deficit, charging, rest."""
    wobble = (t_s * 7919) % 23
    for until, bus_mv, clamp_ma in ((100, 12600, 0), (103, 10300, -120000), (180, 14050, 4000),
                                    (260, 12380, -15000), (330, 14020, 6000)):  # fmt: skip
        if t_s < until:
            return bus_mv + wobble * (t_s > 100), clamp_ma
    return 12850 - (t_s - 330) // 20, 0


@dataclass
class Life:
    """A board's journal from its first start on: `segments` by number, each a growing run of frames."""

    board: str = BOARD
    clamp: int = 1
    offset_mv: int = 0  # of all volts: what makes another life's rows differ
    blind: bool = False  # now and then nothing is measured
    segments: dict[int, bytearray] = field(default_factory=dict)
    boot: int = 0
    row: int = 0
    t_s: int = 0
    ends: dict[int, list[int]] = field(default_factory=dict)  # where each segment's frames end

    def start(self, unix_s: int = 0, t_s: int = 2) -> None:
        """Power on (`t_s`: the monitor's start [s since power-up])."""
        self.boot += 1
        self.t_s = t_s
        self.judge = engine.Engine(frames.Header().thresholds)
        self.open(unix_s)

    def open(self, unix_s: int = 0) -> None:
        """Begin a segment."""
        header = frames.Header()
        header.segment = max(self.segments, default=0) + 1
        header.boot, header.unix_s, header.first_row = self.boot, unix_s, self.row
        header.board_id = bytes.fromhex(self.board)
        header.firmware = (0, 1, 0)
        header.calibration = calibration.Calibration()
        header.calibration.clamp_fitted = self.clamp
        header.snapshot = self.judge.snapshot()
        buffer = bytearray(frames.PAYLOAD_MAX + frames.OVERHEAD)
        length = header.pack(buffer)
        self.segments[header.segment] = bytearray(buffer[:length])
        self.ends[header.segment] = [length]

    def run(self, seconds: int, frame_rows: int = 30, key: int = ABSENT) -> None:
        """Let this much time pass: a row each second, `frame_rows` to a frame."""
        done = 0
        newest = max(self.segments)
        while done < seconds:
            frame = frames.RowsFrame(self.clamp)
            frame.start(self.row, self.t_s + 1, 0, key)
            for _ in range(min(frame_rows, seconds - done)):
                self.t_s += 1
                bus_mv, clamp_ma = evening(self.t_s)
                bus_mv += self.offset_mv
                ripple_mv = 9 if 100 <= self.t_s < 330 else 1
                low, high = bus_mv - ripple_mv - 3, bus_mv + ripple_mv
                clamp_ma = frames.round_clamp(clamp_ma) if self.clamp else ABSENT
                if self.blind and self.t_s % 5 == 0:
                    low = bus_mv = high = ABSENT
                if self.blind and self.t_s % 7 == 0:
                    clamp_ma = ABSENT
                self.judge.key = key
                self.judge.step(self.t_s * 1000 & TICKS_MASK, low, bus_mv, high, clamp_ma)
                frame.add(1000, low, bus_mv, high, clamp_ma, self.judge.state, self.judge.warnings)
                self.row += 1
                done += 1
            self.segments[newest] += frame.buffer[: frame.close()]
            self.ends[newest].append(len(self.segments[newest]))

    def pull(self, place: Path, keep: bool = True) -> Path:
        """What a pull leaves in a board's folder: the segments, and their checksums."""
        place.mkdir(parents=True, exist_ok=True)
        for number, content in self.segments.items():
            archive.segment_path(place, number).write_bytes(content)
        if keep:
            checksums.write(place, [checksums.of(number, bytes(one)) for number, one in self.segments.items()])
        return place


def season(boots: int = 3, seconds: int = 420, **settings: object) -> Life:
    """Several starts, each with its evening, in two segments each."""
    life = Life(**settings)  # type: ignore[arg-type]
    for _ in range(boots):
        life.start()
        life.run(seconds // 2)
        life.open()
        life.run(seconds - seconds // 2)
    return life


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
