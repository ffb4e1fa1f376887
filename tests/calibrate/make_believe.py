"""A board in no time at all: the converter's model behind a supply that a test turns, and who sits before it."""

from collections.abc import Callable
from typing import Any

import numpy as np

from chargecore import calibration
from underdash.calibrate.desk import Left
from underdash.calibrate.points import Point, unfolded
from underdash.virtual.signal_file import AS_BUILT, Converter, FrontEnd

METER = "0.1% + 2 digits at 0.001"
REAL = Converter()


class FakeBoard:
    """What calibration sees of a board. volts [V] and amps [A] can be set; so can what goes wrong."""

    def __init__(self, front_end: FrontEnd = AS_BUILT, seed: int = 1) -> None:
        self.port = "/dev/fake"
        self.hello: dict[str, Any] = {"board": "00000000000ca1b0", "firmware": "0.1.0"}
        self.volts, self.amps = 12.0, 0.0
        self.front_end = front_end
        self.noise = 2.0
        self.stores: list[dict[str, dict[str, int]]] = []
        self.on_store: Callable[[dict[str, dict[str, int]]], None] = lambda values: None
        self.table = np.frombuffer(REAL.table(), "<u2", 4097).astype(float)
        self.random = np.random.default_rng(seed)
        self.values = dict(vars(calibration.Calibration()))
        self.lies_mv = 0
        self.options = {"clamp_supply": 0}
        self.supply = 31111 / 65535  # fraction of the converter's range: 4.7 V / 3

    @property
    def board_id(self) -> str:
        return str(self.hello["board"])

    def code(self, fraction: float) -> int:
        mean = float(np.interp(fraction * 4096, np.arange(4097), self.table))
        return int(np.clip(round(mean + self.random.normal(0, self.noise)), 0, 65520))

    def status(self) -> dict[str, Any]:
        bus, clamp = self.front_end.fractions(np.array([self.volts]), np.array([self.amps]))[0]
        clamp *= self.supply / (31111 / 65535)
        kept = calibration.Calibration()
        vars(kept).update(self.values)
        bus_code = self.code(bus)
        clamp_code = self.code(clamp) if kept.clamp_fitted else 0
        supply_code = self.code(self.supply) if kept.clamp_fitted else 0
        bus_mv = kept.bus_mv(bus_code)
        clamp_ma = kept.clamp_ma(clamp_code, supply_code, self.options["clamp_supply"])
        return {
            "bus_code": bus_code,
            "clamp_code": clamp_code,
            "supply_code": supply_code,
            "bus_mv": None if bus_mv < 0 else bus_mv + self.lies_mv,
            "clamp_ma": None if clamp_ma < -(10**8) else clamp_ma,
        }

    def settings(self) -> dict[str, dict[str, int]]:
        return {"calibration": dict(self.values), "options": {"show_s": 30, **self.options}}

    def store(self, settings: dict[str, dict[str, int]]) -> None:
        self.on_store(settings)
        self.stores.append(settings)
        self.values.update(settings.get("calibration", {}))
        self.options.update(settings.get("options", {}))

    def ready(self) -> None:
        pass


class Player:
    """Turns the supply as it is told, and types what `replies` says for a question, or what the meter shows.

    replies: (part of the question, what to type), used up in order when the question comes.
    """

    def __init__(self, board: FakeBoard, replies: list[tuple[str, str]] | None = None) -> None:
        self.board = board
        self.replies = replies or []
        self.heard: list[str] = []
        self.asked: list[str] = []
        self.off = 0.0  # what the meter is wrong by [V]

    @property
    def dialogue(self) -> str:
        return "\n".join(self.heard)

    def say(self, text: str) -> None:
        self.heard.append(text)
        if "set the supply to about " in text:
            self.board.volts = float(text.split("set the supply to about ")[1].split(" V")[0])
        for words, amps in (
            ("IN at the face", 6.0),
            ("OUT at the face", -6.0),
            ("pass a current either way", 5.0),
            ("every wire out", 0.0),
            ("current off", 0.0),
        ):
            if words in text:
                self.board.amps = amps * getattr(self, "turns", 1)

    def live(self, text: str) -> None:
        pass

    def ask(self, question: str) -> str:
        self.asked.append(question)
        if len(self.asked) > 200:
            raise AssertionError("asked without end:\n" + "\n".join(self.heard[-10:]))
        if self.replies and self.replies[0][0] in question:
            typed = self.replies.pop(0)[1]
            self.heard.append(question + typed)
            if typed == "<eof>":
                raise Left
            if typed == "<ctrl-c>":
                raise KeyboardInterrupt
            return typed
        if "meter class" in question:
            return METER
        if "meter reads [V]" in question:
            return f"{self.board.volts + self.off:.3f}"
        if "meter reads [A], once" in question:
            return f"{abs(self.board.amps) / getattr(self, 'turns', 1):.3f}"
        if "meter reads [A], minus" in question:
            return f"{self.board.amps / getattr(self, 'turns', 1):.3f}"
        if "[y/n]" in question:
            return "y"
        return ""


def volts_point(volts: float, text: str | None = None, front_end: FrontEnd = AS_BUILT, **changes: Any) -> Point:
    """A point that a perfect meter and a board without noise would give."""
    board = FakeBoard(front_end)
    fraction = volts / front_end.bus_full_scale
    code = float(np.interp(fraction * 4096, np.arange(4097), board.table))
    typed = text if text is not None else f"{volts:.3f}"
    fields: dict[str, Any] = {
        "meter": float(typed),
        "text": typed,
        "code": code,
        "reading": unfolded(code),
        "spread": 2.0,
        "count": 16,
        "how": "test",
    } | changes
    return Point(**fields)


def amps_point(
    amps: float, text: str | None = None, turns: int = 1, front_end: FrontEnd = AS_BUILT, **changes: Any
) -> Point:
    """The same for the clamp; amps: through the hole, in all."""
    board = FakeBoard(front_end)
    fraction = front_end.clamp_zero + amps / front_end.clamp_span
    code = float(np.interp(fraction * 4096, np.arange(4097), board.table))
    typed = text if text is not None else f"{amps / turns:.3f}"
    fields: dict[str, Any] = {
        "meter": float(typed) * turns,
        "text": typed,
        "code": code,
        "reading": unfolded(code),
        "spread": 2.0,
        "count": 16,
        "how": "test",
        "turns": turns,
    } | changes
    return Point(**fields)
