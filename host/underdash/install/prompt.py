"""A board at MicroPython's raw prompt, reached from whatever it was doing, through mpremote."""

import contextlib
import io
import time
from collections.abc import Callable, Iterator
from typing import Any

import serial
from mpremote.transport import TransportError, TransportExecError  # type: ignore[import-untyped]
from mpremote.transport_serial import SerialTransport  # type: ignore[import-untyped]

from underdash.link.client import Board, why
from underdash.problems import LinkError

_QUIET_S = 6.0  # a monitor that was told to stop commits its journal first
_CHUNK_BYTES = 512


class Prompt:
    """An open link to a board at its raw prompt. Use as a context manager.

    hello: what the monitor there said of itself before it was stopped; {} if there was none.
    No soft reset is asked for: it would end the timer that feeds an armed watchdog.
    """

    def __init__(self, port: str) -> None:
        self.port = port
        self.hello: dict[str, Any] = _stop_monitor(port)
        with self._told():
            self._transport = SerialTransport(port)
            self._transport.serial.timeout = 1.0  # it would wait for ever on a pseudo-terminal
        try:
            self._interrupt()
            with self._told():
                self._transport.enter_raw_repl(soft_reset=False)
        except BaseException:
            self._transport.close()
            raise

    def __enter__(self) -> "Prompt":
        return self

    def __exit__(self, *exception: object) -> None:
        with contextlib.suppress(Exception):
            if self._transport.in_raw_repl:
                self._transport.exit_raw_repl()
        with contextlib.suppress(Exception):
            self._transport.close()

    def run(self, program: str) -> str:
        """Run a program on the board; return what it printed. LinkError with its last words if it fails."""
        with self._told():
            return bytes(self._transport.exec(program)).decode()

    def write(self, path: str, data: bytes, progress: Callable[[int], None]) -> None:
        """Write a file whole; `progress` is given the bytes written so far."""
        with self._told():
            self._transport.fs_writefile(path, data, _CHUNK_BYTES, lambda written, _: progress(written))

    def restart(self) -> None:
        """Reset the board, as its button or the power would."""
        with self._told():
            self._transport.exec_raw_no_follow("import machine\nmachine.reset()")
            self._transport.in_raw_repl = False
            time.sleep(0.2)  # closing the port at once would take the last bytes with it

    # -- inside -------------------------------------------------------------------------------

    def _interrupt(self) -> None:
        """Ctrl-C until the prompt shows; Ctrl-B leaves a raw prompt that somebody else left behind."""
        port = self._transport.serial
        deadline = time.monotonic() + _QUIET_S
        with self._told():
            while time.monotonic() < deadline:
                port.write(b"\r\x03\x03\x02")
                seen = b""
                until = time.monotonic() + 0.5
                while time.monotonic() < until:
                    seen += port.read(max(1, port.in_waiting)) if port.in_waiting else b""
                    if seen.rstrip(b" ").endswith(b">>>"):
                        return
                    time.sleep(0.02)
        raise LinkError(
            f"{self.port}: no MicroPython prompt after Ctrl-C; unplug the board, plug it in again and retry; "
            "if that does not help, put MicroPython on it anew (docs/install.md)"
        )

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        """Turn what mpremote and the port have to say into one line."""
        try:
            with contextlib.redirect_stdout(io.StringIO()):  # mpremote prints what it did not expect
                yield
        except TransportExecError as problem:
            last = str(problem.error_output).strip().splitlines()[-1:] or ["an error without words"]
            raise LinkError(f"{self.port}: the board says {last[0]}") from None
        except TransportError as problem:
            raise LinkError(f"{self.port}: {why(problem)}") from None
        except (serial.SerialException, OSError, ValueError) as problem:
            raise LinkError(f"{self.port}: {why(problem)}") from None


def _stop_monitor(port: str) -> dict[str, Any]:
    """Ask a monitor for the prompt; {} where none answers."""
    try:
        with Board(port, patience_s=0.7) as board:
            board.ask("stop", "stopping")
            return board.hello
    except LinkError as problem:
        if "no Underdash board answers" in str(problem):
            return {}
        raise
