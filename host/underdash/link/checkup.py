"""What a board says of itself, and how long its journal has room at the present rate."""

from typing import Any

from chargecore import frames
from underdash.link.client import Board

_ENOUGH_S = 600.0  # so many seconds of rows make a rate


def checkup(board: Board) -> dict[str, Any]:
    """hello, health, recorded errors and the journal's state, in the console's own names.

    Added: port; segments and journal_bytes; rate_bytes_s [byte/s], None until ten minutes of rows are there;
    hours_left [h] until the oldest rows make room, None if it cannot be told.
    """
    board.ready(journal_only=True)
    segments = board.segments() if board.mode != "starting" else []
    health = board.health()
    rate = _rate(board, segments)
    room = health.get("room_bytes")
    return {
        **board.hello,
        **health,
        "port": board.port,
        "errors": board.errors(),
        "segments": len(segments),
        "journal_bytes": sum(size for _, size in segments),
        "rate_bytes_s": rate,
        "hours_left": room / rate / 3600.0 if rate and room is not None else None,
    }


def _rate(board: Board, segments: list[tuple[int, int]]) -> float | None:
    """Bytes written for each second, in the newest segments that hold enough rows to tell."""
    written, span_s = 0, 0.0
    for number, size in reversed(segments):
        content = b"".join(board.read(number, 0, size))
        times = [
            row[0] / 1000.0
            for kind, payload, _ in frames.scan(content)
            if kind == frames.ROWS
            for row in frames.decode_rows(payload)[1]
        ]
        if len(times) > 1:
            written += size
            span_s += times[-1] - times[0]
        if span_s >= _ENOUGH_S:
            break
    return written / span_s if span_s >= _ENOUGH_S else None


def lines(told: dict[str, Any]) -> list[str]:
    """A checkup in words, one fact a line."""

    def kib(name: str) -> str:
        return f"{told[name] / 1024:,.0f} KiB"

    found = [f"board {told['board']} at {told['port']}"]

    def say(what: str, text: str) -> None:
        found.append(f"  {what:12} {text}")

    say("firmware", f"{told['firmware']}, console protocol {told['protocol']}, journal format {told['format']}")
    say("mode", _MODES.get(told.get("mode", ""), "monitor running" if told["monitoring"] else "no monitor"))
    if "micropython" in told:
        say("MicroPython", f"{told['micropython']} on {told['machine']}")
        start = f", start {told['boot']}" if "boot" in told else ""
        say("up", f"{_duration(told['uptime_s'])}{start}; last reset: {told['reset'] or 'cause not known'}")
        if "skipped" in told:
            say("samples", f"{told['skipped']} skipped, latest by {told['late_ms']} ms")
        if "notice" in told:
            say("settings", _NOTICES.get(told["notice"], told["notice"]))
        say("memory", f"{kib('heap_free')} free")
        say("flash", f"{kib('free_bytes')} of {kib('flash_bytes')} free")
    dropped = f", {told['rows_dropped']:,} rows given up so far" if "rows_dropped" in told else ""
    say("journal", f"{told['segments']} segment{'s' * (told['segments'] != 1)}, {kib('journal_bytes')}{dropped}")
    if told["hours_left"] is not None:
        rate = f"at the present {told['rate_bytes_s']:.1f} bytes a second"
        if told["room_bytes"]:
            say("room", f"about {_hours(told['hours_left'])} {rate} before the oldest rows are given up")
        else:
            say("room", f"none: each new segment takes the place of the oldest, {rate}")
    if not told["errors"]:
        say("errors", "none recorded")
    else:
        say("errors", "the last ones recorded, newest at the end")
        found.extend(f"    {line}" for line in told["errors"])
    return found


_NOTICES = {"": "as stored", "no settings": "none stored: the defaults are in force"}
_MODES = {"monitor": "monitor running", "voltmeter": "VOLTMETER ONLY: the monitor failed, see the errors below"}


def _duration(seconds: int) -> str:
    minutes = seconds // 60
    if minutes < 60:
        return f"{minutes} min {seconds % 60} s"
    return f"{minutes // 60:,} h {minutes % 60} min"


def _hours(hours: float) -> str:
    return f"{hours:.1f} h" if hours < 48 else f"{hours / 24:,.0f} days ({hours:,.0f} h)"
