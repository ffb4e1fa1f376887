"""The line protocol on the USB serial port (docs/console.md).

A request is a line of words. A reply is one or more lines, each ending in " ~" and the CRC-32
of what stands before it, eight hexadecimal digits; so the reader can tell it from anything else
that comes down the wire. A transfer sends one block each time the monitor has nothing to do.
"""

import binascii
import gc
import json
import os
import select
import sys
import time

from chargecore import VERSION
from chargecore.frames import FORMAT
from chargecore.shim import const
from monitor import errors, settings

MYPY = False
if MYPY:  # for the type checker alone: a monitor whose files are damaged must not silence the console
    from monitor.journal import Journal
    from monitor.monitor import Monitor

PROTOCOL = const(1)
BLOCK_BYTES = const(768)
_LINE_MAX = const(1200)
_ALWAYS = ("hello", "health", "errors", "stop")
_OF_JOURNAL = ("list", "get")
_LIVE_MS = const(60000)  # a listener that has gone away is not talked to for longer than this


class Console:
    """Serves one monitor over the two ends of the port, or, while there is none, what can be
    served without: who this is, recorded errors, health, and `journal`, if one can be read.

    `mode` says why there is none. `reset_cause`: in words, "" if it is not known."""

    def __init__(self, board_id: bytes, reset_cause: str = ""):
        self._board_id = board_id
        self._reset_cause = reset_cause
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._can_read = select.poll()
        self._can_read.register(sys.stdin, select.POLLIN)
        self._can_write = select.poll()
        self._can_write.register(sys.stdout, select.POLLOUT)
        self._line = bytearray()
        self._too_long = False
        self._block = bytearray(BLOCK_BYTES)
        self._transfer: "tuple[int, int, int]" = None  # segment, offset, blocks
        self._live_ms = 0
        self._live_rows = 0
        self.monitor: "Monitor" = None
        self.journal: "Journal" = None  # what list and get read while there is no monitor
        self.mode = "starting"
        self.heard = False  # a host has spoken
        self.stop = False  # a host asked for the prompt
        self.reload = False  # settings changed: the monitor must be made anew

    def poll(self) -> bool:
        """Read what has come, send what is due; True if there is more to do right now."""
        # After a change of settings the next request is the new monitor's to answer.
        while not self.reload and self._is_ready(self._can_read):
            byte = self._in.read(1)
            if not byte:
                break
            if byte in b"\r\n":
                line, self._line = bytes(self._line), bytearray()
                if self._too_long:
                    self._reply("error line longer than %d bytes" % _LINE_MAX)
                elif line:
                    self._serve(line)
                self._too_long = False
            elif len(self._line) < _LINE_MAX:
                self._line += byte
            else:
                self._too_long = True
        if not self._transfer or not self._is_ready(self._can_write):
            return False  # a host that does not take what it asked for must not hold up the samples
        self._send_block()
        return bool(self._transfer)

    def tell_live(self, elapsed_ms: int):
        """Called after each sample. Send the newest row, if someone listens and the wire is free."""
        if self._live_ms <= 0 or not self.monitor:
            return
        self._live_ms -= elapsed_ms
        if self.monitor.rows != self._live_rows and self._is_ready(self._can_write):
            self._live_rows = self.monitor.rows
            self._reply("live " + json.dumps(self.monitor.status()))

    # -- inside -------------------------------------------------------------------------------

    @staticmethod
    def _is_ready(poller) -> bool:
        for _ in poller.ipoll(0):  # poll() would make a list, fifty times a second
            return True
        return False

    def _reply(self, body: str):
        data = body.encode()
        self._out.write(data + b" ~%08x\n" % binascii.crc32(data))

    def _serve(self, line: bytes):
        self.heard = True
        try:
            words = line.decode().split(" ", 1)
        except UnicodeError:
            self._reply("error not a line of text")
            return
        verb, rest = words[0], words[1] if len(words) > 1 else ""
        serve = getattr(self, "_do_" + verb, None)
        if serve is None:
            self._reply("error unknown request %s" % verb[:20])
        elif self.monitor is None and verb not in _ALWAYS and not (verb in _OF_JOURNAL and self.journal):
            self._reply("error the monitor is not running")
        else:
            try:
                serve(rest)
            except (ValueError, KeyError, TypeError, OSError) as problem:
                self._reply("error %s: %s" % (verb, problem))

    def _do_hello(self, rest):
        self._reply("hello " + json.dumps({
            "board": binascii.hexlify(self._board_id).decode(), "firmware": VERSION,
            "format": FORMAT, "protocol": PROTOCOL, "monitoring": self.monitor is not None,
            "mode": "monitor" if self.monitor else self.mode, "block": BLOCK_BYTES,
        }))  # fmt: skip

    def _do_health(self, rest):
        flash = os.statvfs("/")
        health = {
            "micropython": ".".join([str(part) for part in sys.implementation.version[:3]]),
            "machine": sys.implementation._machine, "reset": self._reset_cause,
            "uptime_s": time.ticks_diff(time.ticks_ms(), 0) // 1000,
            "flash_bytes": flash[1] * flash[2], "free_bytes": flash[0] * flash[3], "heap_free": gc.mem_free(),
        }  # fmt: skip
        if self.monitor:
            view = self.monitor.view
            health["uptime_s"] = view.seconds  # the 30-bit clock would wrap after six days
            health["notice"], health["boot"], health["rows_dropped"] = view.notice, view.boot, view.rows_dropped
            health["room_bytes"] = self.monitor.journal.room_bytes()
            health["late_ms"], health["skipped"] = view.late_ms, view.skipped
        self._reply("health " + json.dumps(health))

    def _do_status(self, rest):
        self._reply("status " + json.dumps(self.monitor.status()))

    def _do_live(self, rest):
        if rest not in ("on", "off"):
            raise ValueError("say on or off")
        self._live_ms = _LIVE_MS if rest == "on" else 0
        self._reply("live-" + rest)

    def _do_stop(self, rest):
        self.stop = True
        self._reply("stopping")

    def _do_settings(self, rest):
        self._reply("settings " + json.dumps(settings.values(self.monitor.settings)))

    def _do_store(self, rest):
        """Merge the given values into what is in force, and keep the whole if it can be."""
        given = json.loads(rest)
        merged = settings.values(self.monitor.settings)
        for part in given:
            if part not in merged:
                raise ValueError("no such part: %s" % part)
            for name in given[part]:
                if name not in merged[part]:
                    raise ValueError("no such setting: %s" % name)
                merged[part][name] = given[part][name]
        problem = settings.check(merged)
        if problem:
            raise ValueError(problem)
        settings.store(merged)
        self.reload = True
        self._reply("stored")

    def _do_errors(self, rest):
        for line in errors.read():
            self._reply("noted " + line)
        self._reply("end errors")

    def _do_list(self, rest):
        if self.monitor:
            self.monitor.commit()
        segments = self._journal().segments()
        for number, size in segments:
            self._reply("segment %d %d" % (number, size))
        self._reply("end list %d" % len(segments))

    def _do_get(self, rest):
        """get SEGMENT OFFSET BLOCKS: send that many blocks from there."""
        number, offset, blocks = [int(word) for word in rest.split()]
        if offset < 0 or blocks < 1:
            raise ValueError("offset from 0, blocks from 1")
        self._journal().read(number, offset, memoryview(self._block)[:0])
        self._transfer = (number, offset, blocks)

    def _journal(self):
        return self.monitor.journal if self.monitor else self.journal

    def _send_block(self):
        number, offset, blocks = self._transfer
        journal = self._journal()
        if not journal:  # the monitor ended meanwhile
            self._transfer = None
            self._reply("error the monitor is not running")
            return
        try:
            count = journal.read(number, offset, self._block)
        except OSError:
            self._transfer = None
            self._reply("error segment %d is gone" % number)
            return
        if count:
            text = binascii.b2a_base64(bytes(self._block[:count])).decode().rstrip()
            self._reply("block %d %d %s" % (number, offset, text))
        blocks -= 1
        if count < BLOCK_BYTES or blocks == 0:
            self._transfer = None
            self._reply("end get %d %d" % (number, offset + count))
        else:
            self._transfer = (number, offset + count, blocks)
