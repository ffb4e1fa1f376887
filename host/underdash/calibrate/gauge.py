"""Reading a board at the bench: single samples, and the mean of many once they stand still."""

import statistics
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Protocol

from chargecore.calibration import unfold
from underdash.problems import LinkError, UnderdashError

SAMPLES = 16  # of a steady reading
# A sample every 0.1 s, 0.2 s at rest, 1 s when the board saves: asked for no faster, so none is counted twice.
_PACE_S, _SAVING_PACE_S = 0.22, 1.05
PATIENCE_S = 90.0


class BoardLike(Protocol):
    """What calibration needs of a board (underdash.link.client.Board)."""

    port: str
    hello: dict[str, Any]

    @property
    def board_id(self) -> str: ...
    def status(self) -> dict[str, Any]: ...
    def settings(self) -> dict[str, dict[str, int]]: ...
    def store(self, settings: dict[str, dict[str, int]]) -> None: ...
    def ready(self) -> None: ...


@dataclass(frozen=True)
class Steady:
    """Samples that stood still: mean code and mean reading [1/16 step], their standard deviation [units],
    count; supply: mean code of the clamp sensor's supply, 0 where it is not told."""

    code: float
    reading: float
    spread: float
    count: int
    supply: float = 0.0


class Gauge:
    """One channel of a board. sleep and clock [s] can be replaced, for a board that lives in other time."""

    def __init__(
        self,
        board: BoardLike,
        channel: str,
        sleep: Callable[[float], None] = time.sleep,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.board = board
        self._field = f"{channel}_code"
        self._sleep = sleep
        self._clock = clock
        self._codes: deque[int] = deque(maxlen=SAMPLES)
        self._supplies: deque[int] = deque(maxlen=SAMPLES)

    def sample(self) -> int:
        """The newest code [1/16 step], after the time that it takes to be a new one."""
        status = self.board.status()
        self._sleep(_SAVING_PACE_S if status.get("saving") else _PACE_S)
        code = status.get(self._field)
        if not isinstance(code, int):
            raise LinkError(
                f"{self.board.port}: the board tells no {self._field}; install the firmware that belongs to "
                "this program"
            )
        if self._field == "clamp_code" and status.get("supply_code"):
            self._supplies.append(int(status["supply_code"]))
        return code

    def take(self, count: int) -> Steady:
        """The next samples, steady or not."""
        return self._with_supply(summary([self.sample() for _ in range(count)]))

    def shown(self, field: str, count: int) -> float:
        """Mean of what the board itself shows in `field` of its status (bus_mv, clamp_ma), in that unit."""
        found = []
        for _ in range(count):
            self.sample()
            value = self.board.status().get(field)
            if not isinstance(value, int):
                raise LinkError(
                    f"{self.board.port}: the board shows no {field}; is the supply on, the sensor plugged in?"
                )
            found.append(value)
        return statistics.fmean(found)

    def steady(
        self,
        limit: float,
        show: Callable[[Steady, bool], None],
        wanted: Callable[[Steady], bool] = lambda found: True,
        elsewhere_s: float = 12.0,
    ) -> Steady:
        """Wait until samples stand still, and return them.

        limit [units]: of their standard deviation, and of the change from their first half to their second.
        show is told each time. wanted: are these the ones waited for? Others are returned only after
        they have stood for elsewhere_s [s]. UnderdashError if nothing stands still within PATIENCE_S.
        """
        self._codes.clear()
        self._supplies.clear()
        began = self._clock()
        elsewhere: float | None = None
        while True:
            self._codes.append(self.sample())
            found = self._with_supply(summary(self._codes))
            whole = len(self._codes) == SAMPLES
            still = whole and found.spread <= limit and _drift(self._codes) <= limit
            show(found, still)
            now = self._clock()
            if still and wanted(found):
                return found
            elsewhere = (elsewhere if elsewhere is not None else now) if still else None
            if elsewhere is not None and now - elsewhere > elsewhere_s:
                return found
            if now - began > PATIENCE_S:
                raise UnderdashError(
                    f"the reading does not settle within {PATIENCE_S:.0f} s (scatter {found.spread:.0f} units, limit "
                    f"{limit:.0f}); fasten the leads, use a quieter supply, then start again"
                )

    def _with_supply(self, found: Steady) -> Steady:
        return replace(found, supply=statistics.fmean(self._supplies)) if self._supplies else found


def summary(codes: "deque[int] | list[int]") -> Steady:
    """Mean and scatter of codes; each is unfolded before the mean is taken."""
    readings = [unfold(code) for code in codes]
    spread = statistics.stdev(readings) if len(readings) > 1 else 0.0
    return Steady(statistics.fmean(codes), statistics.fmean(readings), spread, len(readings))


def _drift(codes: "deque[int]") -> float:
    readings = [unfold(code) for code in codes]
    half = len(readings) // 2
    return abs(statistics.fmean(readings[half:]) - statistics.fmean(readings[:half]))
