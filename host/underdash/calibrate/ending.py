"""How a session is ended from outside: SIGTERM, or SIGHUP of a closed window, as Ctrl-C; not while values go back."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

# Windows has no SIGHUP.
_FROM_OUTSIDE = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))


@contextmanager
def ended_as_by_ctrl_c() -> Iterator[None]:
    """Within, SIGTERM and SIGHUP raise KeyboardInterrupt, once; further ones are passed over, for then the old
    values are on their way back. What is ignored (nohup) stays so."""

    def end(number: int, frame: FrameType | None) -> None:
        for one in _FROM_OUTSIDE:
            signal.signal(one, signal.SIG_IGN)
        raise KeyboardInterrupt

    with _handled(end, _FROM_OUTSIDE):
        yield


@contextmanager
def undisturbed() -> Iterator[None]:
    """Within, neither these signals nor Ctrl-C interrupt: what is begun here is finished."""
    with _handled(signal.SIG_IGN, (signal.SIGINT, *_FROM_OUTSIDE)):
        yield


@contextmanager
def _handled(handler: Any, numbers: tuple[signal.Signals, ...]) -> Iterator[None]:
    if threading.current_thread() is not threading.main_thread():  # only that one may set handlers
        yield
        return
    before = {number: signal.getsignal(number) for number in numbers}
    before = {number: kept for number, kept in before.items() if kept not in (None, signal.SIG_IGN)}
    try:
        for number in before:
            signal.signal(number, handler)
        yield
    finally:
        for number, kept in before.items():
            signal.signal(number, kept)
