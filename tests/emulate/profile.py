"""Where a tick's time goes, and what it allocates: the same firmware, run from the prompt with clocks
around its parts. The clocks cost time themselves; the tick as a whole is measured from outside."""

import json

from emulate.chip import Chip

# (what to call it, module, class, method). What the firmware does not have is left out.
PARTS = (
    ("tick", "monitor.monitor", "Monitor", "tick"),
    ("settle", "monitor.monitor", "Monitor", "settle"),
    ("sample", "monitor.sampler", "Sampler", "sample"),
    ("row builder", "monitor.sampler", "RowBuilder", "push"),
    ("rest.follow", "monitor.rest", "Rest", "follow"),
    ("engine.step", "chargecore.engine", "Engine", "step"),
    ("ledger.add", "chargecore.ledger", "Ledger", "add"),
    ("journal.append", "monitor.journal", "Journal", "append"),
    ("journal.commit", "monitor.journal", "Journal", "commit"),
    ("frame.close", "chargecore.frames", "RowsFrame", "close"),
    ("note health", "monitor.monitor", "Monitor", "_note_health"),
    ("face.tick", "monitor.face", "Face", "tick"),
    ("face.second", "monitor.face", "Face", "second"),
    ("pages.draw", "monitor.pages", "Pages", "draw"),
    ("trace.draw", "monitor.trace", "Trace", "draw"),
    ("tall.put", "monitor.figures", "Tall", "put"),
    ("display.show", "monitor.ssd1306", "Display", "show"),
    ("console.poll", "monitor.console", "Console", "poll"),
)

_SCRIPT = """
import gc, json, sys, time
import board
from monitor import supervisor
table = {}
def around(name, owner, method):
    inner = getattr(owner, method)
    cell = table[name] = [0, 0, 0]
    ticks, diff = time.ticks_us, time.ticks_diff
    def timed(*given, **named):
        began = ticks()
        answer = inner(*given, **named)
        took = diff(ticks(), began)
        cell[0] += 1
        cell[1] += took
        if took > cell[2]:
            cell[2] = took
        return answer
    setattr(owner, method, timed)
def memory(owner, method):
    inner = getattr(owner, method)
    cell = table["memory"] = [0, 0, 0, 0]
    used = gc.mem_alloc
    def counted(self, dt_ms):
        before = used()
        answer = inner(self, dt_ms)
        took = used() - before
        cell[0] += 1
        if took > 0:
            cell[1] += 1
            cell[2] += took
            if took > cell[3]:
                cell[3] = took
        return answer
    setattr(owner, method, counted)
for name, module, owner, method in %r:
    try:
        __import__(module)
        cls = getattr(sys.modules[module], owner)
        if name == "memory":
            memory(cls, method)
        elif hasattr(cls, method):
            around(name, cls, method)
    except (ImportError, AttributeError):
        pass
def nothing():
    pass
class Empty:
    def method(self): pass
around("clock", Empty, "method")
e = Empty()
for _ in range(50):
    e.method()
supervisor.run(board)
print("TABLE" + json.dumps(table))
"""


def at_prompt(chip: Chip) -> None:
    """From the start window to MicroPython's prompt, as a host gets there."""
    chip.host.plug_in()
    # What is said before the firmware listens is read by it later: say it once and wait.
    chip.host.send(b"\nstop\n")
    chip.run_until(lambda: b">>> " in chip.host.received, 15.0)


def run(chip: Chip, seconds: float, parts=PARTS) -> dict[str, list[int]]:
    """Name of the part -> [times called, microseconds in all, longest] over `seconds` of monitoring."""
    chip.host.received.clear()
    chip.host.send(b"\x01")
    chip.run_until(lambda: b"raw REPL" in chip.host.received, 5.0)
    chip.host.received.clear()
    chip.host.send((_SCRIPT % (tuple(parts),)).encode() + b"\x04")
    chip.run(seconds)
    chip.host.send(b"\nstop\n")
    chip.run_until(lambda: chip.host.received.count(4) >= 2, 30.0)
    output, _, failure = bytes(chip.host.received).partition(b"\x04")
    found = [line for line in output.split(b"\n") if line.startswith(b"TABLE")]
    if not found:
        raise RuntimeError(f"the board did not come to the end of its measurement: {failure.decode()}")
    table: dict[str, list[int]] = json.loads(found[0][5:])
    return table


def memory(chip: Chip, seconds: float) -> tuple[int, int, int, int]:
    """(ticks, those that allocated, bytes in all, most bytes in one) over `seconds` of monitoring."""
    ticks, some, total, most = run(chip, seconds, (("memory", "monitor.monitor", "Monitor", "tick"),))["memory"]
    return ticks, some, total, most
