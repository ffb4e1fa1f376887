"""The USB cable between the chip and the host's programs: a serial port that they open as any other."""

import contextlib
import os
import selectors
import threading
import time
import tty

from emulate.chip import Chip

_STEP_S = 0.005
_BACKLOG = 4096  # so much unread by the host, and the chip must wait


class Cable:
    """While in use as a context manager, the chip lives in the cable's thread, no faster than the
    wall's clock, and `port` is its serial port. `failure` is what ended that life early, if anything."""

    def __init__(self, chip: Chip) -> None:
        self._chip = chip
        self._unplugged = threading.Event()
        self.failure: BaseException | None = None

    def __enter__(self) -> "Cable":
        self._end, self._side = os.openpty()
        tty.setraw(self._side)
        os.set_blocking(self._end, False)
        self.port = os.ttyname(self._side)
        self._thread = threading.Thread(target=self._carry, name="usb cable", daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *exception: object) -> None:
        self._unplugged.set()
        self._thread.join()
        os.close(self._end)
        os.close(self._side)
        if self.failure and exception[0] is None:
            raise self.failure

    def _carry(self) -> None:
        try:
            self._live()
        except BaseException as failure:
            self.failure = failure

    def _live(self) -> None:
        chip, received = self._chip, self._chip.host.received
        ahead_s = chip.now_s - time.monotonic()
        with selectors.DefaultSelector() as watch:
            watch.register(self._end, selectors.EVENT_READ)
            while not self._unplugged.is_set():
                early_s = chip.now_s - time.monotonic() - ahead_s
                if watch.select(timeout=max(0.0, min(early_s, 0.05))):
                    chip.host.send(os.read(self._end, 4096))
                if early_s < 0.0 and len(received) < _BACKLOG:
                    chip.run(_STEP_S)
                if received:
                    with contextlib.suppress(BlockingIOError):  # the host reads later
                        del received[: os.write(self._end, received)]
