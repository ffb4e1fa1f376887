"""Talking to a board over its serial port: the host's side of docs/console.md."""

import base64
import binascii
import json
import os
import time
from collections.abc import Iterator
from typing import Any

import serial
from serial.tools import list_ports

from underdash.problems import LinkError, UsageError

USB_VENDOR = 0x2E8A  # of RP2040 boards running MicroPython
ENVIRONMENT = "UNDERDASH_PORT"
_ANSWER_S = 5.0
_LIVE_ASK_S = 30.0  # the board tells live rows for a minute after each asking
_ROW_S = 1.2


class Board:
    """An open link to one board that has answered hello. Use as a context manager.

    port: a serial port's name. LinkError if it cannot be opened, or if no board answers there to
    any of three calls within `patience_s` [s] each.
    """

    def __init__(self, port: str, patience_s: float = 2.0) -> None:
        self.port = port
        if not os.path.exists(port) and not port.upper().startswith("COM"):
            raise UsageError(f"{port}: no such port; plug the board in, or choose another with --port")
        try:
            # Opening must not reset the board, and two programs must not share its answers.
            self._serial = serial.Serial(port, 115200, timeout=0.1, write_timeout=_ANSWER_S, exclusive=True)
        except (serial.SerialException, OSError, ValueError) as problem:
            raise LinkError(f"{port}: {why(problem)}") from None
        self._pending = b""
        try:
            self.hello: dict[str, Any] = self._shake_hands(patience_s)
        except BaseException:
            self._serial.close()
            raise

    def __enter__(self) -> "Board":
        return self

    def __exit__(self, *exception: object) -> None:
        self._serial.close()

    @property
    def board_id(self) -> str:
        return str(self.hello["board"])

    @property
    def mode(self) -> str:
        """What the board was doing when last asked: "monitor", "voltmeter" (the monitor failed) or "starting"."""
        return str(self.hello.get("mode") or ("monitor" if self.hello["monitoring"] else "starting"))

    def ready(self, patience_s: float = 15.0, journal_only: bool = False) -> None:
        """Wait until the monitor runs: a board that has just started listens first.

        journal_only: a board that can no more than read its journal will do. LinkError if it is
        not ready within `patience_s` [s].
        """
        deadline = time.monotonic() + patience_s
        while self.mode == "starting":
            if time.monotonic() > deadline:
                raise LinkError(f"{self.port}: the monitor did not start within {patience_s:g} s; restart the board")
            time.sleep(0.2)
            self.hello = json.loads(self.ask("hello", "hello"))
        if self.mode != "monitor" and not journal_only:
            raise LinkError(f"{self.port}: the monitor failed and the board only shows volts; see `underdash board`")

    def status(self) -> dict[str, Any]:
        """The present moment, in the console's own integers."""
        answer: dict[str, Any] = json.loads(self.ask("status", "status"))
        return answer

    def health(self) -> dict[str, Any]:
        """What the board knows of itself; {} from firmware that cannot say."""
        try:
            answer: dict[str, Any] = json.loads(self.ask("health", "health"))
        except LinkError as problem:
            if "unknown request" in str(problem):
                return {}
            raise
        return answer

    def errors(self) -> list[str]:
        """The lines of the last recorded errors, oldest first."""
        found = []
        for body in self._converse("errors"):
            word, _, rest = body.partition(" ")
            if word == "noted":
                found.append(rest)
            elif body == "end errors":
                return found
        raise LinkError(f"{self.port}: the list of errors broke off; try again")

    def settings(self) -> dict[str, dict[str, int]]:
        """What is in force: part to name to value."""
        answer: dict[str, dict[str, int]] = json.loads(self.ask("settings", "settings"))
        return answer

    def store(self, settings: dict[str, dict[str, int]]) -> None:
        """Have the board keep these values; what is not given stays. The monitor begins anew."""
        self.ask("store " + json.dumps(settings, separators=(",", ":")), "stored")
        self.hello = {**self.hello, "monitoring": False, "mode": "starting"}  # until it says otherwise

    def rows(self) -> Iterator[dict[str, Any]]:
        """Yield the present moment with each new row, at least once a second, for ever."""
        asked = -_LIVE_ASK_S
        while True:
            if time.monotonic() - asked >= _LIVE_ASK_S:
                self.ask("live on", "live-on")
                asked = time.monotonic()
            for body in self._bodies(_ROW_S):
                if body.startswith("live "):
                    yield json.loads(body[5:])
                if time.monotonic() - asked >= _LIVE_ASK_S:
                    break
            else:  # a board at rest makes rows seldom, but still measures
                yield self.status()

    def segments(self) -> list[tuple[int, int]]:
        """[(number, bytes)] of the journal's segments, everything so far committed first."""
        found = []
        for body in self._converse("list"):
            word, *rest = body.split()
            if word == "segment":
                found.append((int(rest[0]), int(rest[1])))
            elif body.startswith("end list"):
                if int(rest[1]) != len(found):
                    raise LinkError(f"{self.port}: {rest[1]} segments announced, {len(found)} arrived; try again")
                return found
        raise LinkError(f"{self.port}: the list of segments broke off; try again")

    def read(self, segment: int, offset: int, length: int) -> Iterator[bytes]:
        """Yield a segment's bytes from `offset` on, checked block by block, `length` in all."""
        block = int(self.hello["block"])
        end = offset + length
        fruitless = 0
        while offset < end:
            began = offset
            wanted = min(-(-(end - offset) // block), 64)
            for body in self._converse(f"get {segment} {offset} {wanted}"):
                word, *rest = body.split()
                if word == "block" and int(rest[1]) == offset:
                    data = base64.b64decode(rest[2])[: end - offset]
                    offset += len(data)
                    yield data
                elif body.startswith("end get"):
                    break
            # What was lost on the wire is asked for again, from the first byte that is missing.
            fruitless = fruitless + 1 if offset == began else 0
            if fruitless == 3:
                raise LinkError(f"{self.port}: segment {segment} broke off at byte {offset}; pull again to go on")

    def ask(self, request: str, verb: str) -> str:
        """Send a request and return what follows `verb` in the answer."""
        for body in self._converse(request):
            word, _, rest = body.partition(" ")
            if word == verb:
                return rest
        raise LinkError(f"{self.port}: no answer to '{request.split()[0]}' within {_ANSWER_S:g} s")

    # -- inside -------------------------------------------------------------------------------

    def _shake_hands(self, patience_s: float) -> dict[str, Any]:
        for _ in range(3):
            self._send("hello")  # the first may only end a half line left by whoever was here before
            for body in self._bodies(patience_s):
                word, _, rest = body.partition(" ")
                if word == "hello":
                    answer: dict[str, Any] = json.loads(rest)
                    return answer
        raise LinkError(
            f"{self.port}: no Underdash board answers; "
            "plug it in anew (at its prompt it does not answer), or run underdash install"
        )

    def _send(self, line: str) -> None:
        try:
            self._serial.write(b"\n" + line.encode() + b"\n")
        except (serial.SerialException, OSError) as problem:
            raise LinkError(f"{self.port}: {why(problem)}") from None

    def _converse(self, request: str) -> Iterator[str]:
        self._send(request)
        for body in self._bodies(_ANSWER_S):
            if body.startswith("error "):
                raise LinkError(f"{self.port}: the board refuses: {body[6:]}")
            if not body.startswith("live "):
                yield body

    def _bodies(self, patience_s: float) -> Iterator[str]:
        """Whole, checked reply lines, until none has come for `patience_s`."""
        deadline = time.monotonic() + patience_s
        while time.monotonic() < deadline:
            line, found, rest = self._pending.partition(b"\n")
            if not found:
                try:
                    self._pending += self._serial.read(max(1, self._serial.in_waiting))
                except (serial.SerialException, OSError) as problem:
                    raise LinkError(f"{self.port}: {why(problem)}") from None
                continue
            self._pending = rest
            body, mark, checksum = line.rstrip(b"\r").rpartition(b" ~")
            if mark and checksum == b"%08x" % binascii.crc32(body):
                deadline = time.monotonic() + patience_s
                yield body.decode("ascii", "replace")


def why(problem: Exception) -> str:
    """What the operating system had to say about a port, with the remedy."""
    text = str(problem)
    if "lock" in text or "busy" in text.lower() or "Resource temporarily unavailable" in text:
        return "the port is in use by another program; close that program and try again"
    if "ermission" in text:
        return "permission denied; your user may need the group that owns serial ports"
    if "returned no data" in text or "Errno 5" in text:
        return "the board went away; check the cable, plug it in again"
    if "Inappropriate ioctl" in text or "not configure" in text:
        return "is not a serial port; name the board's with --port"
    return f"the link failed ({text}); check the cable and try again"


def usb_ports() -> list[str]:
    """Serial ports whose USB vendor is that of RP2040 boards."""
    return sorted(info.device for info in list_ports.comports() if info.vid == USB_VENDOR)


def find(port: str | None = None) -> Board:
    """The board at `port`, at the port named by UNDERDASH_PORT, or the only one that is plugged in.

    UsageError with the list of candidates if there is none or more than one.
    """
    port = port or os.environ.get(ENVIRONMENT)
    if port:
        return Board(port)
    boards: list[Board] = []
    silent: list[str] = []
    for name in usb_ports():
        try:
            boards.append(Board(name))
        except LinkError as problem:
            silent.append(str(problem))
    if len(boards) == 1:
        return boards[0]
    for board in boards:
        board.__exit__()
    if boards:
        several = ", ".join(f"{board.port} (board {board.board_id})" for board in boards)
        raise UsageError(f"{len(boards)} boards answer: {several}; choose one with --port")
    if silent:
        raise LinkError("; ".join(silent))
    raise UsageError(f"no board found on USB; plug it in, or name its port with --port or {ENVIRONMENT}")


def choose_port(port: str | None = None) -> str:
    """The port at which a board, with or without firmware, is plugged in, found as `find` does.

    UsageError with the list of candidates, and what answers there, if there is none or more than one.
    """
    port = port or os.environ.get(ENVIRONMENT)
    if port:
        return port
    ports = usb_ports()
    if len(ports) == 1:
        return ports[0]
    if not ports:
        raise UsageError(f"no board found on USB; plug it in, or name its port with --port or {ENVIRONMENT}")
    several = []
    for name in ports:
        try:
            with Board(name, patience_s=0.7) as board:
                several.append(f"{name} (board {board.board_id}, firmware {board.hello['firmware']})")
        except LinkError as problem:
            silent = "no Underdash board answers" in str(problem)
            several.append(f"{name} ({'no Underdash on it' if silent else str(problem).partition(': ')[2]})")
    raise UsageError(f"{len(ports)} boards are plugged in: {', '.join(several)}; choose one with --port")
